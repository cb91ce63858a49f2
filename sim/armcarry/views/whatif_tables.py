"""Tables of what could go wrong, beside the findings: cameras move by move, runaway joints one by one."""

from __future__ import annotations

import numpy as np

from armcarry.checks.seen import Watched, watched
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.seeing.gaps import watched_gaps
from armcarry.seeing.sight import sightings
from armcarry.views.table import Table
from armcarry.whatif.all_inside import all_inside, worst_of
from armcarry.whatif.faults import LONGEST_DETECTION_S
from armcarry.whatif.runaway_joint import runaways
from armcarry.whatif.stranding import ways_back


def cameras_table(record: Record) -> Table | None:
    """Return for every move which cameras see tip, riders and the tightest gap, and the best pair; None without any."""
    if not sightings(record).cameras:
        return None
    tightest, rows = {item.move: item for item in watched_gaps(record).tightest}, []
    for item in watched(record):
        if item.move.kind in ("attach", "detach"):
            continue
        move = item.move
        gap = tightest.pop(move, None)
        rows.append((plain(move.title), clock(move.start_s), plain(item.target), _all_the_way(item), _pair(item)))
        if gap is not None:
            row, names = gap.row, gap.seen_by
            words = f"gap of {plain(row.body_a)} and {plain(row.body_b)} at {clock(row.time_s)}"
            rows.append((plain(move.title), clock(row.time_s), words, _named(names) or "none", "not asked"))
    return Table(("move", "at", "what is seen", "by", "best pair"), tuple(rows))


def _named(names: tuple[str, ...]) -> str:
    return ", ".join(plain(name) for name in names)


def _all_the_way(item: Watched) -> str:
    unseen = f"; nobody for {clock(item.unseen_s)}" if item.unseen_s > 0 else ""
    return f"{_named(item.cameras) or 'none all the way'}{unseen}"


def _pair(item: Watched) -> str:
    if not item.pair:
        return "never two at once"
    share = "" if item.pair_share > 0.99 else f", {item.pair_share:.0%} of the time"
    return f"{_named(item.pair)}: {np.degrees(item.crossing_rad):.0f} deg or more{share}"


def homes_table(record: Record) -> Table | None:
    """Return everybody's worst moment outside and what the way home is made of then; None with nobody outside."""
    rows = []
    for item in ways_back(record):
        if len(item.time_s):
            k = int(np.argmax(item.return_time_s))
            along_s = float(item.way_m[k] / item.speed_m_s)
            rows.append((plain(item.crew), clock(float(item.time_s[k])), clock(float(item.return_time_s[k])),
                         f"{clock(along_s)} along {len(item.ways[k])} handrails from {plain(item.rail[k])}, "
                         f"{clock(float(item.extra_s[k]))} besides"))  # fmt: skip
    worst = worst_of(record, all_inside(record)) if len(rows) > 1 else None
    if worst is not None:
        without = f"in {plain(worst.during)}; {clock(worst.without_s)} without it" if worst.during else ""
        rows.append(("all inside, hatch closed", clock(worst.time_s), clock(worst.inside_s), without))
    return Table(("who", "worst moment", "until inside", "made of"), tuple(rows)) if rows else None


def runaways_table(record: Record) -> Table | None:
    """Return for every joint and way the longest detection time that is safe all along; None where nothing is known."""
    arm = record.scene.loaded.arm.document
    if any(not (load.runaway_rate or arm.runaway_rate) for load in arm.loads.values()):
        return None
    found, rows = runaways(record), []
    for k, (safe, when) in enumerate(zip(found.safe_detection_s.tolist(), found.ends_s.tolist(), strict=True)):
        words = "none" if safe < 0 else f"{'at least ' if safe >= LONGEST_DETECTION_S else ''}{safe:.2f} s"
        rows.append((plain(found.name(k)), words, "nothing" if np.isnan(when) else f"the moment {clock(when)}"))
    return Table(("joint and way", "longest safe detection time", "set by"), tuple(rows))
