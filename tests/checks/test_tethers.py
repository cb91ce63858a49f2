"""What is said of tethers: those that are too short or unhooked too soon, all of them, and of whom none is stated."""

from types import SimpleNamespace

import pytest

from armcarry.checks import tethers
from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
from armcarry.ledger.state import Act, Asked, Page, PersonState
from armcarry.record.finding import Verdict

SHORT = Violation("walk", "ev1", "tether_length", "ev1 comes too far", 7.0, "tethers", "unhook it", 5.0, 9.0)


@pytest.fixture
def judged():
    """Judge a run of 100 s; ``hooked`` are the tethers of ev1 before and after an act."""

    def build(violations=(), hooked=((), ()), day=True, crew=("ev1",)):
        nobody = {who: PersonState() for who in crew}
        pages = [
            Page({}, {}, {}, nobody | {"ev1": PersonState(tethers=frozenset(now))}, Asked()) for now in hooked
        ]
        book = Ledger(pages[0], (Act("tie", "hook", ("ev1",), time_s=5.0),), (pages[1],), tuple(violations))
        scene = SimpleNamespace(loaded=SimpleNamespace(crew=dict.fromkeys(crew)))
        return tethers.check(
            SimpleNamespace(plan=object() if day else None, ledger=book, duration_s=100.0, scene=scene)
        )

    return build


@pytest.mark.parametrize("day", [True, False])
def test_a_tether_that_is_too_short_fails_in_a_day_or_without(judged, day):
    found = judged([SHORT, Violation("x", "y", "z", "of another check", 1.0, "custody")], day=day)[0]
    assert (found.verdict, found.subject, found.other) == (Verdict.FAIL, "ev1", "walk")
    assert (found.start_s, found.end_s) == (7.0, 7.0)
    assert (found.message, found.remedy) == ("ev1 comes too far", "unhook it")


def test_without_a_day_nothing_else_is_said(judged):
    assert judged(day=False) == ()


@pytest.mark.parametrize("hooked", [(("rail",), ()), ((), ("rail", "plate"))])
def test_tethers_that_are_never_too_short_pass_counted(judged, hooked):
    (found,) = judged(hooked=hooked)
    assert (found.verdict, found.subject, found.start_s, found.end_s) == (Verdict.PASS, "tethers", 0.0, 100.0)
    count = max(len(now) for now in hooked)
    assert found.message == (
        f"at no instant is any of {count} tethers asked to be longer than it is, proven over the motion"
    )


def test_beside_one_that_fails_none_passes(judged):
    assert [item.verdict for item in judged([SHORT], hooked=(("rail",), ()))] == [Verdict.FAIL]


def test_of_whom_no_tether_is_stated_is_said_once(judged):
    found = judged(hooked=(("rail",), ()), crew=("ev1", "ev2", "ev3"))[-1]
    assert (found.verdict, found.subject, found.start_s, found.end_s) == (Verdict.NOT_ASSESSED, "crew", 0.0, 100.0)
    assert found.message == (
        "no safety tether of ev2, ev3 is stated, so whether they are kept hooked on is not judged"
    )
    assert found.remedy == "add steps such as tether: {to: porch_rail} and untether: {to: porch_rail} of the worker"
