"""Does the arm keep away from places where it loses a direction of motion?"""

from __future__ import annotations

import numpy as np

from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.record.figures import at_least
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.tree import WORLD

#: instants looked at in one move, then again around the least of them
SAMPLES = 200
_make = Maker("singularity")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding: the smallest singular value of the tip's Jacobian over the moves of the arm.

    Linear rows are divided by the arm's characteristic length, so the value has no unit. Looked at in
    200 instants a move and 200 more around the least, not proven between them; the message says so.
    """
    best: tuple[float, float, MoveSpan] | None = None
    for move in record.moves:
        if move.end_s > move.start_s:
            value, when = _least(record, move)
            if best is None or value < best[0]:
                best = (value, when, move)
    if best is None:
        words = "the arm does not move in this run"
        return (_make.not_assessed("arm", words, "rehearse a script in which the arm moves"),)
    value, when, move = best
    found = at_least(value, record.scene.loaded.rules.margins.smallest_singular_value, "")
    length = record.scene.loaded.arm.document.characteristic_length
    return (
        _make.judged(
            found,
            "arm",
            f"the smallest singular value is {found.said} in {move.title} (characteristic length {length:g} m, "
            f"sampled); {found.asked} is required",
            at=when,
            remedy="start from another branch of the arm, or pin a joint so that it stretches less",
        ),
    )


def _least(record: Record, move: MoveSpan) -> tuple[float, float]:
    scene = record.scene
    tree = record.phase_at((move.start_s + move.end_s) / 2).tree
    chain = Chain.of(
        tree, WORLD, scene.tool(tree), joints=scene.arm_joints, held=record.motion.at(move.start_s)
    )
    length = scene.loaded.arm.document.characteristic_length
    low, high = move.start_s, move.end_s
    value, when = np.inf, low
    for _ in range(2):
        times = np.linspace(low, high, SAMPLES + 1)
        q = record.motion.at(times)[:, scene.arm_columns]
        values = smallest_singular_value(chain, q, length_m=length)
        k = int(np.argmin(values))
        value, when = float(values[k]), float(times[k])
        low, high = float(times[max(k - 1, 0)]), float(times[min(k + 1, SAMPLES)])
    return value, when
