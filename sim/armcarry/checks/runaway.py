"""If any joint runs away at any instant, is it caught before anything comes too near?"""

from __future__ import annotations

from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from armcarry.clearance.many import Arcs
from armcarry.motion.braking import rate_that_keeps, time_to
from armcarry.motion.braking import runaway as runaway_of
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down, near
from armcarry.record.finding import ClearanceDetail, Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.faults import worst_excursion, worst_rates
from armcarry.whatif.runaway_joint import Runaways, Swept, fault_arc, loads_without_rate, runaways
from armcarry.whatif.witness import Witness, witness

#: bad stretches closer together than this are one, s
_JOIN_S = 2.0
#: a lower rate is told to a hundredth of a degree a second, so that less is none
_LEAST_RATE = np.radians(0.01)
_make = Maker("runaway")
#: moves in which the arm stands still, as it does while hands work
STILL = ("hold", "attach", "detach", "posture", "appendage")


def check(record: Record) -> tuple[Finding, ...]:
    """Fail each stretch of the run in which a joint that runs away brings two bodies too near.

    Each arm joint, either way, at any rate up to its worst, undetected for the arm's ``detection_time``, then
    braked as all others. Left must be the rules' ``stop_remainder``, or what is required at that instant where
    that is less. A stretch that fails is one not to dwell in.
    """
    silent = loads_without_rate(record)
    if silent:
        words = f"the arm does not say how fast a joint can run away with load '{silent[0]}'"
        return (_make.not_assessed("arm", words, "add runaway_rate to the arm's document"),)
    found = runaways(record)
    failures = [_failure(found, stretch) for stretch in bad_stretches(found)]
    return (*failures, *([] if failures else [_pass(found)]), _detection(found))


class Stretch(NamedTuple):
    """From when to when some runaway ends too near, its worst cell and every fault that does so."""

    start_s: float
    end_s: float
    part: Swept
    leaf: int
    faults: tuple[int, ...]


def bad_stretches(found: Runaways) -> tuple[Stretch, ...]:
    """Return the stretches of the run not to dwell in, in the order of time."""
    cells = sorted(
        (float(part.leaves.start_s[k]), float(part.leaves.end_s[k]), n, int(k))
        for n, part in enumerate(found.parts)
        for k in np.flatnonzero(part.leaves.lower_m < 0)
    )
    groups: list[list[tuple[float, float, int, int]]] = []
    reached = -np.inf
    for cell in cells:
        if not groups or cell[0] > reached + _JOIN_S:
            groups.append([])
        groups[-1].append(cell)
        reached = max(reached, cell[1])
    return tuple(_stretch(found, group) for group in groups)


def _stretch(found: Runaways, cells: list[tuple[float, float, int, int]]) -> Stretch:
    worst = min(cells, key=lambda cell: float(found.parts[cell[2]].leaves.lower_m[cell[3]]))
    faults = sorted({int(found.parts[n].leaves.fault[k]) for _, _, n, k in cells})
    part = found.parts[worst[2]]
    return Stretch(cells[0][0], max(cell[1] for cell in cells), part, worst[3], tuple(faults))


class _Looked(NamedTuple):
    """One cell looked at: names, nearest approach on the arc of its middle, proven and wanted distance."""

    names: tuple[str, str]
    seen: Witness
    lower_m: float
    left_m: float
    time_s: float
    arc: Arcs

    @property
    def detail(self) -> ClearanceDetail:
        """The same for the finding."""
        return self.seen.detail(self.lower_m, self.left_m, self.time_s)


def _look(found: Runaways, part: Swept, leaf: int) -> _Looked:
    side, leaves = part.window.side, part.leaves
    pair, time = int(leaves.pair[leaf]), float(leaves.start_s[leaf] + leaves.end_s[leaf]) / 2
    arc = fault_arc(found, part, leaf)
    lower = max(float(leaves.lower_m[leaf] + part.window.left_m[pair]), 0.0)
    return _Looked(
        side.names(pair), witness(side, pair, arc), lower, float(part.window.left_m[pair]), time, arc
    )


def _failure(found: Runaways, stretch: Stretch) -> Finding:
    part, leaf = stretch.part, stretch.leaf
    at = _look(found, part, leaf)
    a, b = at.names
    fault = int(part.leaves.fault[leaf])
    joint = found.faults[fault].joint
    close = np.array([part.near_at(at.time_s)])
    rate, brake = float(worst_rates(part.window.side, close)[0, joint]), float(part.window.side.brakes[joint])
    detection = found.record.scene.loaded.arm.document.detection_time
    left = at_least(at.lower_m, at.left_m, "m")
    how = f"within {left.said} of each other"
    if not np.isnan(at.seen.contact_at):
        how = f"to touch {time_to(at.seen.contact_at, rate, detection, brake):.1f} s after the fault"
    names = [found.name(k) for k in stretch.faults if k != fault]
    more = f"; so do {', '.join(names)}" if names else ""
    # proven of every cell of the stretch, of which the finding tells the worst: the verdict is the cells'
    return _make.failed(
        a,
        f"do not dwell between {clock(stretch.start_s)} and {clock(stretch.end_s)}: {found.name(fault)} "
        f"running away at {near(rate, 'rad/s')} around {clock(at.time_s)} brings {a} and {b} {how}, {left.asked} "
        f"must be left{more}",
        _remedy(found, stretch, rate, brake),
        other=b,
        at=(stretch.start_s, stretch.end_s),
        value=at.lower_m,
        limit=at.left_m,
        unit="m",
        clearance=at.detail,
    )


def _remedy(found: Runaways, stretch: Stretch, rate: float, brake: float) -> str:
    """Return how quickly faults would have to be detected, or how fast the worst drive may be, to be caught.

    Both are enough for the whole run, and so for the stretch.
    """
    worst = int(stretch.part.leaves.fault[stretch.leaf])
    safe = float(found.safe_detection_s[list(stretch.faults)].min())
    now = found.record.scene.loaded.arm.document.detection_time
    ways = []
    if safe >= 0.01:  # told to a hundredth of a second
        ways.append(f"detect a runaway within {down(safe, 'seconds')} (now {now:g} s)")
    excursion = float(runaway_of(rate, found.safe_detection_s[worst], brake).distance)
    slower = float(rate_that_keeps(max(excursion, 0.0), now, brake))
    if _LEAST_RATE <= slower < rate:
        name = found.record.scene.arm_joints[found.faults[worst].joint]
        ways.append(f"limit the drive of {name} to {down(slower, 'rad/s', 2)} there")
    return ", or ".join([*ways, *_by_script(found, stretch)])


def _by_script(found: Runaways, stretch: Stretch) -> list[str]:
    """Return what a script can change: at a seat the work itself keeps the arm there, elsewhere nothing does."""
    other = "come there from another base station, on another branch or with other settings of the restraint (armcarry "
    other += "stations; or leave base, start and settings out, and they are found)"
    record = found.record
    move = record.move_at((stretch.start_s + stretch.end_s) / 2)
    if move is None or move.kind not in STILL:
        return [f"stand farther off and pass the stretch without stopping, or {other}"]
    if record.plan is None:
        safe = "make the work a step of a day: with arm_safe in the rules the arm is safe then, and nothing runs away"
        return [safe, other]
    return [other]


def _pass(found: Runaways) -> Finding:
    arm = found.record.scene.loaded.arm.document
    words = f"any joint running away either way at any instant is caught {arm.detection_time:g} s later"
    tight = [(float(p.leaves.lower_m[k]), p, k) for p in found.parts for k in _tightest(p)]
    if not tight:
        most = ENOUGH_M + found.record.scene.loaded.rules.stop_remainder
        return _make.passed("arm", f"{words}; nothing comes nearer than {most:g} m")
    _, part, leaf = min(tight, key=lambda item: item[0])
    at = _look(found, part, leaf)
    a, b = at.names
    left = at_least(at.lower_m, at.left_m, "m")
    return _make.judged(
        left,
        a,
        f"{words}; tightest {a} to {b}, at least {left.said} left around {clock(at.time_s)} by "
        f"{found.name(int(part.leaves.fault[leaf]))}, {left.asked} must be",
        other=b,
        at=at.time_s,
        clearance=at.detail,
    )


def _tightest(part: Swept) -> Iterator[int]:
    known = np.flatnonzero((part.leaves.pair >= 0) & (part.leaves.lower_m < ENOUGH_M))
    if len(known):
        yield int(known[np.argmin(part.leaves.lower_m[known])])


def _detection(found: Runaways) -> Finding:
    """Tell the longest detection time that would still be safe at every instant."""
    fault = int(np.argmin(found.safe_detection_s))
    safe, when = float(found.safe_detection_s[fault]), float(found.ends_s[fault])
    limit = found.record.scene.loaded.arm.document.detection_time
    name, found_s = found.name(fault), at_least(safe, limit, "seconds")
    if np.isnan(when):
        words, when = f"detection within {safe:g} s, the longest looked at, would be quick enough everywhere", 0.0
    elif safe < 0:
        words = f"at {clock(when)} no detection of {name} is quick enough: braking alone takes too far"
    else:
        words = f"detection within {found_s.said} would be quick enough everywhere; {name} at {clock(when)} sets that"
    return _make.judged(
        found_s,
        found.record.scene.arm_joints[found.faults[fault].joint],
        f"{words}; the arm takes {found_s.asked}",
        at=when,
        remedy=f"see the stretches not to dwell in; {name} is the joint to catch sooner",
    )


__all__ = ["Stretch", "bad_stretches", "check", "worst_excursion"]
