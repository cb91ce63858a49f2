"""What is joined: 50 mm and 0.1 rad between the frames that meet."""

import pytest

from armcarry.checks import grasp
from armcarry.ledger.book import Ledger
from armcarry.ledger.state import Act, Asked, ItemState, Page
from armcarry.record.finding import Verdict
from armcarry.timeline.run import Event


@pytest.fixture
def judged(rider_scene, moving_record):
    return lambda *events: grasp.check(moving_record(rider_scene({}), {}, events=events))


@pytest.mark.parametrize(
    ("gap_m", "gap_rad", "verdict"),
    [
        (0.0499, 0.0999, Verdict.PASS), (0.0501, 0.0, Verdict.FAIL), (0.0, 0.1001, Verdict.FAIL),
        (0.05, 0.1, Verdict.PASS), (0.0501, 0.1001, Verdict.FAIL),
    ],
)  # fmt: skip
def test_both_the_gap_and_the_turn_must_be_small(judged, gap_m, gap_rad, verdict):
    (found,) = judged(Event(3.0, "attach", "load", "ev1/hands", gap_m, gap_rad))
    assert found.verdict is verdict
    assert (found.subject, found.other, found.start_s, found.end_s) == ("load", "ev1/hands", 3.0, 3.0)


def test_the_words_of_taking_and_of_leaving(judged):
    taken, left = judged(
        Event(3.0, "attach", "load", "ev1/hands", 0.08, 0.0), Event(4.0, "detach", "load", "platform/rack", 0.01, 0.02)
    )
    assert taken.message == (
        "load is attached to ev1/hands with 80 mm and 0.0 deg between the frames that meet; 50 mm and 5.7 deg are "
        "allowed"
    )
    assert taken.remedy == "end the move before it with a line to ev1/hands"
    assert left.message.startswith("load is left at platform/rack with 10 mm and 1.2 deg between")
    assert (left.value, left.limit, left.unit, left.remedy) == (0.01, 0.05, "m", "")


def test_boots_are_stepped_in_and_not_brought(judged):
    findings = judged(Event(3.0, "attach", "ev1", "restraint", 9.0, 3.0), Event(4.0, "attach", "load", "x", 0.0, 0.0))
    assert [item.subject for item in findings] == ["load"]


def test_one_who_is_far_away_cannot_be_given_anything(judged):
    """A line of the arm to somebody's hands is of no use there: the receiver must come first."""
    (found,) = judged(Event(3.0, "attach", "load", "ev1/hands", 19.04, 0.3))
    assert found.verdict is Verdict.FAIL
    assert found.message == "load is given to ev1, who is 19.0 m away from it then"
    assert found.remedy == (
        "bring ev1 to where load is before, by a way along handrails or by the arm, or give it to somebody who is there"
    )
    assert (found.value, found.limit, found.unit, found.other) == (19.04, 0.05, "m", "ev1/hands")
    (reached,) = judged(Event(3.0, "attach", "load", "ev1/hands", 0.74, 0.0))  # a glove reaches 0.75 m
    assert reached.remedy == "end the move before it with a line to ev1/hands"


def test_what_is_within_a_gloves_reach_to_the_last_is_not_too_far(judged):
    (found,) = judged(Event(3.0, "attach", "load", "ev1/hands", 0.75, 0.0))
    assert found.remedy == "end the move before it with a line to ev1/hands"
    (far,) = judged(Event(3.0, "attach", "load", "ev1/hands", 0.76, 0.0))
    assert (far.start_s, far.end_s) == (3.0, 3.0)
    (deep,) = judged(Event(3.0, "attach", "load", "ev1/left/palm", 0.76, 0.0))
    assert deep.message.startswith("load is given to ev1, ")


@pytest.mark.parametrize(("before", "after", "told"), [
    (("held", "ev1"), ("seat", ""), 0), (("seat", ""), ("held", "ev1"), 0),  # by somebody's hands: the ledger's
    (("seat", ""), ("seat", ""), 1), (("held", "arm"), ("seat", ""), 1), (("seat", ""), ("held", "arm"), 1),
])  # fmt: skip
def test_a_restraint_that_hands_put_is_the_ledgers(rider_scene, moving_record, before, after, told):
    pages = [
        Page({}, {}, {"restraint": ItemState(where, hands=frozenset({who} - {""}))}, {}, Asked())
        for where, who in (before, after)
    ]
    book = Ledger(pages[0], (Act("put", "seat", ("ev1",), "restraint", time_s=3.0),), (pages[1],), ())
    event = Event(3.0, "attach", "restraint", "platform/socket", 0.0, 0.0)
    record = moving_record(rider_scene({}), {}, events=(event,), kept=book)
    assert len(grasp.check(record)) == told
