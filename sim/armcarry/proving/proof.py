"""Every pair of bodies over the whole run, in motion and at rest: proven rows and curves."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from armcarry.proving.curves import joined, phase_curves
from armcarry.proving.rows import Table
from armcarry.proving.windows import Window, prove_windows
from armcarry.record.beside import side_by_side
from armcarry.record.pairs import PairTable
from armcarry.record.record import Curve
from armcarry.scene.build import Scene
from armcarry.timeline.run import Run

Tell = Callable[[str, float], None]


def prove_run(
    scene: Scene, run: Run, tell: Tell | None = None, *, drawn: bool = True, processes: int = 1
) -> tuple[PairTable, tuple[Curve, ...]]:
    """Prove the clearance of every pair over a run.

    Args:
        scene: rules and classes.
        run: phases and motion.
        tell: told what is being done and the share of the whole rehearsal.
        drawn: with curves.
        processes: how many prove phases side by side.

    Returns:
        A row for each stretch of time in which one requirement holds for a pair, and a curve for each two classes
        that have a rule.
    """
    say, count = tell or (lambda words, share: None), len(run.phases)

    def proven(k: int) -> tuple[list[Window], list[Curve]]:
        say(f"proving clearances, {k + 1} of {count}", 0.6 + 0.3 * (k + 1) / count)
        windows = prove_windows(scene, run, run.phases[k])
        return windows, phase_curves(scene, run, run.phases[k], windows) if drawn else []

    jobs = [partial(proven, k) for k in range(count)]
    parts = side_by_side(jobs, processes) if processes > 1 else (job() for job in jobs)  # one by one, none is held
    table = Table(scene, run.phases[0].tree)
    curves: dict[str, list[Curve]] = {}
    for phase, (windows, some) in zip(run.phases, parts, strict=True):
        if windows:
            table.expect(np.concatenate([window.asked.pairs for window in windows]))
        for window in windows:
            table.add(phase.tree, window)
        for curve in some:
            curves.setdefault(curve.group, []).append(curve)
    return table.rows(), tuple(joined(some) for some in curves.values())
