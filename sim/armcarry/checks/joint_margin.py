"""Do the joints keep their margin from the ends of their travel?"""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.record.figures import at_least, near
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record

_make = Maker("joint_margin")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a joint of the arm: its least margin over the whole run, exact, against the rule."""
    return judged(record, *record.motion.extremes())


def judged(record: Record, low: Array, high: Array) -> tuple[Finding, ...]:
    """Give the same of a run whose least and greatest joint positions (n,), (n,) are known."""
    scene = record.scene
    margins = scene.loaded.rules.margins
    findings = []
    for joint, column in zip(scene.arm_joints, scene.arm_columns, strict=True):
        lower, upper = scene.tree.joint_limits[column]
        to_lower, to_upper = low[column] - lower, upper - high[column]
        turns = scene.tree.revolute[column]
        limit = margins.joint_position if turns else margins.joint_travel
        margin = float(min(to_lower, to_upper))
        side, reached, travel = (
            ("lower", low[column], lower) if to_lower <= to_upper else ("upper", high[column], upper)
        )
        unit = "rad" if turns else "m"
        found = at_least(margin, limit, unit)
        findings.append(
            _make.judged(
                found,
                joint,
                f"{joint} comes to {near(float(reached), unit)}, {found.said} from its {side} end of travel "
                f"{near(float(travel), unit)}; {found.asked} is required",
                at=_when(record, int(column), float(reached)),
                remedy=f"start from another branch of the arm or pin {joint} nearer its middle",
            )
        )
    return tuple(sorted(findings, key=_left))


def _left(finding: Finding) -> float:
    """Return margin beyond the limit as the key of order: the tightest joint first."""
    return (finding.value or 0.0) - (finding.limit or 0.0)


def _when(record: Record, column: int, value: float) -> float:
    """Return a time at which the joint is nearest the value, to a fiftieth of a second or the break."""
    whole = record.motion
    alone = Motion((whole.joints[column],), whole.breaks_s, whole.coefficients[:, :, [column]])
    times = np.union1d(np.linspace(whole.start_s, whole.end_s, 20001), whole.breaks_s)
    return float(times[np.argmin(np.abs(alone.at(times)[:, 0] - value))])
