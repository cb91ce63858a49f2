"""A way on that fails where it is flown is flown once more with what that taught, and what failed before is told."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from armcarry.errors import InputError
from armcarry.record.finding import Finding, Verdict
from armcarry.scheduling import tries
from armcarry.scheduling.flown import Proof
from armcarry.scheduling.meeting import Learned
from armcarry.scheduling.replan import _no_better
from armcarry.scheduling.tries import FLIGHTS, Choice, flown_as
from armcarry.scheduling.way_on import WayOn

GOOD = Proof(Verdict.PASS, Verdict.PASS, "", (), 0, (), (), (), 100.0)


def _fails(message, check="clearance"):
    return Finding(check, Verdict.FAIL, "ev1/head", message, other="beam/tube")


def _flight(near=(), new=(), judged=None):
    """Return a flight; ``judged`` notes when anything but what comes too near is asked of it."""

    class Flight(SimpleNamespace):
        @property
        def new(self):
            if judged is not None:
                judged.append(self)
            return (*near, *new)

        proof = property(lambda self: Proof(GOOD.clearance, GOOD.way_home, "", tuple(o.message for o in self.new), 0,
                                            (), (), (), 100.0))  # fmt: skip

    return Flight(near=tuple(near), record=SimpleNamespace(plan=None, shortfalls=()),
                  onward=SimpleNamespace(change=None))  # fmt: skip


@pytest.fixture
def fly(monkeypatch):
    """Let ways on be flown as a list says, one after another, and note what each is taught."""

    def start(*flights):
        left, taught = list(flights), []
        monkeypatch.setattr(tries, "fly", lambda onward, known: _given(left.pop(0)))
        monkeypatch.setattr(tries, "learned_from", lambda record, failing, change: Learned(
            unfit=frozenset({(failing[0].message, "ev1")})))  # fmt: skip

        def again(learned):
            taught.append(learned)
            return Choice(WayOn(f"try {len(taught) + 1}"), SimpleNamespace(), again) if left else None

        return Choice(WayOn("try 1"), SimpleNamespace(), again), taught, left

    return start


def _given(flight):
    if isinstance(flight, Exception):
        raise flight
    return flight


def test_a_way_that_holds_is_flown_once(fly):
    choice, taught, left = fly(_flight(), _flight())
    way = flown_as(choice, (), None)
    assert (way.title, way.not_so, taught, len(left)) == ("try 1", (), [], 1) and way.holds


def test_what_a_flight_taught_makes_the_next_and_what_failed_before_is_told(fly):
    judged = []
    choice, taught, _ = fly(_flight([_fails("too near")], judged=judged), _flight(new=[_fails("stop", "stopping")]),
                            _flight())  # fmt: skip
    way = flown_as(choice, (), None)
    assert (way.title, way.not_so) == ("try 3", ("too near", "stop")) and way.holds
    assert [sorted(one.unfit) for one in taught] == [[("too near", "ev1")], [("stop", "ev1")]]
    assert judged == []  # nothing else is asked of what comes too near and is not kept


def test_where_no_flight_holds_the_first_is_told_and_there_is_an_end(fly):
    choice, taught, left = fly(*(_flight([_fails(f"{k}")]) for k in range(FLIGHTS + 2)))
    way = flown_as(choice, (), None)
    assert (way.title, way.proof.failed, way.not_so) == ("try 1", ("0",), ())
    assert len(left) == 2 and len(taught) == FLIGHTS - 1


def test_what_is_left_unsafe_or_cannot_be_flown_is_not_flown_again(fly):
    choice, taught, _ = fly(_flight(new=[_fails("left", "custody")]), _flight())
    assert flown_as(choice, (), None).title == "try 1" and taught == []
    choice, taught, _ = fly(InputError("no such thing"), _flight())
    assert flown_as(choice, (), None).not_flown == "no such thing" and taught == []


def test_two_that_became_one_as_they_were_flown_are_told_once_and_what_holds_is_not_given_up():
    one, other = WayOn("one", ("a", "b"), end_s=50.0, proof=GOOD), WayOn("other", ("a", "b"), end_s=50.0, proof=GOOD)
    assert set(_no_better([one, other])) == {"other"}
    assert "'one' does not, and ends no earlier" in _no_better([one, other])["other"].why_not
    unsafe = WayOn("one", ("a", "b"), end_s=50.0, proof=Proof(**{**vars(GOOD), "unsafe": ("left",)}))
    assert _no_better([unsafe, other]) == {}
