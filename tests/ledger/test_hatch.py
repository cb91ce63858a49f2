"""The hatch: open for who passes, one body at a time, what fits, and what must be back in when it closes."""

from __future__ import annotations

from dataclasses import replace

import pytest

from armcarry.checks import custody, schedule
from armcarry.ledger.book import keep

OUT = """
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
hardware:
  bag: {model: thermal_blanket, at: inside}
  part: {model: thermal_blanket, at: inside}
"""
OPEN = "name: open, actors: [ev1], hatch: {make: open}, takes: 5 min"
TAKE = "name: take, actors: [ev1], take: {what: bag}, takes: 1 min"
HOOK = "name: hook, actors: [ev1], tether: {what: bag}, takes: 1 min"
GO_1 = "name: go_1, actors: [ev1], translate: {to: platform/porch_rail_to}, takes: 4 min"
GO_2 = "name: go_2, actors: [ev2], translate: {to: platform/airlock_1_to}, takes: 4 min, after: [AFTER]"
BACK_1 = "name: back_1, actors: [ev1], translate: {to: airlock}, takes: 4 min"
BACK_2 = "name: back_2, actors: [ev2], translate: {to: airlock}, takes: 4 min, after: [back_1]"
CLOSE = "name: close, actors: [ev2], hatch: {make: closed}, takes: 5 min, after: [back_1, back_2]"
IN_ORDER = [OPEN, TAKE, HOOK, GO_1, GO_2.replace("AFTER", "go_1"), BACK_1, BACK_2, CLOSE]


def test_out_and_back_in_order(record_of, failures):
    record = record_of(OUT, IN_ORDER)
    assert failures(record) == []
    pages = {act.kind + " " + act.step: page for act, page in zip(record.ledger.acts, record.ledger.after, strict=True)}
    assert record.ledger.start.hatch == "closed"
    assert dict(pages["go_out go_1"].passing) == {"ev1": "go_1"}
    assert dict(pages["out go_1"].passing) == {}
    assert pages["come back_2"].gone_out == {"ev1", "ev2", "bag"}
    slot = record.plan.schedule.slot
    times = {act.kind + " " + act.step: act.time_s for act in record.ledger.acts}
    assert times["out go_1"] == pytest.approx(slot("go_1").start_s + 60.0)
    assert times["go_in back_2"] == pytest.approx(slot("back_2").end_s - 60.0)
    (told,) = [f for f in custody.check(record) if f.subject == "hatch"]
    assert told.message == "the hatch is closed in close; of what went out: bag inside"
    # inside it is no body that anything keeps away from; outside it is
    names = [body.name for body in record.bodies]
    phases = record.phases[0], record.phase_at(slot("go_1").end_s - 1.0), record.phases[-1]
    classes = [dict(zip(names, record.scene.body_classes(phase.tree), strict=True)) for phase in phases]
    assert [row["bag/blanket_roll"] for row in classes] == ["inside", "hardware", "inside"]


@pytest.mark.parametrize(
    ("steps", "told"),
    [
        (IN_ORDER[1:], [("schedule", "ev1", "ev1 passes the hatch in go_1 while it is closed; the same in back_1"),
                        ("schedule", "ev2", "ev2 passes the hatch in go_2 while it is closed; the same in back_2")]),
        ([CLOSE.replace("close,", "shut,").replace("after: [back_1, back_2]", ""),
          GO_1 + ", after: [shut]"],
         [("schedule", "ev1", "ev1 passes the hatch in go_1 while it is closed"),
          ("schedule", "ev1", "ev1 went out and is still outside at the end")]),
        ([*IN_ORDER[:4], GO_2.replace("AFTER", "hook"), BACK_1, BACK_2, CLOSE],
         [("schedule", "ev2", "ev2 passes the hatch in go_2 while ev1 is still in it (go_1)")]),
        ([*IN_ORDER[:6], CLOSE.replace(", back_2", "").replace("ev2", "ev1")],
         [("schedule", "ev2", "the hatch is closed in close while ev2 is outside")]),
    ],
)  # fmt: skip
def test_what_is_not_in_order(record_of, steps, told):
    opening = [] if steps[0] == OPEN else [("closed", "open")]
    record = record_of(OUT, steps)
    if opening:  # the first step that names the hatch closes it, so it starts open: let it start closed
        start = replace(record.ledger.start, hatch="closed")
        record = replace(record, kept=keep(start, record.ledger.acts))
    found = [(f.check, f.subject, f.message) for f in schedule.check(record) if str(f.verdict) == "fail"]
    assert found == told


def test_what_went_out_has_a_place_when_the_hatch_closes(record_of, failures):
    left = "name: leave, actors: [ev1], tether: {what: bag, to: PLACE}, takes: 1 min"
    off = "name: off, actors: [ev1], untether: {what: bag}, takes: 1 min"
    drop = "name: drop, actors: [ev1], let_go: {what: bag}, takes: 1 min"
    steps = [*IN_ORDER[:4], left.replace("PLACE", "porch_rail"), off, drop, *IN_ORDER[4:]]
    record = record_of(OUT, steps)
    assert failures(record) == []
    assert [f.message for f in custody.check(record) if f.subject == "hatch"] == [
        "the hatch is closed in close; of what went out: bag tethered to porch_rail"
    ]
    lost = failures(record_of(OUT, [*IN_ORDER[:4], off, drop, *IN_ORDER[4:]]))
    # that it has no place when the hatch closes follows from it
    words = "drop: bag is let go of while nothing else holds it; so is not right either: close"
    assert [one for one in lost if one[1] == "bag"] == [("custody", "bag", words)]


def test_nothing_too_wide_goes_through(record_of, failures):
    record = record_of(OUT, IN_ORDER)
    start = record.ledger.start
    narrow = replace(start, asked=replace(start.asked, widest_m=0.2))
    from armcarry.ledger.presence import OnTheClock

    book = keep(narrow, record.ledger.acts, OnTheClock(record.scene, record.phases, record.motion))
    told = [v.message for v in book.violations if v.missing == "fits_through"]
    assert [words.split(" in the hatch")[1] for words in told] == [", 0.2 m fits through"] * 2


def test_what_nobody_said_of_the_hatch_is_not_assessed_once(record_of):
    record = record_of(OUT, [step for step in IN_ORDER if step not in (OPEN, CLOSE)])
    start = record.ledger.start
    unsaid = keep(replace(start, asked=replace(start.asked, hatch_known=False)), record.ledger.acts)
    found = schedule.check(replace(record, kept=unsaid))
    asked = [(f.subject, f.remedy.split(":")[0]) for f in found if str(f.verdict) == "not_assessed"]
    assert asked == [
        ("ev1", "add steps of the worker at the hatch, hatch"), ("ev1", "state hatch in the rules"),
    ]
