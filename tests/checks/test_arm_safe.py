"""What is said of an arm that people are at: whether it was made safe, and for how long it was."""

from types import SimpleNamespace

import pytest

from armcarry.checks import arm_safe
from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
from armcarry.ledger.state import Act, Asked, Page
from armcarry.record.finding import Verdict


@pytest.fixture
def judged():
    """Judge a run of 100 s in which the arm is safe from 20 s to 50 s and from 60 s on."""

    def build(violations=(), asked=True, day=True):
        modes = ("holding", "safe", "driven", "safe")
        pages = [Page({}, {}, {}, {}, Asked(arm_safe=asked), arm=mode) for mode in modes]
        acts = tuple(Act(f"a{k}", "arm", (), time_s=time) for k, time in enumerate((20.0, 50.0, 60.0)))
        book = Ledger(pages[0], acts, tuple(pages[1:]), tuple(violations))
        return arm_safe.check(SimpleNamespace(plan=object() if day else None, ledger=book, duration_s=100.0))

    return build


def test_nothing_is_said_without_a_day(judged):
    assert judged(day=False) == ()


def test_rules_that_do_not_ask_leave_it_open(judged):
    (found,) = judged(asked=False)
    assert (found.verdict, found.subject) == (Verdict.NOT_ASSESSED, "arm")
    assert (found.start_s, found.end_s) == (0.0, 100.0)
    assert found.message == (
        "the rules do not say how long it takes to make the arm safe, so it counts as powered all day"
    )
    assert found.remedy == "state arm_safe in the rules: brakes, mode_change, check, call"


def test_an_arm_that_is_always_safe_when_people_are_at_it_passes_and_says_how_long_it_is(judged):
    (found,) = judged([Violation("on", "ev1", "held", "of another check", 3.0, "custody")])
    assert (found.verdict, found.subject, found.start_s, found.end_s) == (Verdict.PASS, "arm", 0.0, 100.0)
    assert found.message == (
        "whenever somebody gets on or off the arm, or a rider works at a seat, the arm is safe; in all it is safe for "
        "0:01:10.0"
    )


def test_everybody_too_near_an_arm_that_is_not_safe_is_told_and_nothing_passes(judged):
    one, other = (
        Violation(step, who, "safe", f"{who} does {step}", at, "arm_safe", f"make it safe before {step}", at, at + 9.0)
        for step, who, at in (("on", "ev2", 3.0), ("bolt", "ev1", 30.0))
    )
    first, second = judged([one, other])
    assert first.verdict is second.verdict is Verdict.FAIL
    assert (first.subject, first.other, first.start_s, first.end_s) == ("ev2", "on", 3.0, 12.0)
    assert (first.message, first.remedy) == ("ev2 does on", "make it safe before on")
    assert (second.subject, second.other) == ("ev1", "bolt")
