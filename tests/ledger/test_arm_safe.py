"""The arm's state: driven, holding, safe; people get on and off it and work at seats only while it is safe."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.asked.requirement import Asked as Required
from armcarry.checks import arm_safe
from armcarry.ledger.book import entered
from armcarry.ledger.state import Act, Asked, ItemRule, ItemState, Page, PersonState, SeatRule
from armcarry.whatif.faults import Window
from armcarry.whatif.runaway_joint import powered

SAFE = Asked(arm_safe=True, make_ready_s=12.0, make_safe_s=10.0)
PAGE = Page(
    {"restraint": ItemRule("foot", restraint=True), "box": ItemRule("box")},
    {"arm": SeatRule(("foot",)), "bay": SeatRule(("box",), bolts=4)},
    {"restraint": ItemState("seat", "arm"), "box": ItemState("seat", "bay", bolts_tight=4)},
    {"ev1": PersonState(restraint="restraint"), "ev2": PersonState("porch")},
    SAFE,
)


@pytest.mark.parametrize("mode", ["driven", "holding", "safe"])
@pytest.mark.parametrize(
    ("act", "near"),
    [
        (Act("on", "climb_in", ("ev2",), whose="restraint", yields=("ev1",)), True),
        (Act("off", "climb_out", ("ev1",), whose="restraint"), True),
        (Act("bolt", "bolt", ("ev1",), "box", make="loose", count=2), True),
        (Act("bolt", "bolt", ("ev2",), "box", make="loose", count=2), False),  # not on the arm
    ],
)
def test_nobody_is_at_an_arm_that_is_not_safe(mode, act, near):
    _, broken = entered(replace(PAGE, arm=mode), act)
    told = [v.message for v in broken if v.topic == "arm_safe"]
    who = act.actors[0]
    wanted = [f"{who} does {act.step} while the arm is {mode}, not made safe"] if near and mode != "safe" else []
    assert told == wanted
    unasked = replace(PAGE, arm=mode, asked=Asked())
    assert [v for v in entered(unasked, act)[1] if v.topic == "arm_safe"] == []


RIDE = """BEFORE_RACK_A
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: arm}}
carries: [{name: pull_out, moves: [{line: {frame: platform/rack_a_stand, by: [-0.9 m, 0 m, 0 m]}}]}]
"""


def test_the_arm_is_made_ready_before_a_move_and_safe_after_it(record_of):
    rest = "name: rest, actors: [ev1], note: look, takes: 5 min"
    record = record_of(RIDE, ["name: out, actors: [arm, ev1], carry: pull_out", rest])
    (flown,) = record.moves
    slot = record.plan.schedule.slot("out")
    assert flown.start_s - slot.start_s == pytest.approx(12.0)
    assert slot.end_s - flown.end_s == pytest.approx(10.0)
    modes = record.ledger.spans(lambda page: page.arm, record.duration_s)
    assert [mode for _, _, mode in modes] == ["holding", "driven", "holding", "safe"]
    np.testing.assert_allclose([a for a, _, _ in modes], [0.0, flown.start_s, flown.end_s, slot.end_s])
    assert [(str(f.verdict), f.subject) for f in arm_safe.check(record)] == [("pass", "arm")]

    # a runaway is asked about until the brakes are on and checked: what follows is only said
    window = Window(None, Required(0.0, record.duration_s, *[np.zeros(0)] * 6))
    asked = [(part.start_s, part.end_s) for part in powered(record, window)]
    ends = [flown.start_s, flown.end_s, slot.end_s - record.scene.loaded.rules.arm_safe.call]
    assert asked == list(zip((0.0, *ends[:2]), ends, strict=True)) and ends[2] - ends[1] == pytest.approx(7.0)


BOARDING = """BEFORE_RACK_A
restraint: {model: foot_restraint, at: arm, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: platform/rack_a_stand}}
carries:
  - name: fetch
    moves:
      - {line: {frame: platform/rack_a_stand, by: [0.2 m, 0 m, 0 m]}}
      - {hold: FIRST}
      - {attach: {what: ev1, to: restraint/plate}}
      - {hold: THEN}
      - {line: {frame: platform/rack_a_stand, by: [-0.4 m, 0 m, 0 m]}}
"""


@pytest.mark.parametrize(
    ("before", "after", "safe"), [("60 s", "60 s", True), ("60 s", "1 s", False), ("1 s", "60 s", False)]
)
def test_without_a_day_the_arm_is_safe_for_boarding_where_it_stands_long_enough(flown, before, after, safe):
    record = flown(BOARDING.replace("FIRST", before).replace("THEN", after))
    (told,) = arm_safe.check(record)
    if safe:
        assert str(told.verdict) == "pass"
        holds = [move for move in record.moves if move.kind == "hold"]
        spans = record.ledger.spans(lambda page: page.arm, record.duration_s)
        (when,) = [(start, end) for start, end, mode in spans if mode == "safe"]
        assert when == pytest.approx((holds[0].start_s + 10.0, holds[1].end_s - 12.0))
    else:
        assert (str(told.verdict), told.subject) == ("not_assessed", "ev1")
        assert told.message == "ev1 gets on the arm in fetch, and nobody says that it is safe then"
        assert told.remedy.startswith("state arm_safe in the rules, and let the arm hold")
