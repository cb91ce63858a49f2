"""From scenarios, runs and days to acts on hardware; the rail over a day."""

from __future__ import annotations

import pytest

from armcarry.files.documents.day import Day
from armcarry.files.load import load_scenario
from armcarry.ledger.book import keep
from armcarry.scene.build import build_scene
from armcarry.timeline.acts import acts_of_day, acts_of_run
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.run import Event, MoveSpan
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, tasks_of
from armcarry.timeline.trolley import rail_at_start, rail_conflicts

SCRIPT = """
format: armcarry scenario 1
title: hands
purpose: to test acts
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 5 m}
carts: {cart_1: 12 m, cart_2: -14.2 m}
restraint: {model: foot_restraint, at: arm}
crew: {ev1: {posture: carry, at: arm}, ev2: {posture: carry, at: inside}}
hardware:
  pump_box: {model: pump_box, at: platform/rack_a_seat, fasteners: {cover: COVER}}
  other_box: {model: pump_box, at: ev2/hands}
  survey_camera: {model: survey_camera, at: platform/mast_top_seat, fasteners: {pan_lock: open}}
  cart: {model: rail_cart, at: platform/cart_1_seat}
carries: [{name: fly, moves: [{hold: 1 s}]}]
"""


@pytest.fixture(scope="module")
def load(tmp_path_factory):
    def loader(cover="open"):
        path = tmp_path_factory.mktemp("acts") / "script.yaml"
        path.write_text(SCRIPT.replace("COVER", cover))
        return load_scenario(path)

    return loader


@pytest.fixture(scope="module")
def loaded(load):
    return load()


def test_custody_begins_as_the_scenario_says(loaded, load):
    states = page_at_start(loaded).states
    assert (states["pump_box"].seat, states["pump_box"].bolts_tight, states["pump_box"].connectors_joined) == (
        "rack_a_seat", 4, 0)
    assert states["survey_camera"].fasteners == (("pan_lock", "open"), ("tilt_lock", "closed"))
    assert (states["other_box"].where, states["other_box"].hands) == ("held", {"ev2"})
    assert states["pump_box"].fastener("cover") == "open"
    assert page_at_start(load("closed")).states["pump_box"].fastener("cover") == "closed"
    assert page_at_start(loaded, bonds=False).states["pump_box"].bolts_tight == 0


def test_the_scene_stands_as_the_fasteners_say(loaded, load):
    column = build_scene(loaded).tree.column("pump_box/cover_fold")
    cover = loaded.hardware["pump_box"].document.fasteners["cover"]
    assert build_scene(loaded).position[column] == pytest.approx(cover.open)
    assert build_scene(load("closed")).position[column] == pytest.approx(cover.closed)


MOVES = tuple(MoveSpan("fly", k, f"m{k}", "line", 100.0 * k, 100.0 * (k + 1), "rider") for k in range(5))


def event(time_s, kind, what, to):
    return Event(time_s, kind, what, to, 0.0, 0.0)


def run_of(loaded, *events):
    start = page_at_start(loaded, bonds=False)
    acts = acts_of_run(loaded, start, MOVES, events)
    return [act.kind for act in acts], [(v.step, v.missing) for v in keep(start, acts).violations]


TAKEN = event(100.0, "attach", "pump_box", "ev1/hands")
LEFT = event(300.0, "detach", "pump_box", "platform/bay_7_seat")


def test_a_run_is_carries_between_what_is_attached_and_left(loaded):
    kinds, missing = run_of(loaded, TAKEN, LEFT)
    assert kinds == ["carry", "arrive", "take", "carry", "arrive", "seat", "carry", "arrive"]
    assert missing == []  # the seat has four bolts and no step tightens them: without a day that is not judged


def test_what_a_run_does_wrong_is_told(load, loaded):
    assert ("fly", "cover") in run_of(load("closed"), TAKEN)[1]
    elsewhere = event(300.0, "detach", "pump_box", "platform/bay_3_seat")
    assert ("fly", "seat_accepts") in run_of(loaded, TAKEN, elsewhere)[1]
    kinds, missing = run_of(loaded, TAKEN, event(200.0, "detach", "pump_box", "platform/hatch"))
    assert "let_go" in kinds
    assert ("fly", "secured") in missing
    kinds, missing = run_of(loaded, TAKEN, event(200.0, "attach", "pump_box", "arm/tip"))
    assert "hand_over" in kinds
    assert missing == []
    assert ("fly", "pan_lock") in run_of(loaded, event(100.0, "attach", "survey_camera", "ev1/hands"))[1]


def test_what_is_attached_at_the_very_end_is_not_carried_further(loaded):
    kinds, missing = run_of(loaded, event(500.0, "attach", "survey_camera", "ev1/hands"))
    assert kinds == ["carry", "arrive", "take", "arrive"]
    assert missing == []


def step(name, kind, detail, who="ev1", **more):
    return {"name": name, "actors": who.split("+"), kind: detail, "takes": "5 min", **more}


def planned(steps):
    day = Day.model_validate({"steps": steps})
    return day, schedule(tasks_of(day, {"fly": Duration.exactly(60.0)}))


def test_a_day_with_things_attached_inside_its_carry(loaded):
    day, times = planned([
        step("loosen", "bolt", {"what": "pump_box", "count": 4, "make": "loose"}),
        step("fly", "carry", "fly", "arm+ev1"),
        step("lock", "lock", {"what": "survey_camera", "fastener": "pan_lock"}, "ev2"),
    ])
    start = page_at_start(loaded)
    acts = acts_of_day(day, times, start, loaded=loaded, events=[event(400.0, "attach", "pump_box", "ev1/hands")])
    assert [(act.kind, act.time_s) for act in acts] == [
        ("bolt", 300.0), ("lock", 300.0), ("make_ready", 300.0), ("carry", 312.0), ("arrive", 400.0), ("take", 400.0),
        ("carry", 400.0), ("arrive", 590.0), ("make_safe", 600.0),
    ]  # 12 s to make the arm ready, 10 s to make it safe, as the rules say
    # ev2 locks with the other box in both hands; ev1 takes the pump box inside a carry, while the arm is ready to
    # move, carries it untethered, which its document does not allow, and has it in both hands at the end
    assert [(v.step, v.missing) for v in keep(start, acts).violations] == [
        ("loosen", "secured"), ("lock", "free_hand"), ("fly", "arm_safe"), ("fly", "before_carry"),
        ("loosen", "in_a_place"),
    ]


def test_bolts_of_the_item_itself_and_of_its_seat(loaded):
    day, times = planned([
        step("a", "bolt", {"what": "pump_box", "count": 4, "make": "loose", "fastener": "bolts"}),
        step("b", "steady", {"what": "pump_box"}, "ev2"),
    ])
    acts = acts_of_day(day, times, page_at_start(loaded))
    assert [(act.kind, act.time_s) for act in acts] == [("steady", 0.0), ("bolt", 300.0)]  # hands from the start on
    assert keep(page_at_start(loaded), acts).end.states["pump_box"].stage == "released"


def rail(loaded, steps):
    day, times = planned(steps)
    return [(c.step, c.message) for c in rail_conflicts(loaded, day, times, page_at_start(loaded))]


def test_only_carts_that_are_there_take_up_rail(loaded):
    start = rail_at_start(loaded, page_at_start(loaded))
    assert set(start.carts) == {"cart_1"}
    assert set(start.lifted) == {"cart_2"}
    assert start.trolley.station_m == 5.0
    assert start.travel().upper_by == "cart_1"


def test_a_base_out_of_travel_is_refused_with_the_cart_and_so_is_the_carry(loaded):
    found = rail(loaded, [step("roll", "move_base", {"to": "14 m"}, "arm"), step("fly", "carry", "fly", "arm")])
    assert [name for name, _ in found] == ["roll", "fly"]
    assert "trolley cannot stand at 14.00 m on the rail: cart_1 blocks it" in found[0][1]
    assert "the base for fly cannot stand at 14.00 m on the rail: cart_1 blocks it" in found[1][1]


def test_moving_or_lifting_the_cart_makes_way(loaded):
    last = [step("roll", "move_base", {"to": "14 m"}, "arm", after=["away"]), step("fly", "carry", "fly", "arm")]
    assert rail(loaded, [step("away", "move_cart", {"cart": "cart_1", "to": "18 m"}), *last]) == []
    assert rail(loaded, [step("away", "take", {"what": "cart"}), *last]) == []
    down = {"what": "cart", "into": "cart_1_seat", "station": "14 m"}
    steps = [step("lift", "take", {"what": "cart"}), step("away", "seat", down), *last]
    assert "cart_1 blocks it" in rail(loaded, steps)[0][1]


def test_carts_that_are_not_there_and_seats_without_a_station_are_told(loaded):
    found = rail(loaded, [step("away", "move_cart", {"cart": "cart_2", "to": "1 m"})])
    assert found == [("away", "cart_2 is pushed in away while it is not on the rail")]
    steps = [step("lift", "take", {"what": "cart"}), step("down", "seat", {"what": "cart", "into": "cart_2_seat"})]
    assert rail(loaded, steps) == [("down", "down puts cart on the rail without saying where")]
