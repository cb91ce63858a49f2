"""If a joint locks while somebody rides, can the others still bring the rider to something to hold on to?"""

from __future__ import annotations

import numpy as np

from armcarry.quantities import clock
from armcarry.record.figures import at_most, down, up
from armcarry.record.finding import Finding, Verdict, Way
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.whatif.locked_joint import Escape, escapes, instants
from armcarry.whatif.stranding import strandings

_make = Maker("locked_joint")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a joint and rider: the way that takes longest, or the instants at which none was found.

    Looked at are instants evenly spread over the run, as many as the rules' ``locked_joint`` says. The rider is
    saved with a handrail within a glove's reach of a shoulder, or within that reach of the safe point: the
    scenario's ``safe_point``, else where the run starts. What must be left on the way is what must be left after
    a late stop. That no way was found does not prove that there is none.
    """
    times = instants(record)
    if not len(times):
        words = "the rules leave out what happens when a joint locks"
        return (_make.not_assessed("arm", words, "give rules.locked_joint some instants"),)
    groups: dict[tuple[str, int], list[Escape]] = {}
    for item in escapes(record):
        groups.setdefault((item.crew, item.joint), []).append(item)
    if not groups:
        words = f"nobody rides the arm at any of the {len(times)} instants looked at"
        return (_make.passed("arm", words),)
    findings = [_finding(record, items, float(times[0]) * 2) for items in groups.values()]
    return tuple(sorted(findings, key=lambda finding: finding.verdict is not Verdict.FAIL))


def _finding(record: Record, items: list[Escape], spacing_s: float) -> Finding:
    joint, crew = record.scene.arm_joints[items[0].joint], items[0].crew
    limit = record.scene.loaded.rules.safe_return
    lost = [item for item in items if item.kind == "none"]
    if lost:
        return _lost(record, joint, lost, items)
    longest = max(items, key=lambda item: item.lasting_s)
    found = at_most(longest.lasting_s, limit, "s")
    seen = f"looked at {len(items)} times, every {clock(spacing_s)}"
    return _make.judged(
        found,
        joint,
        f"if {joint} locks ({seen}), the other joints bring {crew} to {_where(longest)}; the longest way takes "
        f"{found.said}, when it locks at {clock(longest.time_s)}, with {_left(items)}; {found.asked} is allowed",
        other=crew,
        at=longest.time_s,
        remedy=f"lead the carry nearer to a handrail around {clock(longest.time_s)}, or name a nearer safe_point",
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
    return f"at least {down(least, 'm')} more left on every way than must be"


def _where(item: Escape) -> str:
    if item.kind == "here":
        return f"nowhere, {item.where} being in reach"
    return f"within reach of {item.where}" if item.kind == "handrail" else f"the safe point, {item.where}"


def _lost(record: Record, joint: str, lost: list[Escape], items: list[Escape]) -> Finding:
    times, crew = ", ".join(clock(item.time_s) for item in lost), lost[0].crew
    return _make.failed(
        joint,
        f"if {joint} locks at {times} ({len(lost)} of {len(items)} instants looked at), no way was found by which the "
        f"other joints bring {crew} within reach of a handrail or of the safe point",
        _nearer(record, lost[0]),
        other=crew,
        at=(lost[0].time_s, lost[-1].time_s),
        value=float(len(lost)),
        limit=0.0,
        unit="instants",
        ways=_ways(items),
    )


def _nearer(record: Record, item: Escape) -> str:
    """Say where a second worker would have to wait, and what else would help."""
    else_ = "name a worksite on the way as safe_point, or take the place from another base station or on another branch"
    else_ += " (armcarry stations, armcarry route)"
    home = next((stranding for stranding in strandings(record) if stranding.crew == item.crew), None)
    if home is None or not len(home.time_s):
        return f"{else_}; outside the script, a second worker with a tether near {item.crew} then"
    k = int(np.argmin(np.abs(home.time_s - item.time_s)))
    return (
        f"lead the carry nearer to {home.rail[k]}, {up(home.gap_m[k], 'm', 1)} from the gloves of {item.crew} at "
        f"{clock(item.time_s)}, {else_}; outside the script, a second worker with a tether waits there"
    )
