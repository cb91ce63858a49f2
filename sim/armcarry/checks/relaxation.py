"""Are approach relaxations kept as narrow as the rules demand: in time, in distance, to named bodies?"""

from __future__ import annotations

import numpy as np

from armcarry.asked.places import places_of
from armcarry.asked.relaxed import Relaxed
from armcarry.files.names import matches
from armcarry.quantities import clock
from armcarry.record.figures import at_least, at_most, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.scene.build import ARM

#: a pattern that fits more bodies than this names none in particular; common practice, no source
MOST_BODIES = 12
#: instants at which the tip is looked at; it moves slowly enough that none is missed by more than millimetres
SAMPLES = 400
#: times told of one place
MOST_SPANS = 3
_make = Maker("relaxation")


def check(record: Record) -> tuple[Finding, ...]:
    """Give one finding a relaxation of the script, and one a place for what it granted to whoever was there."""
    own = tuple(_judge(record, item) for item in record.relaxed if not item.place)
    by_place: dict[tuple[str, str], list[Relaxed]] = {}
    for item in record.relaxed:
        if item.place:
            by_place.setdefault((item.place, item.pattern_a.split("/", 1)[0]), []).append(item)
    reach = {place.name: place.within_m for place in places_of(record.scene)}
    return (*own, *(_judge_place(record, key, items, reach) for key, items in by_place.items()))


def _judge_place(
    record: Record, key: tuple[str, str], items: list[Relaxed], reach: dict[str, float | None]
) -> Finding:
    """Judge what a place granted to one person or thing: how much, and how far from it."""
    place, who = key
    limits, within = record.scene.loaded.rules.relaxation, reach[place]
    least, faults = min(item.required_m for item in items), []
    if not (leaves := at_least(least, limits.least, "m")).kept:
        faults.append(f"it leaves {leaves.said}, {leaves.asked} is the least allowed")
    if within is not None and not (holds := at_most(within, limits.place_reach, "m")).kept:
        faults.append(f"it holds up to {holds.said} from there, {holds.asked} is allowed")
    spans = sorted({(item.start_s, item.end_s) for item in items})
    told = "; ".join(dict.fromkeys(f"{item.required_m:g} m to {_bodies(item)} ({item.why})" for item in items))
    times = ", ".join(f"{clock(start)} to {clock(end)}" for start, end in spans[:MOST_SPANS])
    more = f" and {len(spans) - MOST_SPANS} more times" if len(spans) > MOST_SPANS else ""
    message = f"{place} grants {who}, while there ({times}{more}): {told}"
    during = (spans[0][0], spans[-1][1])
    if not faults:
        return _make.passed(place, message, other=who, at=during, value=least, limit=limits.least, unit="m")
    return _make.failed(
        place, f"{message}: {'; '.join(faults)}", f"say less under near of {place}", other=who, at=during, value=least,
        limit=limits.least, unit="m",
    )  # fmt: skip


def _bodies(item: Relaxed) -> str:
    """Return the pattern of the bodies come near to, without the instance they share."""
    return item.pattern_b.replace("platform/", "")


def _judge(record: Record, item: Relaxed) -> Finding:
    limits = record.scene.loaded.rules.relaxation
    lasting = item.end_s - item.start_s
    spread = tip_spread_m(record, item.start_s, item.end_s) if _of_the_arm(record, item) else 0.0
    wide = [pattern for pattern in (item.pattern_a, item.pattern_b) if _count(record, pattern) > MOST_BODIES]
    unknown = [pattern for pattern in (item.pattern_a, item.pattern_b) if _count(record, pattern) == 0]
    faults = []
    if not (long := at_most(lasting, limits.longest, "s")).kept:
        faults.append(f"it lasts {long.said}, {long.asked} is allowed")
    if not (least := at_least(item.required_m, limits.least, "m")).kept:
        faults.append(f"it leaves {least.said}, {least.asked} is the least allowed")
    if not (far := at_most(spread, limits.reach, "m")).kept:
        faults.append(f"the tip is up to {far.said} from where it begins or ends, {far.asked} is allowed")
    faults += [f"'{pattern}' fits {_count(record, pattern)} bodies, name them closer" for pattern in wide]
    faults += [f"'{pattern}' fits no body" for pattern in unknown]
    granted = (
        f"{item.pattern_a} to {item.pattern_b} relaxed to {item.required_m:g} m for {clock(lasting)} ({item.why})"
    )
    during = (item.start_s, item.end_s)
    if not faults:
        message = f"{granted}, the tip within {up(spread, 'm', 2)}"
        return _make.passed(
            item.pattern_a, message, other=item.pattern_b, at=during, value=lasting, limit=limits.longest, unit="s"
        )
    return _make.failed(
        item.pattern_a,
        f"{granted}: {'; '.join(faults)}",
        "relax fewer moves, or name the bodies that must come close",
        other=item.pattern_b, at=during, value=lasting, limit=limits.longest, unit="s",
    )  # fmt: skip


def _of_the_arm(record: Record, item: Relaxed) -> bool:
    """Tell whether the arm moves a body that is named; a free worker's way along a rail has no tip."""
    trees = [phase.tree for phase in record.phases if phase.start_s < item.end_s and phase.end_s > item.start_s]
    moved = {ARM, *record.scene.loaded.restraints}
    moved |= {name for tree in trees for name in (*record.scene.aboard(tree), *record.scene.carried(tree))}
    names = [body.name for body in record.bodies if body.name.split("/", 1)[0] in moved]
    return any(matches(pattern, name) for pattern in (item.pattern_a, item.pattern_b) for name in names)


def _count(record: Record, pattern: str) -> int:
    return sum(matches(pattern, body.name) for body in record.bodies)


def tip_spread_m(record: Record, start_s: float, end_s: float) -> float:
    """Return how far, at most, the arm's tip is from the nearer of where it is at start_s and at end_s, in metres."""
    times = np.linspace(start_s, end_s, SAMPLES + 1)
    tips = record.link_path(record.scene.arm_tip, times)[:, :3, 3]
    from_start = np.linalg.norm(tips - tips[0], axis=1)
    from_end = np.linalg.norm(tips - tips[-1], axis=1)
    return float(np.minimum(from_start, from_end).max())
