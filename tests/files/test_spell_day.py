"""Steps of a day by intent become steps and carries, from what hardware and places ask; each known by its line."""

import numpy as np
import pytest

from armcarry.errors import InputError, InputErrors
from armcarry.files.fitting import mount_in_plate
from armcarry.files.load import load_scenario
from armcarry.geometry import poses

HEAD = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: -6 m}
carts: {cart_1: 15.6 m, cart_2: 13 m}
restraint: {settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
hardware:
  survey_camera: {model: survey_camera, at: platform/mast_top_seat, fasteners: {pan_lock: open}}
  pump_box: {model: pump_box, at: platform/rack_a_seat, fasteners: {cover: closed}}
  spent_box: {model: pump_box, at: platform/bay_10_seat}
  thermal_blanket: {model: thermal_blanket, at: platform/rack_b_seat, fasteners: {strap: open}}
  rail_cart_1: {model: rail_cart, at: platform/cart_1_seat}
  rail_cart_2: {model: rail_cart, at: platform/cart_2_seat}
day:
  steps:
"""
LINES = HEAD.count("\n")


@pytest.fixture
def told(tmp_path):
    """Return a function that loads a day of these steps."""

    def load(*steps, head=HEAD):
        path = tmp_path / "day.yaml"
        path.write_text(head + "".join(f"    - {step}\n" for step in steps))
        return load_scenario(path)

    return load


OUT = "go_out: [ev1, ev2]"
ON = "board: {who: ev1, at: porch}"


def _steps(loaded):
    return {step.name: step for step in loaded.scenario.day.steps}


def _kinds(loaded, after=0):
    return [step.kind for step in loaded.scenario.day.steps][after:]


def test_to_board_the_arm_comes_first_then_the_worker_who_gets_on(told):
    steps = _steps(told(OUT, ON))
    assert list(steps) == ["go_out", "to_porch", "ev1_to_porch", "ev1_gets_on"]
    assert (steps["to_porch"].actors, steps["ev1_to_porch"].after) == (["arm"], ["to_porch"])
    assert steps["ev1_gets_on"].takes.likely == 8 * 60


def test_what_is_brought_is_locked_parted_tethered_loosened_taken_and_left_as_its_document_asks(told):
    loaded = told(OUT, ON, "bring: {what: survey_camera, to: bay_3}")
    assert _kinds(loaded, 4) == ["carry", "lock", "connect", "tether", "bolt", "take",
                                 "carry", "seat", "bolt", "connect", "untether"]  # fmt: skip
    steps = _steps(loaded)
    assert steps["survey_camera_pan_lock_closed"].lock.fastener == "pan_lock"  # the other is closed as it is
    assert steps["survey_camera_bolts_loose"].bolt.count == 2
    assert steps["survey_camera_bolts_loose"].bolt.each.likely == 3 * 60
    assert (steps["survey_camera_seat"].seat.into, steps["survey_camera_seat"].at) == ("bay_3_seat", "bay_3")
    flown = {carry.name: [move.kind for move in carry.moves] for carry in loaded.scenario.carries}
    # loaded: straight out of the seat, back off, there, over the seat, on to it
    assert flown["to_bay_3"] == ["line", "line", "to_pose", "line", "line"]
    assert all(step.actors == ["arm", "ev1"] for step in list(steps.values())[4:] if step.carry)


def test_a_cover_is_folded_with_the_arm_off_a_little_before_and_after(told):
    loaded = told(OUT, ON, "bring: {what: pump_box, to: bay_7}")
    assert _kinds(loaded, 4) == [
        "carry", "fold_cover", "carry", "tether", "bolt", "take",
        "carry", "seat", "bolt", "connect", "untether", "carry", "fold_cover",
    ]  # fmt: skip
    opened, closed = [step.fold_cover.make for step in loaded.scenario.day.steps if step.fold_cover]
    assert (opened, closed) == ("open", "closed")


def test_what_is_not_tethered_is_steadied_and_let_go_of_when_some_bolts_hold_it(told):
    at = "{what: rail_cart_1, at: rail_bow}"
    down = "{what: rail_cart_1, at: rail_stern, seat: cart_1_seat, station: -14.2 m, bolts: 2, base: -6 m}"
    loaded = told(OUT, ON, f"fetch: {at}", f"place: {down}", "leave: {at: porch}",
                  "take_along: {cart: cart_1, to: -16 m, by: ev1, bolts: 2}")  # fmt: skip
    assert _kinds(loaded, 4) == [
        "carry", "steady", "bolt", "take", "carry", "seat", "bolt", "let_go", "carry", "leave_restraint", "translate",
        "move_cart", "bolt",
    ]  # fmt: skip


def test_beside_a_worksite_its_work_points_are_not_worked_on(told):
    beside, down = "shift: [0 m, -2.6 m, 0 m]", "place: {what: rail_cart_1, at: rail_stern, seat: cart_1_seat, bolts: 2"
    for shift, at in ((f", {beside}", (None, None)), ("", ("rail_bow", "rail_stern"))):
        loaded = told(OUT, ON, f"fetch: {{what: rail_cart_1, at: rail_bow{shift}}}", f"{down}, station: -14 m{shift}}}")
        steps = _steps(loaded)
        assert (steps["rail_cart_1_take"].at, steps["rail_cart_1_seat"].at) == at


def test_the_base_rolls_where_a_step_says_so_with_the_arm_backed_off(told):
    loaded = told(OUT, ON, "ride: {to: bay_3}", "ride: {to: rail_bow, base: 6 m, shift: [0 m, -2.6 m, 0 m]}")
    assert _kinds(loaded, 4) == ["carry", "carry", "move_base", "carry"]
    goal = loaded.scenario.carries[-1].moves[0].to_pose
    assert (goal.frame, goal.position) == ("platform/rail_bow_stand", pytest.approx((-1.6, -2.6, 0.0)))


def test_whoever_swaps_gets_on_after_the_other_and_the_arm_goes_on_after_both(told):
    steps = _steps(told(OUT, ON, "swap: {off: ev1, on: ev2, at: bay_3}", "ride: {to: bay_5}"))
    assert steps["ev2_gets_on"].after == ["ev1_gets_off"]
    assert steps["ev1_gets_off"].leave_restraint.to == "platform/keel_port_3_from"
    assert steps["ev2_to_keel_port_3_to"].translate.to == "platform/keel_port_3_to"
    assert steps["to_bay_5"].after == ["ev1_gets_off"] and steps["to_bay_5"].actors == ["arm", "ev2"]


def test_links_to_a_step_by_intent_go_to_its_first_and_last(told):
    steps = _steps(told(
        OUT, "{name: on, board: {who: ev1, at: porch}}", "{go: {who: ev2, to: keel_port_4}, after: [on]}",
        "{name: early, actors: [ev2], note: look, takes: 1 min, before: [on]}",
    ))  # fmt: skip
    assert steps["ev2_to_keel_port_4_from"].after == ["ev1_gets_on"]
    assert steps["early"].before == ["to_porch"]


def test_all_go_to_the_hatch_and_in_together_and_plain_steps_get_names(told):
    look = "{actors: [ev1], inspect: the seals, takes: 3 min}"
    loaded = told(OUT, look, "go: {who: ev1, to: bay_5}", "go_in: [ev1, ev2]")
    steps = _steps(loaded)
    assert list(steps) == ["go_out", "inspect_the_seals", "ev1_to_bay_5", "ev1_to_airlock", "go_in"]
    assert loaded.written_at("step", "ev1_to_airlock") == f"day.yaml:{LINES + 4} (go_in: [ev1, ev2])"
    assert loaded.written_at("step", "inspect_the_seals") == f"day.yaml:{LINES + 2}"


def test_what_was_fetched_is_given_back_to_where_it_was(told):
    loaded = told(OUT, ON, "fetch: {what: pump_box}", "give_back: {what: pump_box}")
    seat = next(step for step in loaded.scenario.day.steps if step.seat)
    assert seat.seat.into == "rack_a_seat"


PROBLEMS = [
    (["ride: {to: bay_33}"], "no worksite named 'bay_33'; accepted: bay_3 (nearest)"),
    (["fetch: {what: pump_box}"], "nobody is on the arm by then; accepted: board: {who: ev1, at: WORKSITE} before it"),
    ([ON, "leave: {who: ev2, at: porch}"], "'ev2' is not on the arm by then; accepted: swap: {off: ev1, on: ev2}"),
    ([ON, "board: {who: ev2, at: porch}"], "ev1 is on the arm by then; accepted: leave or swap before it"),
    ([ON, "go: {who: ev1, to: bay_5}"], "ev1 is on the arm by then; accepted: leave: {who: ev1, at: WORKSITE} "),
    ([ON, "place: {what: pump_box, at: bay_7}"], "ev1 does not hold 'pump_box' by then; it is at platform/rack_a_seat"),
    ([ON, "bring: {what: pump_box, to: bay_3}"], "'bay_3' has no seat that takes 'pump_box'; accepted: rack_a, bay_7"),
    ([ON, "fetch: {what: rail_cart_1}"], "no worksite says seat: cart_1_seat; accepted: at: WORKSITE"),
    (["{actors: [ev1], seat: {what: pump_box, into: bay_10_seat}, takes: 2 min}"], "spent_box is in bay_10_seat by "),
    ([ON, "bring: {what: pump_box, to: bay_10}"], "spent_box is in bay_10_seat by then; accepted: a step before it "),
    (["{fetch: {what: pump_box, by: ev2, base: 6 m}}"], "base does not go with somebody who is off the arm"),
    (["go_out: [ev1, ev3]"], "no crewmember named 'ev3'; accepted: "),
    (["take_along: {cart: cart_3, to: 3 m, by: ev1}"], "no cart named 'cart_3'; accepted: "),
    (["{ride: {to: bay_3}, takes: 3 min}"], "takes does not go with ride; accepted: name, title, after, before"),
]


@pytest.mark.parametrize(("steps", "words"), PROBLEMS, ids=[words[:40] for _, words in PROBLEMS])
def test_what_cannot_be_is_told_at_its_line_with_what_would_do(told, steps, words):
    with pytest.raises((InputError, InputErrors)) as caught:
        told(OUT, *steps)
    lines = [line for line in str(caught.value).splitlines() if words in line]
    assert lines, str(caught.value)
    assert f"day.yaml:{LINES + 1 + len(steps)}:" in lines[0]


SOCKET = "restraint: {at: platform/bay_7_socket, settings: {pitch: 90 deg}}"
FIT = ("{name: free, actors: [ev1], take: {what: restraint}, takes: 3 min}",
       "{name: fit, actors: [ev1], fit_restraint: {}, takes: 9 min}")  # fmt: skip


def _seated(into):
    return (FIT[0], f"{{name: put, actors: [ev1], seat: {{what: restraint, into: {into}}}, takes: 9 min}}")


@pytest.mark.parametrize(("before", "at"), [
    ((), "platform/bay_7_socket"), (FIT[:1], "ev1/hands"), (FIT, ""), (_seated("arm"), ""),
    (_seated("bay_7_socket"), "bay_7_socket"),
])  # fmt: skip
def test_nobody_gets_on_before_the_restraint_is_on_the_arm(tmp_path, before, at):
    path = tmp_path / "day.yaml"
    head = HEAD.replace("restraint: {settings: {pitch: 90 deg}}", SOCKET)
    path.write_text(head + "".join(f"    - {step}\n" for step in (OUT, *before, ON)))
    if not at:
        assert [step.kind for step in load_scenario(path).scenario.day.steps][-1] == "enter_restraint"
        return
    instead = "a step with fit" if "hands" in at else "fit:"
    words = f"the restraint is not on the arm by then, it is at {at}; accepted: {instead}"
    with pytest.raises(InputError, match=f"day.yaml:{LINES + 2 + len(before)}: .*{words}"):
        load_scenario(path)


@pytest.mark.parametrize(("link", "words"), [
    (", after: [goout]", "step 'look' names step 'goout', which is not there"), ("", "two steps are named 'look'"),
])  # fmt: skip
def test_a_link_or_name_that_cannot_be_is_told_at_its_step_beside_steps_by_intent(told, link, words):
    look = "{name: look, actors: [ev1], note: look, takes: 1 min}"
    with pytest.raises(InputError, match=f"day.yaml:{LINES + (3 if link else 4)}: {words}"):
        told(OUT, ON, f"{look[:-1]}{link}}}", *([] if link else [look]))


def test_before_the_base_rolls_to_a_station_that_is_found_the_arm_is_gathered(tmp_path):
    from armcarry.files.found import FORMAT, found_of, write_found

    path = tmp_path / "day.yaml"
    path.write_text(HEAD + "".join(f"    - {step}\n" for step in (OUT, ON, "ride: {to: rail_bow}")))
    loaded = load_scenario(path)
    assert loaded.beside.open.rolls
    assert [visit.worksite for visit in loaded.beside.open.visits] == ["porch", "rail_bow"]
    digest = loaded.beside.digest
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "stations": ["-6 m", "7 m"]}))
    again = load_scenario(path)
    assert _kinds(again, 4) == ["carry", "move_base", "carry"]
    gathered = {carry.name: carry.moves for carry in again.scenario.carries}["off"]
    assert [move.kind for move in gathered] == ["line", "to_joints"]
    assert gathered[-1].to_joints == again.arm.document.travel
    assert again.scenario.day.steps[5].move_base.to == 7.0


def test_what_was_found_for_another_script_by_a_slip_of_the_hand_breaks_nothing(tmp_path):
    from armcarry.files.found import FORMAT, found_of, write_found

    path = tmp_path / "day.yaml"
    text = HEAD.replace("restraint: {settings: {pitch: 90 deg}}\n", "").replace(ON, "")
    path.write_text(text + f"    - {OUT}\n    - ride: {{to: bay_3}}\n")
    digest = load_scenario(path).beside.digest
    ways = [{"carry": "no_such", "move": "none", "to_joints": {"shoulder_turn": "3 deg"}}]
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "settings": {"pitch": "90 deg"},
                                "stations": ["-6 m", "7 m", "8 m"], "ways": ways}))  # fmt: skip
    assert load_scenario(path).scenario.restraint is None


def test_one_after_the_other_passes_the_hatch_unless_the_script_says_in_which_order(told):
    after = {step.name: step.after for step in told(OUT, ON, "go: {who: ev2, to: bay_5}").scenario.day.steps}
    assert after["ev2_to_bay_5"] == ["ev1_to_porch"]
    said = told(OUT, ON, "go: {who: ev2, to: bay_5}\n      after: [to_porch]").scenario.day.steps
    assert {step.name: step.after for step in said}["ev2_to_bay_5"] == ["to_porch"]


def test_who_gets_off_the_arm_last_goes_in_last(told):
    steps = told(OUT, ON, "go: {who: ev2, to: bay_5}", "leave: {at: porch}", "go_in: [ev1, ev2]")
    after = {step.name: step.after for step in steps.scenario.day.steps}
    assert (after["ev2_to_airlock"], after["ev1_to_airlock"]) == ([], ["ev2_to_airlock"])


def test_somebody_on_foot_brings_an_item_on_their_tether_from_its_seat_to_another(told):
    loaded = told(OUT, "bring: {what: thermal_blanket, to: bay_5, by: ev2}")
    steps = [step for step in loaded.scenario.day.steps if step.kind != "hatch"]
    kinds = ["translate", "lock", "tether", "take", "translate", "seat", "untether"]
    assert [step.kind for step in steps] == kinds and not loaded.scenario.carries
    assert {step.actors[0] for step in steps} == {"ev2"}
    assert [steps[k].translate.to for k in (0, 4)] == ["rack_b", "bay_5"]
    assert [step.at for step in steps] == [None, *["rack_b"] * 3, None, *["bay_5"] * 2]
    assert steps[5].seat.into == "bay_5_seat"


def test_what_is_brought_on_foot_is_given_back_the_same_way(told):
    by = "thermal_blanket, by: ev2"
    steps = told(OUT, f"bring: {{what: {by}, to: bay_5}}", f"give_back: {{what: {by}}}").scenario.day.steps
    assert [step.seat.into for step in steps if step.seat] == ["bay_5_seat", "rack_b_seat"]


def test_somebody_goes_beside_an_item_to_its_worksite_or_the_nearest_end_of_a_handrail(told):
    steps = _steps(told(OUT, "go: {who: ev1, to: pump_box}", "go: {who: ev2, to: rail_cart_2}",
                        "take_along: {cart: cart_2, to: 9 m, by: ev2}", "go: {who: ev1, to: rail_cart_2}"))  # fmt: skip
    walks = [(step.actors[0], step.translate.to) for step in steps.values() if step.translate]
    assert walks == [("ev1", "rack_a"), ("ev2", "platform/keel_port_9_to"), ("ev2", "platform/keel_port_8_to"),
                     ("ev1", "platform/keel_port_8_to")]  # fmt: skip


def test_who_takes_a_cart_along_goes_beside_it_first(told):
    steps = _steps(told(OUT, "take_along: {cart: cart_1, to: 12 m, by: ev2}"))
    assert steps["ev2_to_keel_port_10_to"].actors == steps["push_cart_1"].actors == ["ev2"]


def test_who_gets_off_stands_where_the_arm_is_and_goes_on_from_there(told):
    steps = _steps(told(OUT, ON, "ride: {to: bay_3}", "leave: {}", "go: {who: ev1, to: bay_5}"))
    assert steps["ev1_gets_off"].leave_restraint.to == "bay_3"


def test_who_gets_on_in_a_swap_comes_when_the_arm_is_there(told):
    steps = _steps(told(OUT, ON, "go: {who: ev2, to: bay_5}", "swap: {off: ev1, on: ev2, at: bay_3}"))
    assert steps["ev2_to_keel_port_3_to"].after == ["to_bay_3"]


@pytest.mark.parametrize(("comes_from", "waits"), [("bay_5", "from"), ("rack_b", "to")])
def test_who_swaps_waits_at_the_end_of_the_rail_where_they_come_from_and_the_other_gets_off_to_the_far_one(
    told, comes_from, waits
):
    steps = _steps(told(OUT, ON, f"go: {{who: ev2, to: {comes_from}}}", "swap: {off: ev1, on: ev2, at: bay_7}"))
    other = {"from": "to", "to": "from"}[waits]
    assert f"ev2_to_keel_port_7_{waits}" in steps
    assert steps["ev1_gets_off"].leave_restraint.to == f"platform/keel_port_7_{other}"


def test_nobody_waits_at_the_hatch_for_whom_the_script_links_to_something_else(told):
    steps = told(OUT, "go: {who: ev1, to: bay_3}\n      after: [there]", "{name: there, go: {who: ev2, to: bay_5}}")
    assert {step.name: step.after for step in steps.scenario.day.steps}["ev2_to_bay_5"] == []


def _off_arm(told, *steps):
    """Return a day whose restraint starts in a socket."""
    return told(*steps, head=HEAD.replace("restraint: {settings", "restraint: {at: platform/bay_7_socket, settings"))


def test_the_bare_tip_comes_to_where_the_plate_stands_and_a_worker_there_fits_the_restraint_and_gets_on(told):
    loaded = _off_arm(told, OUT, "fit: {who: ev1}", "ride: {to: bay_3}")
    assert list(_steps(loaded)) == [
        "go_out", "to_bay_7", "ev1_to_bay_7", "restraint_take", "restraint_fit", "ev1_gets_on", "to_bay_3"
    ]  # fmt: skip
    there, then = loaded.scenario.carries
    model, document = loaded.restraint.model, loaded.restraint.document
    mount = np.array(mount_in_plate(document, model, {"pitch": np.radians(90.0)}))
    goal, line = there.moves[0].to_pose, there.moves[1].line
    assert goal.frame == line.frame == "platform/bay_7_stand"
    plate = poses.from_xyz_rpy(goal.position, goal.rotation) @ poses.inverse(mount)
    assert plate == pytest.approx(poses.translation((-0.9, 0.0, 0.0)), abs=1e-5)  # toes towards the work
    assert line.to == pytest.approx(np.array([-0.005, 0.0, 0.0]) + mount[:3, 3], abs=1e-5)
    assert then.moves[0].line.to == pytest.approx((-0.9, 0.0, 0.0))  # with the restraint on it the plate is led
    assert _steps(loaded)["to_bay_3"].actors == ["arm", "ev1"]


def test_a_stowed_restraint_leaves_the_arm_bare_and_the_arm_waits_until_it_is_in_its_socket(told):
    loaded = told(OUT, ON, "stow: {into: bay_7_socket}", "fit: {who: ev1, boards: false}")
    steps = _steps(loaded)
    assert list(steps)[4:9] == ["to_bay_7", "ev1_gets_off", "restraint_take", "restraint_seat", "off_bay_7"]
    assert steps["restraint_seat"].seat.into == "bay_7_socket"
    assert (steps["off_bay_7"].after, steps["off_bay_7"].actors) == (["restraint_seat"], ["arm"])
    assert list(steps)[-1] == "restraint_fit"


def test_a_restraint_that_would_meet_something_in_the_hands_is_turned_before_and_back_after(tmp_path):
    from armcarry.files.found import FORMAT, found_of, write_found

    path = tmp_path / "day.yaml"
    head = HEAD.replace("restraint: {settings", "restraint: {at: platform/bay_7_socket, settings")
    path.write_text(head + f"    - {OUT}\n    - fit: {{who: ev1}}\n")
    digest = load_scenario(path).beside.digest
    places = [{"held": {"pitch": "120 deg"}}]
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "places": places}))
    turns = [step.set_restraint.settings["pitch"] for step in load_scenario(path).scenario.day.steps
             if step.set_restraint]  # fmt: skip
    assert turns == pytest.approx([np.radians(120.0), np.radians(90.0)])


@pytest.mark.parametrize(
    ("steps", "words"),
    [(["fit: {who: ev1}"], "the restraint is on the arm by then; accepted: board: {who: ev1, at: WORKSITE}"),
     ([ON, "stow: {}"], "no socket is said for the restraint; accepted: into: one of rack_a_socket, bay_7_socket"),
     ([ON, "stow: {into: deck_socket}"], "no worksite has the socket deck_socket; accepted: at: a worksite")],
)  # fmt: skip
def test_a_restraint_that_cannot_be_fitted_or_stowed_is_told_with_what_can(told, steps, words):
    with pytest.raises((InputError, InputErrors)) as raised:
        told(OUT, *steps)
    assert words in str(raised.value) and "day.yaml:" in str(raised.value)


def test_people_get_on_and_off_where_places_were_found_unless_the_script_says_where(tmp_path):
    from armcarry.files.found import FORMAT, found_of, write_found

    path = tmp_path / "day.yaml"
    swap = "swap: {off: ev1, on: ev2, at: bay_7, to: bridge}"
    path.write_text(HEAD + "".join(f"    - {step}\n" for step in (OUT, ON, swap)))
    place = {"on": "platform/hearth_1_from", "off": "platform/loft_1_to", "shift": ["0 m", "0.4 m", "0 m"]}
    digest = load_scenario(path).beside.digest
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "places": [place]}))
    loaded = load_scenario(path)
    steps = _steps(loaded)
    assert steps["ev2_to_hearth_1_from"].translate.to == "platform/hearth_1_from"
    assert steps["ev1_gets_off"].leave_restraint.to == "platform/bridge_from"
    assert loaded.scenario.carries[-1].moves[-1].line.to == pytest.approx((-0.005, 0.4, 0.0))


def test_who_was_found_to_wait_for_the_arm_waits(tmp_path):
    from armcarry.files.found import FORMAT, found_of, write_found

    path = tmp_path / "day.yaml"
    path.write_text(HEAD + "".join(f"    - {step}\n" for step in (OUT, ON, "go: {who: ev2, to: bay_5}")))
    digest, waits = load_scenario(path).beside.digest, [{"step": "ev2_to_bay_5", "after": "ev1_gets_on"}]
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "waits": waits}))
    steps = {step.name: step for step in load_scenario(path).scenario.day.steps}
    assert steps["ev2_to_bay_5"].after == ["ev1_to_porch", "ev1_gets_on"]


def test_whoever_is_afoot_goes_first_to_where_a_plain_step_is_done_if_they_are_beyond_reach_of_it(told):
    look = "{actors: [ev2], at: bay_5, inspect: snaps, takes: 5 min}"
    steps = _steps(told(OUT, look, look, "{actors: [ev2], bolt: {what: pump_box, count: 2, make: loose}}"))
    walks = [(step.actors[0], step.translate.to) for step in steps.values() if step.translate]
    assert walks == [("ev2", "bay_5"), ("ev2", "rack_a")]  # who is there stays
    take, seat = "take: {what: thermal_blanket}", "seat: {what: thermal_blanket, into: bay_5_seat}"
    steps = _steps(told(OUT, f"{{actors: [ev2], {take}}}", f"{{actors: [ev2], {seat}}}"))
    assert [step.translate.to for step in steps.values() if step.translate] == ["rack_b", "bay_5"]


def test_who_reaches_a_work_point_from_a_handrail_stays_and_fallbacks_and_what_may_vary_are_left_alone(told):
    near = "{actors: [ev2], at: bay_5, inspect: snaps, takes: 5 min}"
    steps = _steps(told(OUT, "go: {who: ev2, to: platform/keel_port_5_from}", near))
    assert [step.translate.to for step in steps.values() if step.translate] == ["platform/keel_port_5_from"]
    first = "{name: one, actors: [ev2], note: look, takes: 1 min, fallback: other}"
    steps = _steps(told(OUT, first, "{name: other, actors: [ev2], at: bay_5, note: look, takes: 1 min}"))
    assert not any(step.translate for step in steps.values())


def test_a_plain_step_of_a_rider_at_another_worksite_than_the_arm_is_told_with_the_ride_there(told):
    with pytest.raises(InputError, match=r"ev1 is on the arm at bay_7 by then, not at rack_a; accepted: ride"):
        told(OUT, ON, "ride: {to: bay_7}", "{actors: [ev1], at: rack_a, inspect: seals, takes: 5 min}")


def test_a_worksite_that_is_said_once_more_from_elsewhere_along_the_rail_is_come_to_from_there(told):
    steps = told(OUT, ON, "ride: {to: rack_a, base: 8 m}", "ride: {to: rack_a, base: 11 m}").scenario.day.steps
    assert [step.move_base.to for step in steps if step.move_base is not None] == [8.0, 11.0]


def test_an_item_that_no_seat_takes_is_told_with_what_the_seat_accepts(told):
    head = HEAD.replace("  rail_cart_2:", "  spare: {model: driver, at: ev1/hands}\n  rail_cart_2:")
    with pytest.raises(InputError, match=r"no seat that takes 'spare'; accepted: an item or a model of a name that it "
                                         r"accepts \(pump_box\)"):  # fmt: skip
        told(OUT, ON, "place: {what: spare, at: bay_7}", head=head)


def test_a_step_by_intent_that_is_named_where_one_step_must_be_is_told_with_those_it_became(told):
    loaded = told(OUT, "{name: aboard, " + ON + "}", "{name: look, actors: [ev2], note: look, takes: 1 min}")
    assert loaded.became("aboard") == ["to_porch", "ev1_to_porch", "ev1_gets_on"]
    with pytest.raises(InputError, match=r"step .aboard. is meant, and became several .*; accepted: to_porch, ev1_"):
        loaded.ask_for_step("aboard")
    for name in ("look", "no_such", "ev1_gets_on"):
        loaded.ask_for_step(name)
