"""A comparison of two runs as tables of text."""

from __future__ import annotations

import math

from armcarry.comparing.runs import Comparison, JointDifference
from armcarry.quantities import clock

#: rows shown of a table; all stand in --json
SHOWN = 12
_Row = tuple[str, ...]
_Table = tuple[str, _Row, list[_Row]]


def compared(result: Comparison) -> list[_Table]:
    """Return title, headings and rows of each table; tables without rows say so in their title."""
    return [_joints(result), _tip(result), _pairs(result), _groups(result), _verdicts(result)]


def _joints(result: Comparison) -> _Table:
    shift = f", the second shifted by {result.shift_s:+.3f} s" if result.shift_s else ""
    title = f"Joints from {clock(result.start_s)} to {clock(result.end_s)}{shift}"
    headings = ("Joint", "Apart by", "At", "RMS", "Left to stops", "Of rate", "")
    return title, headings, [_joint(joint) for joint in result.joints]


def _joint(joint: JointDifference) -> tuple[str, ...]:
    passed = [word for word, flag in (("STOP PASSED", joint.stop_passed), ("TOO FAST", joint.rate_passed)) if flag]
    return (
        joint.joint.split("/", 1)[1], _amount(joint, joint.deviation), clock(joint.time_s), _amount(joint, joint.rms),
        f"{_amount(joint, joint.margin_first)} -> {_amount(joint, joint.margin_second)}",
        f"{joint.rate_share_first:.0%} -> {joint.rate_share_second:.0%}", ", ".join(passed),
    )  # fmt: skip


def _amount(joint: JointDifference, value: float) -> str:
    if not math.isfinite(value):
        return "none"
    return f"{math.degrees(value):.3f} deg" if joint.turns else f"{value:.4f} m"


def _tip(result: Comparison) -> _Table:
    tip = result.tip
    title = f"Tip of the arm, looked at every {tip.step_s:.2g} s"
    rows: list[_Row] = [
        ("distance", f"{tip.distance_m * 1e3:.1f} mm", clock(tip.distance_time_s), f"{tip.rms_m * 1e3:.1f} mm"),
        ("angle", f"{math.degrees(tip.angle_rad):.3f} deg", clock(tip.angle_time_s), ""),
    ]
    return title, ("What", "Apart by", "At", "RMS"), rows


def _pairs(result: Comparison) -> _Table:
    failing = sum(pair.newly_fails for pair in result.pairs)
    title = f"Least clearance differs for {len(result.pairs)} pairs, {failing} of them newly lack clearance"
    rows: list[_Row] = [
        (
            f"{pair.body_a} to {pair.body_b}", _band(pair.first_lower_m, pair.first_upper_m),
            _band(pair.second_lower_m, pair.second_upper_m), clock(pair.second_time_s),
            "TOO NEAR" if pair.newly_fails else "",
        )
        for pair in result.pairs[:SHOWN]
    ]  # fmt: skip
    return title, ("Pair", "First", "Second", "At", ""), rows


def _band(lower_m: float, upper_m: float) -> str:
    if math.isinf(lower_m):
        return "not measured" if lower_m > 0 else "contact"
    return f"beyond {lower_m:.3f} m" if math.isinf(upper_m) else f"{lower_m:.3f} m"


def _groups(result: Comparison) -> _Table:
    title = f"Certainly nearer in the second at some time: {len(result.groups)} groups"
    rows: list[_Row] = [
        (item.group, f"{item.nearer_m * 1e3:.0f} mm", clock(item.time_s), clock(item.lasting_s))
        for item in result.groups[:SHOWN]
    ]
    return title, ("Group", "By at least", "At", "In all"), rows


def _verdicts(result: Comparison) -> _Table:
    title = f"Verdicts that differ: {len(result.verdicts)}"
    rows: list[_Row] = [
        (check, f"{subject} {other}".strip(), before, after)
        for check, subject, other, before, after in result.verdicts[:SHOWN]
    ]
    return title, ("Check", "Subject", "First", "Second"), rows
