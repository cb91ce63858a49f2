"""Restraints as items: several, carried by hand, put into sockets on the arm and on a cart, turned, one person each."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.errors import InputErrors
from armcarry.files.load import load_scenario

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
    assert next(one[2] for one in found if one[1] == "second") == "off: second is moved in off while ev2 stands in it"


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
