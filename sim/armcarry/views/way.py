"""The planned path of the tool: where it goes, which places it passes, and where little is left of what is required."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.views.closest import closest_track

#: the tool counts as being at a worksite within this distance of its stand
AT_WORKSITE_M = 1.5
#: the path is coloured where less than this many times the requirement is left, looked at so often
NEAR_SHARE, _NEAR_LOOKS = 1.25, 240
#: time between two looks at the path; two of its points are so far apart at least; no two names are nearer than this
_STEP_S, _APART_M, _NAMES_M = 2.0, 0.02, 1.2
#: how a stretch keeps what is required: with room, with little more, not
ROOMY, NEAR, SHORT = 0, 1, 2


@dataclass(frozen=True, eq=False)
class Way:
    """The path of the point that moves steer.

    Attributes:
        points_m, times_s: (n, 3) and (n,) in order of time.
        kept: (n,) ROOMY, NEAR or SHORT, of the stretch that begins at a point.
        places: names along it and where (3,): worksites it comes to, ends of moves elsewhere, its start and end.
    """

    points_m: Array
    times_s: Array
    kept: NDArray[np.int64]
    places: tuple[tuple[str, Array], ...]

    def stretches(self, kept: int) -> list[Array]:
        """Return the parts of the path (m, 3) that keep what is required in one of the three ways."""
        parts = [self.points_m[a : b + 1] for a, b in _alike(self.kept) if self.kept[a] == kept]
        return [part for part in parts if len(part) > 1]


def way(record: Record) -> Way:
    """Return the planned path of a run."""
    # a day is mostly standing still: so many instants that a move of minutes still looks round
    count = int(np.clip(record.duration_s / _STEP_S, 600, 20_000))
    times = np.linspace(record.motion.start_s, record.motion.end_s, count)
    times = np.union1d(times, [edge for move in record.moves for edge in (move.start_s, move.end_s)])
    points = tool_path(record, times)
    kept = np.zeros(len(times), dtype=np.int64)
    for start_s, end_s, short in near_stretches(record):
        kept[(times >= start_s) & (times <= end_s)] = SHORT if short else NEAR
    chosen, last = [0], points[0]
    for k in range(1, len(times)):
        if k == len(times) - 1 or kept[k] != kept[chosen[-1]] or np.linalg.norm(points[k] - last) >= _APART_M:
            chosen.append(k)
            last = points[k]
    return Way(points[chosen], times[chosen], kept[chosen], _places(record, points))


def _places(record: Record, points: Array) -> tuple[tuple[str, Array], ...]:
    """Return names along the path: what comes first is named first, and what is near something named is not."""
    wanted = [("tool at the start", points[0]), ("tool at the end", points[-1])]
    titles = {name: site.title for name, site in record.scene.loaded.platform.document.worksites.items()}
    sites = visited_worksites(record)
    reached = tool_path(record, np.array([time_s for _, time_s in sites] or [record.motion.start_s]))
    wanted += [(titles[name].split(":")[0], point) for (name, _), point in zip(sites, reached, strict=False)]
    ends = [move.end_s for move in record.moves] or [record.motion.start_s]
    wanted += [(plain(move.title), point) for move, point in zip(record.moves, tool_path(record, ends), strict=False)]
    found: list[tuple[str, Array]] = []
    for words, point in wanted:
        far = all(np.linalg.norm(point - other) > _NAMES_M for _, other in found)
        if far or len(found) < 2:
            found.append((words, point))
    return tuple(found)


def near_stretches(record: Record) -> list[tuple[float, float, bool]]:
    """Return the stretches in which the pair that matters most has little more than is required, or less (True)."""
    times = np.linspace(record.motion.start_s, record.motion.end_s, _NEAR_LOOKS)
    track = closest_track(record, times)
    asked = np.array([np.nan if k < 0 else record.pairs[k].required_m for k in track.row], dtype=float)
    kind = np.where(track.lower_m < asked, SHORT, np.where(track.lower_m < NEAR_SHARE * asked, NEAR, ROOMY))
    return [
        (float(times[a]), float(times[min(b, len(times) - 1)]), bool(kind[a] == SHORT))
        for a, b in _alike(kind) if kind[a]
    ]


def _alike(kinds: NDArray[np.int64]) -> list[tuple[int, int]]:
    """Return where each part of equal kinds begins, and where the next one does."""
    return list(pairwise([0, *(np.flatnonzero(np.diff(kinds)) + 1).tolist(), len(kinds)]))


def visited_worksites(record: Record) -> list[tuple[str, float]]:
    """Return the worksites that the tool comes to and when it is nearest, in order of time."""
    found = []
    times = np.linspace(record.motion.start_s, record.motion.end_s, 1500)
    tool = tool_path(record, times)
    for name, site in record.scene.loaded.platform.document.worksites.items():
        stand = _link_path(record, f"{PLATFORM}/{site.stand}", times)
        away = np.linalg.norm(tool - stand, axis=1)
        if away.min() <= AT_WORKSITE_M:
            found.append((name, float(times[np.argmin(away)])))
    return sorted(found, key=lambda pair: pair[1])


def tool_path(record: Record, times_s: ArrayLike) -> Array:
    """Return the place (T, 3) of the point that moves steer, phase by phase."""
    times = np.asarray(times_s, dtype=float)
    place = np.empty((len(times), 3))
    which = np.array([record.phases.index(record.phase_at(t)) for t in times])
    for k in np.unique(which):
        tree = record.phases[k].tree
        link = record.scene.tool(tree)
        place[which == k] = forward(tree, record.motion.at(times[which == k]), [link])[:, 0, :3, 3]
    return place


def _link_path(record: Record, link: str, times_s: Array) -> Array:
    """Return the place (T, 3) of a link of the platform, which hangs the same in every phase."""
    return np.asarray(forward(record.phases[0].tree, record.motion.at(times_s), [link])[:, 0, :3, 3])
