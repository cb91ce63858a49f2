"""Restraints as items: several, carried by hand, put into sockets on the arm and on a cart, turned, one person each."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.asked.requirement import Requirement
from armcarry.errors import FrameError, InputErrors
from armcarry.files.load import load_scenario
from armcarry.ledger.book import keep
from armcarry.planning.restraint import find_settings
from armcarry.planning.stance import look_up
from armcarry.scene.build import build_scene
from armcarry.working.stays import stays
from armcarry.working.stops import plate_gap, worksite_at

TWO = """BEFORE_RACK_A
restraint: {model: foot_restraint, at: platform/rack_a_socket}
restraints: {second: {at: platform/bay_7_socket, settings: {pitch: 90 deg}}}
crew: {ev1: {posture: carry, at: platform/rack_a_stand}, ev2: {posture: carry, at: platform/bay_7_stand}}
hardware: {cart: {model: rail_cart, at: platform/cart_1_seat}}
"""
TAKE = "name: take, actors: [ev1], take: {what: restraint}, takes: 3 min"
ON = "name: fit, actors: [ev1], seat: {what: restraint, into: arm}, takes: 3 min"
TURN = "name: turn, actors: [ev1], set_restraint: {settings: {pitch: 90 deg}}, takes: 1 min"
IN = "name: in, actors: [ev1], enter_restraint: {}, takes: 6 min"
REST = "name: rest, actors: [ev1], note: hold, takes: 1 min"
IN_2 = "name: in_2, actors: [ev2], enter_restraint: {which: second}, takes: 6 min"


def place(record, link, time_s):
    tree, links = record.link_poses(time_s)
    return links[tree.index(link)]


def test_a_restraint_is_carried_by_hand_put_on_the_arm_turned_and_stepped_into(record_of, failures):
    record = record_of(TWO, [TAKE, ON, TURN, IN, REST, IN_2])
    assert failures(record) == []
    slot = record.plan.schedule.slot
    page = record.ledger.at(slot("take").end_s)
    hands = (page.people["ev1"].left, page.people["ev1"].right)
    assert (page.states["restraint"].where, sorted(hands)) == ("held", ["", "restraint"])
    end = record.ledger.end
    assert (end.states["restraint"].seat, end.riders()) == ("arm", ("ev1",))
    assert (end.occupant("restraint"), end.occupant("second")) == ("ev1", "ev2")
    meet = {"restraint/mount": "arm/tip", "ev1/boots": "restraint/plate", "ev2/boots": "second/plate"}
    for link, other in meet.items():
        at = [place(record, name, record.duration_s - 1.0) for name in (link, other)]
        np.testing.assert_allclose(at[0], at[1], atol=1e-9)
    classes = dict(zip((b.name for b in record.bodies), record.scene.body_classes(record.phases[-1].tree), strict=True))
    assert (classes["ev1/pack"], classes["ev2/pack"]) == ("rider", "worker")
    assert {name: classes[f"{name}/foot_toe_bar"] for name in ("restraint", "second")} == {
        "restraint": "arm", "second": "structure",
    }


def test_a_restraint_takes_one_person_and_is_moved_only_when_empty(record_of, failures):
    body = TWO.replace("platform/rack_a_stand", "platform/bay_7_stand")
    both = [IN_2, "name: in_too, actors: [ev1], enter_restraint: {which: second}, takes: 6 min, after: [in_2]"]
    assert [one[:2] for one in failures(record_of(body, both))] == [("schedule", "ev1")]
    off = [IN_2, "name: off, actors: [ev1], take: {what: second}, takes: 6 min, after: [in_2]",
           "name: back, actors: [ev1], seat: {what: second, into: bay_7_socket}, takes: 6 min"]
    found = failures(record_of(body, off))
    assert next(one[2] for one in found if one[1] == "second") == (
        "off: second is moved in off while ev2 stands in it; the same in back"
    )


def test_a_restraint_stands_on_a_cart_and_goes_where_it_is_pushed(record_of, failures):
    body = """BEFORE_RACK_A
restraints: {second: {at: cart/socket}}
crew: {ev1: {posture: carry, at: second/plate}, ev2: {posture: carry, at: platform/keel_port_11_from}}
hardware: {cart: {model: rail_cart, at: platform/cart_1_seat}}
"""
    push = "name: push, actors: [ev2], move_cart: {cart: cart_1, to: 16.6 m}, takes: 2 min"
    record = record_of(body, [push])
    assert record.ledger.start.people["ev1"].restraint == "second"
    gone = place(record, "ev1/boots", record.duration_s)[:3, 3] - place(record, "ev1/boots", 0.0)[:3, 3]
    np.testing.assert_allclose(gone, [0.4, 0.0, 0.0], atol=1e-9)
    assert record.ledger.end.riders() == ()


@pytest.mark.parametrize(
    ("step", "words"),
    [
        ("name: a, actors: [ev1], enter_restraint: {which: thrid}, takes: 1 min", "no restraint named 'thrid'"),
        ("name: a, actors: [ev1], seat: {what: restraint, into: bay_7_seat}, takes: 1 min", "no seat named 'bay_7_s"),
        ("name: a, actors: [ev1], set_restraint: {settings: {pitch: 91 deg}}, takes: 1 min", "not a step of 'pitch'"),
        ("name: a, actors: [ev1], move_appendage: {appendage: wing, state: up}, takes: 1 min", "no appendage named"),
    ],
)
def test_what_is_refused(script, step, words):
    with pytest.raises(InputErrors, match=words):
        load_scenario(script(TWO, [step, step.replace("name: a", "name: b")]))


def test_an_operator_turns_an_appendage_while_everybody_goes_on(record_of, failures):
    fold = "name: fold, actors: [operator], move_appendage: {appendage: radiator_port, state: stowed}, takes: 4 min"
    record = record_of(TWO + "appendages: {radiator_port: deployed}\n", [fold, TAKE, ON], ["operator"])
    assert failures(record) == []
    assert record.ledger.end.people["operator"].away
    column = record.scene.tree.column("platform/radiator_port_hinge_1")
    hinge = [float(record.motion.at(time_s)[column]) for time_s in (0.0, 120.0, 240.0)]
    assert hinge == pytest.approx([np.pi / 2, np.pi / 4, 0.0], abs=1e-9)
    assert record.plan.schedule.slot("take").start_s == 0.0


def test_a_second_restraint_is_stood_in_and_rests_on_its_cart_as_the_first_does(script):
    scene = build_scene(load_scenario(script(ON_CART, [REST])))
    names = [body.name for body in scene.tree.bodies]

    def asked(one, other):
        pair = np.array([sorted((names.index(one), names.index(other)))])
        found = Requirement(scene, scene.tree, pair).at(0.0)
        return float(found.required_m[0]), bool(found.meant[0])

    assert asked("ev1/boot_left", "second/foot_plate")[1]
    assert asked("second/foot_flange", "rail_cart/cart_bed")[1]  # its mount is in the socket
    assert asked("second/foot_plate", "rail_cart/cart_bed") == (0.0, False)  # but no other part may touch
    assert asked("second/foot_plate", "ev2/torso_medium") == (0.0, False)
    assert asked("rail_cart/cart_bed", "ev1/boot_left") == (0.3, False)


ON_CART = """
restraints: {second: {model: foot_restraint, at: rail_cart/socket}}
crew: {ev1: {posture: carry, at: second/plate}, ev2: {posture: carry, at: platform/keel_port_11_from}}
hardware: {rail_cart: {model: rail_cart, at: platform/cart_1_seat}}
"""


def test_what_is_in_the_own_hands_is_asked_the_same_on_the_arm_and_off_it(script):
    body = """
crew: {ev1: {posture: carry, at: platform/rack_a_stand}, ev2: {posture: carry, at: platform/bay_7_stand}}
hardware: {thermal_blanket: {model: thermal_blanket, at: ev1/hands}}
"""
    scene = build_scene(load_scenario(script(body, [REST])))
    names = [body.name for body in scene.tree.bodies]
    held, other = (
        np.array([sorted((names.index(f"{who}/torso_medium"), names.index("thermal_blanket/blanket_roll")))])
        for who in ("ev1", "ev2")
    )
    required = [float(Requirement(scene, scene.tree, pair).at(0.0).required_m[0]) for pair in (held, other)]
    assert required == [0.02, 0.3]


BEFORE_BAY_7 = """
restraint: {model: foot_restraint, at: arm}
restraints: {second: {model: foot_restraint, at: platform/bay_7_stand, settings: {pitch: 90 deg}}}
crew: {ev1: {posture: carry, at: second/plate}, ev2: {posture: carry, at: platform/rack_a_stand}}
hardware: {pump_box: {model: pump_box, at: platform/bay_7_seat, fasteners: {cover: open}}}
"""
LOOSE = "name: loose, actors: [ev1], bolt: {what: pump_box, count: 1, each: 1 min, make: loose}"


def test_who_stands_in_a_restraint_before_a_worksite_works_there(record_of):
    record = record_of(BEFORE_BAY_7, [REST, LOOSE])
    slot = record.plan.schedule.slot("loose")
    assert [(stay.crew, stay.worksite, stay.start_s) for stay in stays(record)] == [("ev1", "bay_7", slot.start_s)]
    metres, turned = plate_gap(record, "bay_7", 0.0, "second")
    assert (metres, turned) == pytest.approx((np.hypot(0.4, 0.2), 0.0), abs=1e-6)
    assert plate_gap(record, "bay_7", 0.0)[0] > 5.0  # that on the arm is elsewhere
    assert worksite_at(record, "second", 0.0) == "bay_7"
    assert worksite_at(record, "restraint", 0.0) == ""


def test_who_gets_into_a_restraint_before_a_worksite_works_there_from_then_on(record_of):
    enter = "name: enter, actors: [ev1], enter_restraint: {which: second}, takes: 6 min"
    loose = LOOSE.replace("name: loose", "name: loose_too")
    record = record_of(BEFORE_BAY_7.replace("at: second/plate", "at: platform/bay_7_stand"), [LOOSE, enter, loose])
    assert stays(record) == ()  # the stand is no socket, so nobody stands in the restraint there
    start = record.ledger.start
    socket = {"platform/bay_7_stand": replace(start.seats["platform/bay_7_stand"], stand=True)}
    book = keep(replace(start, seats={**start.seats, **socket}), record.ledger.acts)
    found = [(stay.worksite, stay.start_s) for stay in stays(replace(record, kept=book))]
    assert found == [("bay_7", record.plan.schedule.slot("loose_too").start_s)]


def test_settings_are_searched_of_the_restraint_one_stands_in_or_names(script):
    scene = build_scene(load_scenario(script(BEFORE_BAY_7, [REST])))
    found = [look_up(scene, "bay_7", *who) for who in (("ev1", None), ("ev2", None), ("ev2", None, "second"))]
    assert [who.name for who in found] == ["second", "restraint", "second"]
    best = find_settings(scene, "bay_7", crew="ev1", restraint="second", place="stand", limit=1)
    assert (best.crew, best.tried > 0, best.in_sight > 0) == ("ev1", True, True)
    with pytest.raises(FrameError, match="no restraint named 'deck'"):
        look_up(scene, "bay_7", "ev1", None, "deck")
