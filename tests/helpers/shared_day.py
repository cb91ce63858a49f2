"""The day at Tern Yard with its hand work shared out freely: at any place in the order, by either worker."""

from __future__ import annotations

from pathlib import Path

from armcarry.files.yaml_write import yaml_document
from armcarry.planning.left_open import settle
from armcarry.scene.build import build_scene
from armcarry.scheduling.state import found_by

DAY = Path(__file__).parents[2] / "scenarios" / "day_at_tern_yard.yaml"
HAND_WORK = ("bolt", "connect", "lock", "note", "inspect", "fold_cover")


def shared_out(target):
    """Write the day in the long form, its hand work at any place in the order and by either worker; return which."""
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
