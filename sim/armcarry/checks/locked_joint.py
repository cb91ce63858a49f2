"""If a joint locks while somebody rides, can the others still bring the rider to something to hold on to?"""

from __future__ import annotations

from armcarry.quantities import clock
from armcarry.record.escape import Escape, escapes, instants
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record


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
        return _lost(joint, crew, lost, len(items))
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
    )


def _left(items: list[Escape]) -> str:
    least = min(item.lower_m for item in items)
    return f"at least {least:.3f} m more left on every way than must be"


def _where(item: Escape) -> str:
    if item.kind == "here":
        return f"nowhere, {item.where} being in reach"
    return f"within reach of {item.where}" if item.kind == "handrail" else f"the safe point, {item.where}"


def _lost(joint: str, crew: str, lost: list[Escape], count: int) -> Finding:
    times = ", ".join(clock(item.time_s) for item in lost)
    return Finding(
        check="locked_joint",
        verdict=Verdict.FAIL,
        subject=joint,
        other=crew,
        message=f"if {joint} locks at {times} ({len(lost)} of {count} instants looked at), no way was found by which "
        f"the other joints bring {crew} within reach of a handrail or of the safe point",
        start_s=lost[0].time_s,
        end_s=lost[-1].time_s,
        value=float(len(lost)),
        limit=0.0,
        unit="instants",
        remedy=f"have a second worker with a tether near {crew} then, lead the carry nearer to a handrail, or name a "
        "safe_point along the way",
    )
