"""Where the arm stands still while somebody goes past it along handrails, so that the body is turned clear of it."""

from __future__ import annotations

from typing import Any

import numpy as np

from armcarry.planning.clock import WORTH_M, Clock
from armcarry.quantities import write
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.timeline.plan import DayPlan


def goes_past(clock: Clock, plan: DayPlan, *, waits: bool = False) -> list[dict[str, Any]]:
    """Return the steps in which somebody comes too near the arm that stands still, as written, with where it stands.

    Args:
        clock: of the day.
        plan: of it, with who waits for whom.
        waits: the arm that moves meanwhile is to wait, so it is taken to stand where it is as they set off.
    """
    found, done = list[dict[str, Any]](), plan.schedule.tasks_done()
    for step in plan.day.steps:
        if step.translate is None or step.name not in done:
            continue
        met = clock.met(plan, step)
        if met.lacking_m > WORTH_M and met.whom == ARM:
            position, still = clock.stands(plan, step)
            if still or waits:
                found.append({"step": step.name, **_written(clock.scene, position)})
    return found


def _written(scene: Scene, position: np.ndarray) -> dict[str, Any]:
    """Return where the arm stands in a joint vector (n,), as it is written."""
    turns = {joint.name for joint in scene.loaded.arm.model.joints if joint.kind == "revolute"}
    values = {name: float(position[scene.tree.column(f"{ARM}/{name}")]) for name in scene.loaded.arm.document.joints}
    said: dict[str, Any] = {"joints": {name: f"{np.degrees(value):.4f} deg" if name in turns else f"{value:.4f} m"
                                       for name, value in values.items()}}  # fmt: skip
    rail = scene.loaded.platform.document.mounts[scene.loaded.scenario.base.mount].joint
    if rail is not None:
        said["station"] = write(round(float(position[scene.tree.column(f"{PLATFORM}/{rail}")]), 4), "length")
    return said
