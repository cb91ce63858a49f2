"""What must be done to a thing for what else is done to it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from armcarry.files.documents.steps import Step
from armcarry.ledger.state import ItemState
from armcarry.scheduling.problem import Requires
from armcarry.scheduling.things import Things, rail_free


def _page(**box):
    seats = {"rack": SimpleNamespace(bolts=2), "bay": SimpleNamespace(bolts=2)}
    return SimpleNamespace(states={"box": ItemState(**box)}, seats=seats)


IN_RACK = {"where": "seat", "seat": "rack", "bolts_tight": 2}
IN_BAY = {"where": "seat", "seat": "bay", "bolts_tight": 1}
HELD = {"where": "held", "hands": frozenset({"ev1"})}


def _things(**pages):
    made = {name: _page(**box) for name, box in pages.items()}
    return Things(made, {name: {"box": True} for name in made}, frozenset(made), {"box"})


def _pairs(things):
    return {(one.job, other) for one in things.required(lambda name: "") for other in one.others}


def test_what_is_begun_between_two_rests_is_done_all_or_not_at_all():
    assert {("take", "seat"), ("seat", "take")} <= _pairs(_things(take=IN_RACK, seat=HELD, tighten=IN_BAY))


def test_what_begins_at_rest_requires_what_brought_the_thing_there():
    pairs = _pairs(_things(take=IN_RACK, seat=HELD, tighten=IN_BAY))
    assert ("tighten", "take") in pairs  # nobody tightens in the bay what never came there
    assert ("take", "tighten") not in pairs


def test_what_finds_a_thing_as_it_was_before_requires_nothing():
    assert _pairs(_things(look=IN_RACK, again=IN_RACK)) == set()


def _step(name, **what):
    return Step.model_validate({"name": name, "actors": ["ev1"], "takes": "1 min", **what})


def test_a_cart_comes_to_where_another_was_once_that_was_pushed_on():
    steps = [
        _step("first", seat={"what": "cart_1", "into": "platform/a", "station": "-14 m"}),
        _step("push", move_cart={"cart": "cart_1", "to": "-16 m"}),
        _step("second", seat={"what": "cart_2", "into": "platform/b", "station": "-14 m"}),
        _step("box", seat={"what": "box", "into": "platform/c"}),
    ]
    assert list(rail_free(steps, lambda name: "")) == [Requires("second", ("push",), "the rail is free by push")]


@pytest.mark.parametrize("box", [HELD, {**IN_RACK, "hands": frozenset({"ev1"})}, {**IN_RACK, "bolts_tight": 0}])
def test_what_hands_are_on_or_nothing_holds_is_not_left(box):
    assert _pairs(_things(take=IN_RACK, later=box)) == {("take", "later"), ("later", "take")}
