"""Every pair of bodies over the whole run, in motion and at rest: proven rows and curves."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from armcarry.proving.curves import joined, phase_curves
from armcarry.proving.rows import Table
from armcarry.proving.windows import prove_windows
from armcarry.record.pairs import PairTable
from armcarry.record.record import Curve
from armcarry.scene.build import Scene
from armcarry.timeline.run import Run

Tell = Callable[[str, float], None]


def prove_run(
    scene: Scene, run: Run, tell: Tell | None = None, *, drawn: bool = True
) -> tuple[PairTable, tuple[Curve, ...]]:
    """Prove the clearance of every pair over a run.

    Args:
        scene: rules and classes.
        run: phases and motion.
        tell: told what is being done and the share of the whole rehearsal.
        drawn: with curves.

    Returns:
        A row for each stretch of time in which one requirement holds for a pair, and a curve for each two classes
        that have a rule.
    """
    table = Table(scene, run.phases[0].tree)
    curves: dict[str, list[Curve]] = {}
    say = tell or (lambda words, share: None)
    for count, phase in enumerate(run.phases, start=1):
        say(f"proving clearances, {count} of {len(run.phases)}", 0.6 + 0.3 * count / len(run.phases))
        windows = prove_windows(scene, run, phase)
        if windows:
            table.expect(np.concatenate([window.asked.pairs for window in windows]))
        for window in windows:
            table.add(phase.tree, window)
        for curve in phase_curves(scene, run, phase, windows) if drawn else ():
            curves.setdefault(curve.group, []).append(curve)
    return table.rows(), tuple(joined(parts) for parts in curves.values())
