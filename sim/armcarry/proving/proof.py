"""Every pair of bodies that moves against another, over the whole run: proven rows and curves."""

from __future__ import annotations

from collections.abc import Callable

from armcarry.proving.curves import joined, phase_curves
from armcarry.proving.rows import merged, phase_rows
from armcarry.record.record import Curve, PairRow
from armcarry.scene.build import Scene
from armcarry.timeline.run import Run

Tell = Callable[[str, float], None]


def prove_run(scene: Scene, run: Run, tell: Tell | None = None) -> tuple[tuple[PairRow, ...], tuple[Curve, ...]]:
    """Prove the clearance of every pair that moves against another over a run.

    Args:
        scene: rules and classes.
        run: phases and motion.
        tell: told what is being done and the share of the whole rehearsal.

    Returns:
        A row for each stretch of time in which one requirement holds for a pair, and a curve for each two classes
        that have a rule.
    """
    rows: list[PairRow] = []
    curves: dict[str, list[Curve]] = {}
    say = tell or (lambda words, share: None)
    for count, phase in enumerate(run.phases, start=1):
        say(f"proving clearances, {count} of {len(run.phases)}", 0.6 + 0.3 * count / len(run.phases))
        here = phase_rows(scene, run, phase)
        rows.extend(here)
        for curve in phase_curves(scene, run, phase, here):
            curves.setdefault(curve.group, []).append(curve)
    return merged(rows), tuple(joined(parts) for parts in curves.values())
