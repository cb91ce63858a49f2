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

    # a runaway is asked about in what is left: the arm stands still and safe for the rest
    window = Window(None, Required(0.0, record.duration_s, *[np.zeros(0)] * 6))
    asked = [(part.start_s, part.end_s) for part in powered(record, window)]
    assert asked == [(a, b) for a, b, mode in modes if mode != "safe"]
