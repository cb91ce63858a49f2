"""If a joint locks while somebody rides, can the others still bring the rider to something to hold on to?"""

from __future__ import annotations

import numpy as np

from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict, Way
from armcarry.record.record import Record
from armcarry.whatif.locked_joint import Escape, escapes, instants
from armcarry.whatif.stranding import strandings


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a joint and rider: the way that takes longest, or the instants at which none was found.

    Looked at are instants evenly spread over the run, as many as the rules' ``locked_joint`` says. The rider is
    saved with a handrail within a glove's reach of a shoulder, or within that reach of the safe point: the
    scenario's ``safe_point``, else where the run starts. What must be left on the way is what must be left after
    a late stop. That no way was found does not prove that there is none.
    """
    times = instants(record)
    if not len(times):
        return (
            Finding(
                "locked_joint", Verdict.NOT_ASSESSED, "arm", "the rules leave out what happens when a joint locks",
                remedy="give rules.locked_joint some instants",
            ),
        )  # fmt: skip
    groups: dict[tuple[str, int], list[Escape]] = {}
    for item in escapes(record):
        groups.setdefault((item.crew, item.joint), []).append(item)
    if not groups:
        words = f"nobody rides the arm at any of the {len(times)} instants looked at"
        return (Finding("locked_joint", Verdict.PASS, "arm", words),)
    findings = [_finding(record, items, float(times[0]) * 2) for items in groups.values()]
    return tuple(sorted(findings, key=lambda finding: finding.verdict is not Verdict.FAIL))


def _finding(record: Record, items: list[Escape], spacing_s: float) -> Finding:
    joint, crew = record.scene.arm_joints[items[0].joint], items[0].crew
    limit = record.scene.loaded.rules.safe_return
    lost = [item for item in items if item.kind == "none"]
    if lost:
        return _lost(record, joint, lost, items)
    longest = max(items, key=lambda item: item.lasting_s)
    passed = longest.lasting_s <= limit
    seen = f"looked at {len(items)} times, every {clock(spacing_s)}"
    return Finding(
        check="locked_joint",
        verdict=Verdict.PASS if passed else Verdict.FAIL,
        subject=joint,
        other=crew,
        message=f"if {joint} locks ({seen}), the other joints bring {crew} to {_where(longest)}; the longest way takes "
        f"{clock(longest.lasting_s)}, when it locks at {clock(longest.time_s)}, with {_left(items)}",
        start_s=longest.time_s,
        end_s=longest.time_s,
        value=longest.lasting_s,
        limit=limit,
        unit="s",
        remedy=""
        if passed
        else f"lead the carry nearer to a handrail around {clock(longest.time_s)}, or name a nearer safe_point",
        ways=_ways(items),
    )


def _ways(items: list[Escape]) -> tuple[Way, ...]:
    return tuple(
        Way(item.time_s, item.kind, item.where, item.lasting_s,
            () if item.kind == "none" else tuple(map(tuple, item.way.tolist())))
        for item in items
    )  # fmt: skip


def _left(items: list[Escape]) -> str:
    least = min(item.lower_m for item in items)
    return f"at least {least:.3f} m more left on every way than must be"


def _where(item: Escape) -> str:
    if item.kind == "here":
        return f"nowhere, {item.where} being in reach"
    return f"within reach of {item.where}" if item.kind == "handrail" else f"the safe point, {item.where}"


def _lost(record: Record, joint: str, lost: list[Escape], items: list[Escape]) -> Finding:
    times, crew = ", ".join(clock(item.time_s) for item in lost), lost[0].crew
    return Finding(
        check="locked_joint",
        verdict=Verdict.FAIL,
        subject=joint,
        other=crew,
        message=f"if {joint} locks at {times} ({len(lost)} of {len(items)} instants looked at), no way was found by "
        f"which the other joints bring {crew} within reach of a handrail or of the safe point",
        start_s=lost[0].time_s,
        end_s=lost[-1].time_s,
        value=float(len(lost)),
        limit=0.0,
        unit="instants",
        remedy=_nearer(record, lost[0]),
        ways=_ways(items),
    )


def _nearer(record: Record, item: Escape) -> str:
    """Say where a second worker would have to wait, and what else would help."""
    else_ = "or name a safe_point along the way"
    home = next((stranding for stranding in strandings(record) if stranding.crew == item.crew), None)
    if home is None or not len(home.time_s):
        return f"have a second worker with a tether near {item.crew} then, {else_}"
    k = int(np.argmin(np.abs(home.time_s - item.time_s)))
    return (
        f"have a second worker with a tether wait at {home.rail[k]}, {home.gap_m[k]:.1f} m from the gloves of "
        f"{item.crew} at {clock(item.time_s)}, lead the carry nearer to it, {else_}"
    )
