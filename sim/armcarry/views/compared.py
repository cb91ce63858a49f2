"""A comparison of two runs as tables of text."""

from __future__ import annotations

import math

from armcarry.comparing.nearer import PairDifference
from armcarry.comparing.runs import Comparison, JointDifference
from armcarry.quantities import clock, rounded_down

#: rows shown of a table unless all are asked for
SHOWN = 12
_Row = tuple[str, ...]
_Table = tuple[str, _Row, list[_Row]]


def compared(result: Comparison, every: bool = False) -> list[_Table]:
    """Return title, headings and rows of each table; a table without rows says so in its title.

    Args:
        every: all rows; else the first of each table, and how many more there are.
    """
    tables = [_steps(result), _pairs(result), _verdicts(result), _groups(result), _joints(result), _tip(result)]
    return [(title, headings, _first(rows, len(headings), every)) for title, headings, rows in tables]


def _first(rows: list[_Row], columns: int, every: bool) -> list[_Row]:
    if every or len(rows) <= SHOWN:
        return rows
    more = f"and {len(rows) - SHOWN} more; --all shows every row"
    return [*rows[:SHOWN], (more, *[""] * (columns - 1))]


def _steps(result: Comparison) -> _Table:
    title = f"Steps that differ: {len(result.steps)} beside {result.common_steps} in common"
    if not result.common_steps:
        title = "The two have no step in common: they are laid side by side by the clock alone"
    rows: list[_Row] = [
        (step.title, ", ".join(step.changes), "; ".join(step.words), _span(step.first_s), _span(step.second_s))
        for step in result.steps
    ]
    return title, ("Step", "Change", "What", "First", "Second"), rows


def _span(span: tuple[float, float] | None) -> str:
    return "" if span is None else f"{clock(span[0], 0)} to {clock(span[1], 0)}"


def _joints(result: Comparison) -> _Table:
    shift = f", the second shifted by {result.shift_s:+.3f} s" if result.shift_s else ""
    shift = ", step beside step" if result.align == "steps" else shift
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
    alone = sum(bool(pair.only_in) for pair in result.pairs)
    title = (f"Least clearance differs for {len(result.pairs)} pairs, {failing} of them newly lack clearance, "
             f"{alone} are measured in one run alone")
    rows: list[_Row] = [
        (
            f"{pair.body_a} to {pair.body_b}", _band(pair.first_lower_m, pair.first_upper_m),
            _band(pair.second_lower_m, pair.second_upper_m),
            clock(pair.first_time_s if pair.only_in == "first" else pair.second_time_s), _required(pair),
            "TOO NEAR" if pair.newly_fails else f"only in the {pair.only_in}" if pair.only_in else "",
        )
        for pair in result.pairs
    ]  # fmt: skip
    return title, ("Pair", "First", "Second", "At", "To spare", ""), rows


def _required(pair: PairDifference) -> str:
    margin = pair.first_margin_m if pair.only_in == "first" else pair.second_margin_m
    return f"{rounded_down(margin):.3f} m" if math.isfinite(margin) else ""


def _band(lower_m: float, upper_m: float) -> str:
    if math.isinf(lower_m):
        return "not measured" if lower_m > 0 else "contact"
    return f"beyond {lower_m:.3f} m" if math.isinf(upper_m) else f"{lower_m:.3f} m"


def _groups(result: Comparison) -> _Table:
    title = f"Certainly nearer in the second at some time: {len(result.groups)} groups"
    rows: list[_Row] = [
        (item.group, f"{item.nearer_m * 1e3:.0f} mm", clock(item.time_s), clock(item.lasting_s))
        for item in result.groups
    ]
    return title, ("Group", "By at least", "At", "In all"), rows


def _verdicts(result: Comparison) -> _Table:
    title = f"Verdicts that differ: {len(result.verdicts)}"
    rows: list[_Row] = [
        (check, f"{subject} {other}".strip(), before, after)
        for check, subject, other, before, after in result.verdicts
    ]
    return title, ("Check", "Subject", "First", "Second"), rows
