"""The hand work of the day at Tern Yard shared out freely: what is best by the clock does not hold."""

from __future__ import annotations

from pathlib import Path

import pytest

from armcarry.files.yaml_write import yaml_document
from armcarry.planning.left_open import settle
from armcarry.scene.build import build_scene
from armcarry.scheduling.best import best_day
from armcarry.scheduling.proven import best_proven
from armcarry.scheduling.state import found_by

DAY = Path(__file__).parents[2] / "scenarios" / "day_at_tern_yard.yaml"
HAND_WORK = ("bolt", "connect", "lock", "note", "inspect", "fold_cover")


def shared_out(target):
    """Write the day in the long form, its hand work at any place in the order and by either worker."""
    scene = build_scene(settle(DAY, keep=False))
    data, steps = scene.loaded.source.yaml.data, scene.loaded.scenario.day.steps
    fallbacks = {step.fallback for step in steps}
    free = [
        step.name for step, found in zip(steps, found_by(scene, steps), strict=True)
        if step.kind in HAND_WORK and len(step.actors) == 1 and step.name not in fallbacks
        and (step.at is not None or not any(place.rides for place in found.needs.values()))
    ]  # fmt: skip
    vary = [{"steps": [name], "may_move": True, "either": ["ev1", "ev2"]} for name in free]
    named = [{"name": step.name, **old} for step, old in zip(steps, data["day"]["steps"], strict=True)]
    day = {**data["day"], "may_vary": vary, "steps": named}
    target.write_text(yaml_document({**data, "day": day}), encoding="utf-8")
    return free


@pytest.mark.long
def test_shared_out_by_the_clock_alone_is_shorter_but_only_the_day_as_written_passes_every_check(tmp_path):
    path = tmp_path / "day.yaml"
    assert len(shared_out(path)) >= 15
    by_the_clock = best_day(path)
    before_s = by_the_clock.before.schedule.end_s
    assert by_the_clock.agrees and by_the_clock.after.ledger.violations == by_the_clock.before.ledger.violations
    assert by_the_clock.after.schedule.end_s < before_s - 600.0
    found = best_proven(path)
    assert found.against == () and found.refused >= 1 and found.best.solved.optimal
    assert found.best.bound_s == pytest.approx(found.best.after.schedule.end_s, abs=0.5)
    assert found.best.after.schedule.end_s == pytest.approx(before_s, abs=0.5)
