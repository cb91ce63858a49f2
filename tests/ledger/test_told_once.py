"""Faults that passed in silence, broke off, or were told many times over: each is one finding, with its cause."""

from __future__ import annotations

from dataclasses import replace

import pytest

from armcarry.checks import held_view
from armcarry.errors import InputErrors
from armcarry.files.load import load_scenario
from armcarry.ledger.book import entered, keep
from armcarry.ledger.state import Act, Asked, BoltRule, FastenerRule, ItemRule, ItemState, Page, PersonState, SeatRule

ON_RAIL = """
crew: {ev1: {posture: carry, at: platform/bay_10_stand}, ev2: {posture: carry, at: platform/keel_port_9_to}}
hardware: {driver: {model: driver, at: ev1/hands}}
"""
HOOK = "name: hook, actors: [ev1], tether: {what: driver}, takes: 1 min"
LEFT = "name: left, actors: [ev1], tether: {what: driver, to: keel_star_10}, takes: 1 min"


@pytest.mark.parametrize(
    ("step", "told"),
    [
        ("name: own, actors: [ev2], tether: {to: keel_port_2, length: 60 m, reel: true}, takes: 1 min",
         ["ev2 hooks a tether to keel_port_2 in own but is 26.25 m from it; boots and gloves reach 2.09 m"]),
        ("name: own, actors: [ev1], tether: {what: driver, to: keel_port_2}, takes: 1 min",
         ["ev1 hooks driver to keel_port_2 in own but is "]),
    ],
)  # fmt: skip
def test_a_tether_is_hooked_to_what_is_in_reach(record_of, failures, step, told):
    found = failures(record_of(ON_RAIL, [HOOK, step, LEFT]))
    assert [(one[0], one[2][: len(words)]) for one, words in zip(found, told, strict=True)] == [
        ("schedule", words) for words in told
    ]


RIDE = """BEFORE_RACK_A
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: arm}, ev2: {posture: carry, at: platform/rack_a_stand}}
hardware: {driver: {model: driver, at: ev1/hands}}
carries: [{name: close_in, moves: [{to_worksite: rack_a}]}]
"""


@pytest.mark.parametrize(("to", "far"), [("keel_port_3_to", "28.03"), ("keel_port_11_to", "")])
def test_nobody_gets_off_the_arm_onto_what_is_far_away(record_of, failures, to, far):
    off = f"name: off, actors: [ev1], leave_restraint: {{to: platform/{to}}}, takes: 5 min"
    found = [one for one in failures(record_of(RIDE, [HOOK, off])) if one[0] == "schedule"]
    words = f"ev1 gets out of restraint in off but is then {far} m from it; boots and gloves reach "
    assert [one[2][: len(words)] for one in found] == ([words] if far else [])


def test_a_thing_without_a_shape_in_the_hands_hides_nothing(record_of):
    record = record_of(RIDE, [HOOK, "name: in, actors: [arm, ev1], carry: close_in",
                              "name: look, actors: [ev1], at: rack_a, inspect: bolts, takes: 1 min"])  # fmt: skip
    (found,) = [one for one in held_view.check(record) if one.other == "driver"]
    assert (str(found.verdict), found.message.split(" of the view")[0]) == (
        "pass", "driver in the hands of ev1 hides 0 %",
    )  # fmt: skip


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (["name: take, actors: [ev2], take: {what: restraint}, takes: 1 min"],
         "take: restraint is moved in take while ev1 stands in it; so is not right either: the end"),
        (["name: take, actors: [ev1], take: {what: restraint}, takes: 1 min",
          "name: turn, actors: [ev1], fit_restraint: {}, takes: 1 min"],
         "take: restraint is moved in take while ev1 stands in it; the same in turn"),
    ],
)  # fmt: skip
def test_a_restraint_that_is_taken_with_somebody_in_it_is_told_and_breaks_nothing(record_of, failures, steps, told):
    found = failures(record_of(RIDE, [HOOK, *steps]))
    assert told in [one[2] for one in found if one[1] == "restraint" and one[0] == "custody"]


FAR = """
crew: {ev1: {posture: carry, at: platform/bay_10_stand}, ev2: {posture: carry, at: platform/keel_port_4_to}}
hardware: {pump_box: {model: pump_box, at: platform/bay_10_seat, fasteners: {cover: open}}}
"""
BOLTS = "actors: [ev1], bolt: {what: pump_box, count: 4, each: 1 min, make: "


def test_a_far_hand_over_is_one_finding_with_all_that_follows_from_it(record_of, failures):
    steps = [
        "name: hook, actors: [ev1], tether: {what: pump_box}, takes: 1 min", f"name: loose, {BOLTS}loose}}",
        "name: part, actors: [ev1], connect: {what: pump_box, make: parted}, takes: 1 min",
        "name: take, actors: [ev1], take: {what: pump_box}, takes: 1 min",
        "name: give, actors: [ev1], hand_over: {what: pump_box, to: ev2}, takes: 1 min",
        "name: seat, actors: [ev2], seat: {what: pump_box, into: bay_10_seat}, takes: 1 min",
        f"name: tight, {BOLTS}tight}}",
    ]
    record = record_of(FAR, steps)
    told, *forgotten = sorted(failures(record), reverse=True)
    assert [one[2].partition(" and not ")[2][:16] for one in forgotten] == ["connector joined"]
    assert told[:2] == ("schedule", "ev2")
    assert told[2].startswith("ev2 takes pump_box over in give but is 20.")
    assert told[2].endswith("boots and gloves reach 2.09 m; so is not right either: seat, tight")
    one = record.ledger.violations[0]  # nothing of it is hidden in the run folder
    assert ("seat", "beside") in {(also.step, also.missing) for also in one.led_to}


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (["name: out, actors: [arm, ev2], carry: close_in", "name: off, actors: [ev2], leave_restraint: "
          "{to: platform/rack_a_stand}, takes: 5 min"],
         "the arm moves in out while its rider ev2 is not in the restraint; so is not right either: off"),
        (["name: on, actors: [ev1], enter_restraint: {which: second}, takes: 5 min",
          "name: out, actors: [arm, ev1], carry: close_in"],
         "ev1 enters second in on while in restraint; so is not right either: out"),
    ],
)  # fmt: skip
def test_who_is_in_no_restraint_or_in_two_is_told_once(record_of, failures, steps, told):
    body = RIDE + "restraints: {second: {at: platform/rack_a_socket}}\n"
    found = [one[2] for one in failures(record_of(body, [HOOK, *steps])) if one[0] == "schedule"]
    assert [one[: len(told)] for one in found if "not among its actors" not in one] == [told]


def test_a_tether_hooked_out_of_reach_is_told_without_its_length(record_of, failures):
    far = "name: far, actors: [ev1], tether: {what: driver, to: ev2}, takes: 1 min"
    found = failures(record_of(ON_RAIL, [HOOK, far, LEFT]))
    assert [one[:2] for one in found] == [("schedule", "ev1")]
    assert found[0][2].startswith("ev1 hooks driver to ev2 in far but is ")


@pytest.mark.parametrize(("at", "fails"), [("radiator_port_panel_1", True), ("keel_port_9_to", False)])
def test_nobody_stands_on_an_appendage_that_is_moved(record_of, failures, at, fails):
    body = f"appendages: {{radiator_port: deployed}}\ncrew: {{ev2: {{posture: carry, at: platform/{at}}}}}\n"
    fold = "name: fold, actors: [operator], move_appendage: {appendage: radiator_port, state: stowed}, takes: 4 min"
    found = failures(record_of(body, [fold], ["operator"]))
    told = ("schedule", "ev2", "radiator_port is moved in fold while ev2 stands on it")
    assert found == ([told] if fails else [])


def test_who_unhooks_the_last_safety_tether_is_told(record_of, failures):
    own = "actors: [ev2], WHAT: {to: keel_port_9}, takes: 1 min"
    steps = [f"name: on, {own.replace('WHAT', 'tether')}", f"name: off, {own.replace('WHAT', 'untether')}"]
    assert ("tethers", "ev2", "ev2 unhooks the last safety tether in off") in failures(record_of(ON_RAIL, steps))


def test_a_restraint_in_the_own_hands_is_not_stood_in(record_of, failures):
    body = RIDE.replace("at: arm, settings", "at: platform/rack_a_socket, settings").replace(
        "crew: {ev1: {posture: carry, at: arm}", "crew: {ev1: {posture: carry, at: platform/bay_3_stand}"
    )
    steps = ["name: take, actors: [ev2], take: {what: restraint}, takes: 1 min",
             "name: on, actors: [ev2], enter_restraint: {}, takes: 5 min"]  # fmt: skip
    found = failures(record_of(body, steps))
    assert ("schedule", "ev2", "ev2 enters the restraint in on before it is on the arm") in found


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("actors: [reader], bolt: {what: driver, count: 1, make: loose, each: 1 min}", "no actor with hands named 're"),
        ("actors: [reader], tether: {what: driver}, takes: 1 min", "no actor with hands named 'reader'"),
        ("actors: [ev1], hand_over: {what: driver, to: ev1}, takes: 1 min", "ev1 hands over to nobody else; accept"),
    ],
)
def test_hands_are_asked_of_who_has_them_there(script, step, words):
    with pytest.raises(InputErrors, match=words):
        load_scenario(script(ON_RAIL, [f"name: a, {step}", f"name: b, {step}"], ["reader"]))


def test_who_takes_an_item_over_does_nothing_else_meanwhile(record_of):
    give = "name: give, actors: [ev1], hand_over: {what: driver, to: ev2}, takes: 2 min"
    mine = "name: mine, actors: [ev2], tether: {what: driver}, takes: 1 min"
    body = ON_RAIL.replace("platform/keel_port_9_to", "platform/bay_10_stand")
    slots = record_of(body, [HOOK, give, mine]).plan.schedule
    assert slots.slot("mine").start_s == slots.slot("give").end_s == 180.0
    assert slots.slot("give").actors == ("ev1", "ev2")


def test_a_tether_that_is_pulled_too_far_names_the_step_that_does_it(record_of, failures):
    body = ON_RAIL.replace("bay_10_stand", "keel_port_4_to")
    own = "name: own, actors: [ev1], tether: {to: keel_port_4, length: 6 m, reel: true}, takes: 1 min"
    other = "name: other, actors: [ev2], translate: {to: platform/keel_port_8_from}, takes: 9 min"
    go = "name: go, actors: [ev1], translate: {to: platform/keel_port_1_from}"
    left = LEFT.replace("keel_star_10", "keel_port_1")
    (told,) = [one for one in failures(record_of(body, [HOOK, own, other, go, left])) if one[0] == "tethers"]
    assert told[1:] == ("ev1", "ev1 and keel_port_4 come 11.44 m apart, on a tether of 6 m between them")


# -- on the page alone ---------------------------------------------------------------------------------------------

MINE = ItemState("held", hands=frozenset({"ev1"}), tethers=frozenset({"ev1"}))
PAGE = Page(
    {"box": ItemRule("box", bolts=BoltRule(tool="driver")), "driver": ItemRule("driver"), "saw": ItemRule("saw")},
    {"bay": SeatRule(("box",), bolts=4)},
    {"box": ItemState("seat", "bay", bolts_tight=4), "driver": MINE, "saw": ItemState("inside")},
    {"ev1": PersonState("bay", tethers=frozenset({"rail"})), "ev2": PersonState("bay")},
)
LOOSE = Act("loose", "bolt", ("ev1",), "box", make="loose", count=1, tool="driver")


@pytest.mark.parametrize(
    ("tool", "told", "unknown"),
    [
        ("driver", [], []),
        ("saw", ["the bolts of box ask for driver, loose turns them with saw"], []),
        ("", [], ["the bolts of box ask for driver; loose names no tool, so whether it is there is not judged"]),
    ],
)
def test_bolts_are_turned_with_the_tool_their_item_asks_for(tool, told, unknown):
    page = replace(PAGE, states={**PAGE.states, "saw": MINE})
    book = keep(page, [replace(LOOSE, tool=tool)])
    found = [one for one in book.violations if one.missing == "right_tool"]
    assert [one.message for one in found if not one.unknown] == told
    assert [one.message for one in found if one.unknown] == unknown
    assert all(one.remedy for one in found)


@pytest.mark.parametrize(
    ("length_m", "reel", "told"), [(50.0, False, 1), (50.0, True, 0), (4.0, False, 0), (0.0, False, 0)]
)
def test_a_long_tether_is_on_a_reel(length_m, reel, told):
    page = replace(PAGE, asked=Asked(unreeled_m=4.0))
    book = keep(page, [Act("own", "tether", ("ev1",), to="rail", length_m=length_m, reel=reel)])
    found = [one for one in book.violations if one.missing == "reel"]
    assert len(found) == told
    assert not found or found[0].topic == "tethers"
    assert not found or found[0].message == "ev1 is hooked in own by a tether of 50 m on no reel; 4 m may lie loose"
    assert not found or found[0].remedy == "state reel: true in own, or take a shorter tether"


def test_a_tool_in_the_hands_of_another_worker_is_not_there():
    held = replace(PAGE, states={**PAGE.states, "driver": replace(MINE, hands=frozenset({"ev2"}), tethers=frozenset())})
    book = keep(held, [LOOSE, replace(LOOSE, step="more")])
    (told,) = [one.message for one in book.violations if one.missing == "tool_there"]
    assert told == "ev1 has no driver for loose: it is in the hands of ev2; the same in more"


def test_who_went_out_is_inside_at_the_end():
    start = replace(PAGE, people={"ev1": PersonState("airlock"), "ev2": PersonState("bay")}, hatch="closed",
                    states={**PAGE.states, "saw": replace(MINE, tethers=frozenset())})  # fmt: skip
    out = [Act("open", "hatch", ("ev1",), make="open"), Act("go", "go_out", ("ev1",)), Act("go", "set_off", ("ev1",)),
           Act("go", "come", ("ev1",), to="bay")]  # fmt: skip
    back = [Act("back", "come", ("ev1",), to="airlock")]
    told = [(v.item, v.message) for v in keep(start, out).violations if v.missing in ("back_inside", "in_a_place")]
    assert told == [("ev1", "ev1 went out and is still outside at the end")]  # and not what ev1 holds as well
    assert [v for v in keep(start, [*out, *back]).violations if v.missing == "back_inside"] == []
    shut = [*out, Act("shut", "hatch", ("ev2",), make="closed")]
    told = [v.missing for v in keep(start, shut).violations if v.missing in ("people_in", "back_inside", "items_in")]
    assert told == ["people_in"]


@pytest.mark.parametrize(("starts_s", "told"), [(30.0, True), (60.0, False)])
def test_nobody_climbs_onto_a_cart_while_it_is_pushed(starts_s, told):
    rules = {"deck": ItemRule("step", restraint=True), "truck": ItemRule("truck")}
    seats = {"truck/socket": SeatRule(("step",)), "cart_seat": SeatRule(("truck",), cart="cart_1")}
    states = {"deck": ItemState("seat", "truck/socket"), "truck": ItemState("seat", "cart_seat")}
    page = Page(rules, seats, states, {"ev1": PersonState(), "ev2": PersonState()})
    assert (page.cart_of("deck"), page.cart_of("truck"), page.cart_of("ev1")) == ("cart_1", "cart_1", "")
    push = Act("push", "move_cart", ("ev2",), whose="cart_1", time_s=60.0, start_s=10.0, end_s=60.0)
    climb = Act("climb", "climb_in", ("ev1",), whose="deck", time_s=starts_s, start_s=starts_s, end_s=starts_s + 90.0)
    acts = sorted([push, climb], key=lambda act: act.time_s)
    found = [one for one in keep(page, acts).violations if one.missing == "cart_moving"]
    words = ["ev1 enters the restraint in climb while cart_1 is pushed in push"]
    assert [one.message for one in found] == (words if told else [])
    assert [one.message for one in keep(page, [replace(push, whose="cart_2"), climb]).violations] == []


def test_hands_that_are_full_are_told_once_with_every_step_that_lacks_them():
    two = {"driver": MINE, "saw": MINE}
    page = replace(PAGE, states={**PAGE.states, **two}, asked=Asked(bonds=False))
    acts = [Act(name, "lock", ("ev1",), "box", fastener="lid") for name in ("one", "two", "three")]
    page = replace(page, items={**page.items, "box": ItemRule("box", {"lid": FastenerRule("lock")})},
                   states={**page.states, "box": ItemState("seat", "bay", fasteners=(("lid", "open"),))})  # fmt: skip
    told = [one.message for one in keep(page, acts).violations if one.missing == "free_hand"]
    assert told == ["ev1 has no hand free for one: driver and saw take both; the same in two, three"]
    more = Act("more", "take", ("ev1",), "box")
    assert [one.missing for one in entered(page, more)[1] if one.item == "ev1"] == ["free_hand"]
