"""Is what is attached or left really at the link it is attached to?"""

from __future__ import annotations

from armcarry.quantities import show
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record

#: how exactly the two frames must meet: about a hand's width and a turn of the wrist; common practice, no source
NEAR_M = 0.05
NEAR_RAD = 0.1


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding an attach or detach: how far apart the two frames are when they are joined."""
    findings = []
    for event in record.events:
        if event.what in record.scene.loaded.crew:
            continue  # boots are stepped in, not brought to a frame
        passed = event.gap_m <= NEAR_M and event.gap_rad <= NEAR_RAD
        findings.append(
            Finding(
                check="grasp",
                verdict=Verdict.PASS if passed else Verdict.FAIL,
                subject=event.what,
                other=event.to,
                message=f"{event.what} is {'attached to' if event.kind == 'attach' else 'left at'} {event.to} with "
                f"{event.gap_m * 1e3:.0f} mm and {show(event.gap_rad, 'angle', 1)} between the frames that meet; "
                f"{NEAR_M * 1e3:.0f} mm and {show(NEAR_RAD, 'angle', 1)} are allowed",
                start_s=event.time_s,
                end_s=event.time_s,
                value=event.gap_m,
                limit=NEAR_M,
                unit="m",
                remedy="" if passed else f"end the move before it with a line to {event.to}",
            )
        )
    return tuple(findings)
