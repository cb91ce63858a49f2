"""Is the arm slow wherever it is near structure?"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

import numpy as np

from armcarry.record.figures import at_most, down, rate_share
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import MoveSpan, Phase, Record
from armcarry.scene.limits import joint_rates
from armcarry.whatif.near_structure import SHARP_S, NearStretches, near_stretches

_make = Maker("slowing")
#: names of what is left out that are told
_NAMES = 4


@dataclass
class _Worst:
    """The joint with the largest share of its reduced rate where something is near, and what was looked at."""

    share: float = 0.0
    near: tuple[float, float] = (0.0, 0.0)
    joint: str = ""
    move: MoveSpan | None = None
    near_s: float = 0.0
    looked: bool = False
    inside: dict[str, None] = field(default_factory=dict)
    beside: dict[str, None] = field(default_factory=dict)


def check(record: Record) -> tuple[Finding, ...]:
    """Compare, wherever something that the arm moves is near structure, each joint's rate with the reduced one.

    Near is proven at every instant, to SHARP_S where something comes near or leaves; in those slivers the rate is
    not held against the arm. Rates are exact. Parts of the arm about its first joint are left out, see
    ``timeline.near``, and named.
    """
    worst = _Worst()
    for phase, move, start, end in _moving(record):
        found = near_stretches(record, phase, start, end)
        _note(worst, phase, found)
        for near in found.near:
            _compare(record, move, near, worst)
    return (_finding(record, worst),)


def _moving(record: Record) -> Iterator[tuple[Phase, MoveSpan, float, float]]:
    """Yield every phase with the moves made in it: between moves the trolley may roll, or nothing happens."""
    for phase in record.phases:
        for move in record.moves:
            start, end = max(phase.start_s, move.start_s), min(phase.end_s, move.end_s)
            if end > start:
                yield phase, move, start, end


def _note(worst: _Worst, phase: Phase, found: NearStretches) -> None:
    names = [body.name for body in phase.tree.bodies]
    worst.looked |= len(found.judged.pairs) > 0
    worst.inside.update(dict.fromkeys(names[row] for row in found.judged.inside))
    worst.beside.update(dict.fromkeys(names[row] for row in found.judged.beside))


def _compare(record: Record, move: MoveSpan, near: tuple[float, float], worst: _Worst) -> None:
    arm = record.scene.loaded.arm.document
    load = arm.loads[move.load]
    low, high = record.motion.between(*near).extremes(1)
    shares = np.maximum(-low, high)[record.scene.arm_columns] / (joint_rates(arm, load) * load.near_structure)
    k = int(np.argmax(shares))
    worst.near_s += near[1] - near[0]
    if shares[k] > worst.share:
        worst.share, worst.near, worst.joint, worst.move = float(shares[k]), near, record.scene.arm_joints[k], move


def _finding(record: Record, worst: _Worst) -> Finding:
    within = record.scene.loaded.rules.slow_within
    found = at_most(worst.share, 1.0, "%")
    if worst.move is None:
        message = f"the arm does not move within {within:g} m of structure"
        if not worst.looked:
            message = "there is no structure that the arm could come near"
        return _make.judged(found, "arm", message + _left_out(worst, within))
    message = (
        f"within {within:g} m of structure for at least {down(worst.near_s, 's')} (told to {SHARP_S:g} s); the fastest "
        f"joint there is {worst.joint} with {found.said} of its reduced rate, in {worst.move.title}"
    )
    remedy = f"slow {worst.move.title} there to {rate_share(1 / worst.share)} of its rate"
    when = _fastest_s(record, worst)
    return _make.judged(found, worst.joint, message + _left_out(worst, within), at=when, remedy=remedy)


def _fastest_s(record: Record, worst: _Worst) -> float:
    """Return when the joint is fastest in the stretch, to a two-thousandth of it."""
    times = np.linspace(*worst.near, 2001)
    column = record.scene.tree.column(worst.joint)
    rates = [np.abs(record.motion.at(times, 1, side=side)[:, column]) for side in ("left", "right")]
    rates[0][0] = rates[1][-1] = 0.0  # beyond the stretch
    return float(times[np.argmax(np.maximum(*rates))])


def _left_out(worst: _Worst, within_m: float) -> str:
    """Say what is not judged and why."""
    parts = []
    if worst.inside:
        parts.append(_listed(worst.inside))
    if worst.beside:
        parts.append(f"{_listed(worst.beside)} against structure there")
    if not parts:
        return ""
    return (
        f"; left out, as the arm always stands near something: within {within_m:g} m of its first joint "
        f"{', and '.join(parts)}"
    )


def _listed(names: Iterable[str]) -> str:
    every = list(names)
    more = f" and {len(every) - _NAMES} more" if len(every) > _NAMES else ""
    return ", ".join(every[:_NAMES]) + more
