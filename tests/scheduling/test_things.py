"""What must be done to a thing for what else is done to it."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from armcarry.files.documents.steps import Step
from armcarry.ledger.state import ItemRule, ItemState, Page, SeatRule
from armcarry.scheduling.problem import Requires
from armcarry.scheduling.things import Things, left_short, rail_free


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


# -- what is left safe -------------------------------------------------------------------------------------------

RULE = ItemRule("box", after_seating=("bolts tight", "lid closed"))
SEATS = {"bay": SeatRule(("box",), bolts=4)}
LID = (("lid", "closed"),)
BOLT = {"what": "box", "count": 2, "make": "tight"}
STEPS = [("take", {"take": {"what": "box"}}), ("put", {"seat": {"what": "box", "into": "bay"}}),
         ("tighten", {"bolt": BOLT}), ("push", {"move_cart": {"cart": "bay", "to": "1 m"}}),
         ("tighten_more", {"bolt": BOLT}),
         ("shut", {"fold_cover": {"what": "box", "fastener": "lid", "make": "closed"}})]  # fmt: skip


def _box(bolts, **state):
    return ItemState(**{"where": "seat", "seat": "bay", "bolts_tight": bolts, "fasteners": LID, **state})


#: the box as each step finds it, and at the end
AS_FOUND = [_box(4), _box(0, where="held", seat="", hands=frozenset({"ev1"})), _box(0, hands=frozenset({"ev1"})),
            _box(2), _box(2), _box(4, fasteners=(("lid", "open"),))]  # fmt: skip


def _kept(to_come, ends=None, safe=True, found=AS_FOUND):
    steps = {name: _step(name, **what) for name, what in STEPS}
    pages = {name: _paged(box) for name, box in zip(steps, found, strict=True)}
    last = _paged(_box(4) if ends is None else ends)
    return Things(pages, {name: {"box": True} for name in steps}, frozenset(to_come), {"box"}, steps, last, safe)


def _paged(box):
    return Page({"box": RULE}, SEATS, {"box": box}, {})


REST = ("push", "tighten_more", "shut")


def test_what_is_left_with_too_few_bolts_is_not_left_once_nobody_is_at_them():
    assert _kept(REST).half_done == set(REST)
    assert _kept(REST, safe=False).half_done == frozenset()
    # whoever has not ended tightening can tighten them all
    assert _kept(("tighten", *REST)).half_done == {"tighten"}
    assert {one for pair in _pairs(_kept(("tighten", *REST))) for one in pair} >= {"tighten"}
    assert ("tighten", "push") not in _pairs(_kept(("tighten", *REST)))


def test_what_its_document_asks_is_done_before_a_thing_is_left_unless_the_day_leaves_it_so_anyway():
    assert _kept(("shut",)).half_done == {"shut"}
    assert _kept(("shut",), ends=_box(4, fasteners=(("lid", "open"),))).half_done == frozenset()
    assert _kept(REST, ends=_box(2)).half_done == frozenset()


def test_what_nobody_has_touched_is_left_as_it_was():
    assert _kept(("take", "put"), found=[_box(2), *AS_FOUND[1:]]).half_done == frozenset()
    untouched = _kept(("push", "shut"), found=[_box(2)] * 6)
    looked = {name: step for name, step in untouched.steps.items() if name in ("push", "shut")}
    pages = {name: untouched.pages[name] for name in looked}
    touched = {name: {"box": True} for name in looked}
    assert Things(pages, touched, frozenset({"shut"}), {"box"}, looked, _paged(_box(4)), True).half_done == frozenset()


def test_the_last_who_tightens_and_has_not_ended_tightens_what_would_lack():
    steps = [_step(name, **what) for name, what in STEPS[:4]]
    assert left_short(steps, _paged(_box(2)), {"tighten", "push"}) == {"tighten": 2}
    assert left_short(steps, _paged(_box(2)), {"push"}) == {} == left_short(steps, _paged(_box(4)), {"tighten"})
    again = [*steps, _step("take_again", take={"what": "box"}), _step("put_again", seat={"what": "box", "into": "bay"})]
    assert left_short(again, _paged(_box(0)), {"tighten", "take_again", "put_again"}) == {}
