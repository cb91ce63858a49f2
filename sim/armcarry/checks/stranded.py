"""If the arm stops for good, can its rider get home in time along the handrails? And everybody, from anywhere?"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.figures import at_most, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.whatif.all_inside import all_inside, worst_of
from armcarry.whatif.by_arm import home_s, within_reach_s
from armcarry.whatif.stranding import Stranding, strandings, tethers_on, ways_back

#: gaps below this are none, m
_NOTHING_M = 1e-6
#: a ride that saves less is none, s
_SAVED_S = 1.0
_make = Maker("stranded")


@dataclass(frozen=True, eq=False)
class StrandedCurve:
    """What a plot of one rider shows: time of the run, time to the hatch and gap to the nearest handrail, (T,)."""

    crew: str
    time_s: Array
    return_time_s: Array
    gap_m: Array


def stranded_curve(record: Record) -> tuple[StrandedCurve, ...]:
    """Return the curves of every rider; none without a hatch or handrails."""
    return tuple(
        StrandedCurve(item.crew, item.time_s, item.return_time_s, item.gap_m) for item in strandings(record)
    )


@dataclass(frozen=True, eq=False)
class HomeCurve:
    """What a plot of somebody's way home, or of everybody's, shows: instants and time until inside, (T,).

    Attributes:
        who: as the finding's subject.
        words: whose time it is.
        limit_s: longest allowed; None where the rules do not say.
    """

    who: str
    words: str
    time_s: Array
    home_s: Array
    limit_s: float | None


def home_curves(record: Record) -> tuple[HomeCurve, ...]:
    """Return the curves of those outside who never ride, then that of all together where two are ever outside."""
    rules = record.scene.loaded.rules
    back = ways_back(record) if rules.way_home is not None else ()
    riders = {item.crew for item in strandings(record)}
    found = [
        HomeCurve(item.crew, f"{item.crew}: time until inside", item.time_s, item.return_time_s, rules.safe_return)
        for item in back if item.crew not in riders and len(item.time_s)
    ]  # fmt: skip
    if len(back) > 1 and rules.way_home is not None:
        everybody = all_inside(record)
        words = "until all are inside, hatch closed"
        found.append(HomeCurve("crew", words, everybody.time_s, everybody.inside_s, rules.way_home.all_inside))
    return tuple(found)


def check(record: Record) -> tuple[Finding, ...]:
    """Give two findings a rider: time to the hatch, and gaps that gloves cannot bridge, one everybody else.

    The first two hold at every instant aboard: between the instants looked at, how far the shoulders can have moved is
    added. The gap is judged against ``tether_reach`` of the rules; without it a gap is not assessed. Where two are ever
    outside, one more finding says how long it takes until all are inside.
    """
    riders = [
        crew for crew in record.scene.loaded.crew
        if any(crew in record.scene.aboard(phase.tree) and phase.end_s > phase.start_s for phase in record.phases)
    ]
    found = {item.crew: item for item in strandings(record)}
    findings: list[Finding] = []
    for crew in riders:
        if crew not in found or not len(found[crew].time_s):
            findings.append(_nowhere_to_go(record, crew))
        else:
            findings += [_return(record, found[crew]), _gap(record, found[crew])]
    return (*findings, *_free(record, riders), *_everybody(record))


def _free(record: Record, riders: list[str]) -> Iterator[Finding]:
    """Judge the way home of those who are outside and never ride."""
    limit_s = record.scene.loaded.rules.safe_return
    for item in ways_back(record):
        if item.crew in riders or record.scene.loaded.rules.way_home is None or not len(item.time_s):
            continue
        k, home = int(np.argmax(item.return_time_s)), at_most(item.most_s, limit_s, "s")
        when = float(item.time_s[k])
        yield _make.judged(
            home, item.crew,
            f"from where {item.crew} is at {clock(when)}, the worst moment, it is {up(item.way_m[k], 'm', 1)} by "
            f"{_words(item.ways[k])} to the hatch; at no instant outside more than {home.said} until inside, "
            f"{home.asked} allowed",
            other="airlock", at=when, remedy=f"let {item.crew} work nearer to the hatch then, or with less in hand",
        )  # fmt: skip


def _everybody(record: Record) -> Iterator[Finding]:
    """Judge how long it takes until all are inside, where more than one is ever outside."""
    rules = record.scene.loaded.rules.way_home
    if rules is None or len(ways_back(record)) < 2:
        return
    found = all_inside(record)
    worst = worst_of(record, found)
    if worst is None:
        return
    during = f", in {worst.during}" if worst.during else ""
    by_arm = ", riders by the arm where that is sooner" if strandings(record) else ""
    words = (
        f"all are inside with the hatch closed in {up(worst.inside_s, 's')} at most, from {clock(worst.time_s)} on"
        f"{during}, {found.last[found.worst]} as the last, of {len(found.time_s)} instants looked at{by_arm}"
    )
    remedy = "bring the workers nearer to the hatch then"
    if worst.during:
        without = f"without {worst.during} it is {clock(worst.without_s)} at most, from {clock(worst.then_s)} on"
        words, remedy = f"{words}; {without}", f"{remedy}, first of all in {worst.during}: {without}"
    at = worst.time_s
    if rules.all_inside is None:
        said = f"{words}; how long that may take the rules do not say"
        yield _make.not_assessed("crew", said, "state all_inside in way_home of the rules", other="airlock", at=at,
                                 value=worst.inside_s, unit="s")  # fmt: skip
        return
    took = at_most(worst.inside_s, rules.all_inside, "s")
    yield _make.judged(took, "crew", f"{words}; {took.asked} allowed", other="airlock", at=at, remedy=remedy)


def _nowhere_to_go(record: Record, crew: str) -> Finding:
    platform = record.scene.loaded.platform.document
    missing = "hatch (airlock)" if platform.airlock is None else "handrails that stand still"
    return _make.not_assessed(
        crew,
        f"the platform has no {missing}, so how {crew} would get home is not known",
        "name the airlock and the handrails in the platform's document",
        other="airlock",
    )


def _return(record: Record, item: Stranding) -> Finding:
    rules = record.scene.loaded.rules
    k = int(np.argmax(item.return_time_s))
    home = at_most(item.most_s, rules.safe_return, "s")
    when = float(item.time_s[k])
    message = (
        f"stranded at {clock(when)}, the worst moment, {item.crew} goes {up(item.way_m[k], 'm', 1)} by "
        f"{_words(item.ways[k])} to the hatch, {clock(float(item.way_m[k] / item.speed_m_s))} at {item.speed_m_s:g} m/s"
    )
    if rules.way_home is None and home.kept:
        return _make.not_assessed(
            item.crew,
            f"{message}; how long getting out of the restraint, crossing gaps, making fast what is held and going in "
            "take the rules do not say",
            "state way_home in the rules",
            other="airlock", at=when, value=home.value, limit=home.limit, unit="s",
        )  # fmt: skip
    extra = f" and {clock(float(item.extra_s[k]))} {_besides(record, item, k)}" if rules.way_home is not None else ""
    return _make.judged(
        home,
        item.crew,
        f"{message}{extra}; at no instant aboard more than {home.said}, {home.asked} allowed{_ride(record, item)}",
        other="airlock",
        at=when,
        remedy="" if home.kept else _shorter(item, home.limit),
    )


def _ride(record: Record, item: Stranding) -> str:
    """Say how soon a rider is inside while the arm still works, where riding first is the least time anywhere."""
    by_arm_s = home_s(record, item)
    if record.scene.loaded.rules.way_home is None or not (by_arm_s < item.return_time_s - _SAVED_S).any():
        return ""
    k = int(np.argmax(item.return_time_s - by_arm_s))
    when = clock(float(item.time_s[k]))
    most = clock(float(by_arm_s.max()))
    return (
        f"; while the arm works {item.crew} is inside in {most} at most of {len(by_arm_s)} instants looked at, "
        f"at {when} in {clock(float(by_arm_s[k]))}: the arm first goes on or back along its own way, at its own pace"
    )


def _besides(record: Record, item: Stranding, k: int) -> str:
    """Say what takes time besides going along handrails."""
    tree = record.phase_at(float(item.time_s[k])).tree
    held = [name for name in record.scene.loaded.hardware if tree.hangs_from(name, item.crew)]
    parts = [f"to make {', '.join(held)} fast"] if held else []
    parts.append("to get out of the restraint")
    rules = record.scene.loaded.rules
    changes = int(tethers_on(float(item.way_m[k]), rules.tethers.person))
    if changes and rules.way_home is not None and rules.way_home.tether_change is not None:
        parts.append(f"to change tethers {changes} time{'s' * (changes > 1)}")
    if item.gap_m[k] > 0 or item.rail_gap_m[k] > 0:
        parts.append("to cross with help what gloves cannot bridge")
    return f"{', '.join(parts)} and to go in"


def _shorter(item: Stranding, allowed_s: float) -> str:
    late = item.time_s[item.return_time_s > allowed_s]
    stretch = f" from {clock(float(late[0]))} to {clock(float(late[-1]))}" if len(late) else ""
    over = up((item.most_s - allowed_s) * item.speed_m_s, "m", 1)
    return f"lead the carry{stretch} over handrails {over} nearer to the hatch, or add handrails that shorten it"


def _gap(record: Record, item: Stranding) -> Finding:
    bridged = record.scene.loaded.rules.tether_reach
    gaps = np.maximum(item.gap_m, item.rail_gap_m)
    k = int(np.argmax(gaps))
    when, most = float(item.time_s[k]), max(item.most_gap_m, float(item.rail_gap_m.max()))
    if most <= _NOTHING_M:
        message = f"a handrail is in reach of the gloves of {item.crew} at every instant aboard"
        return _make.passed(item.crew, message, other="handrail", at=when, value=most, limit=bridged, unit="m")
    message, remedy = f"{_open(item, k)}; a tether or a second worker must bridge it", _nearer(item, k, bridged)
    if bridged is None:
        message += ", and the rules do not say how wide a gap that may be (tether_reach)"
        return _make.not_assessed(item.crew, message, remedy, other="handrail", at=when, value=most, unit="m")
    gap = at_most(most, bridged, "m", 2)
    message = f"{message}, {gap.asked} at most{_by_arm(record, item)}"
    return _make.judged(gap, item.crew, message, other="handrail", at=when, remedy=remedy)


def _open(item: Stranding, k: int) -> str:
    """Say where the widest gap is and for how long one is open."""
    if item.rail_gap_m[k] > item.gap_m[k]:
        return f"on the way home from {item.rail[k]} handrails are {up(item.rail_gap_m[k], 'm', 2)} apart"
    most = up(item.most_gap_m, "m", 2)
    lasting = float(np.sum(np.diff(item.time_s)[(item.gap_m[:-1] > _NOTHING_M) & (item.gap_m[1:] > _NOTHING_M)]))
    return (
        f"for {clock(lasting)} no handrail is in reach of {item.crew}; at {clock(float(item.time_s[k]))} the nearest, "
        f"{item.rail[k]}, is {up(item.gap_m[k], 'm', 2)} from the gloves (never more than {most})"
    )


def _by_arm(record: Record, item: Stranding) -> str:
    """Say how long an arm that still works takes at most to bring its rider within reach of a handrail."""
    if not (item.gap_m > _NOTHING_M).any():
        return ""
    takes_s = within_reach_s(record, item)
    brought = np.isfinite(takes_s)
    if not brought.any():
        return "; where the arm goes there is none, so it brings nobody to one"
    most = f"; an arm that still works brings {item.crew} to one, on or back on its own way, in "
    most += f"{clock(float(takes_s[brought].max()))} at most"
    return most if brought.all() else f"{most}, but from {int((~brought).sum())} of {len(brought)} instants not"


def _nearer(item: Stranding, k: int, bridged_m: float | None) -> str:
    if item.rail_gap_m[k] > item.gap_m[k]:
        return f"close the gap after {item.rail[k]} with a handrail, or have a second worker wait there"
    within = "" if bridged_m is None else f" within {bridged_m:g} m of it"
    return (
        f"lead the carry nearer to {item.rail[k]}{within}, have a second worker wait there, or give the rider a tether "
        f"of {up(item.most_gap_m, 'm', 1)} to it"
    )


def _words(ways: tuple[str, ...]) -> str:
    """Name the handrails, the middle ones of a long way left out."""
    if len(ways) <= 4:
        return ", ".join(ways)
    return f"{ways[0]}, {ways[1]}, ... {ways[-1]} ({len(ways)} handrails)"
