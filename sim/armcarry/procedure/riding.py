"""How a ride feels to who is carried: legs in the rider's own sense at that time, each of them something to follow."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM

#: instants of a ride that are looked at, and the least way between two of them that tells a direction, m
_INSTANTS, _STIR_M = 240, 1e-4
#: a direction counts where it is at least this share of the way gone: so much is felt as "also"
_ALSO = 0.4
#: so many directions at once can be followed
_AT_ONCE = 2
#: a leg shorter than this, of the time and of the way, belongs to its neighbour
_LEAST_SHARE, _LEAST_M = 0.08, 0.25
#: turning is told from here on, rad
_TURN_RAD = float(np.radians(15))
#: a worksite is passed, or come to, within this distance of the boots, m
_NEAR_M = 3.0
#: each axis of the chest (ROS REP 103): its word for + and for -
WORDS = (("ahead", "back"), ("left", "right"), ("up", "down"))
TURNS = (("leaning right", "leaning left"), ("tipping forward", "tipping back"), ("turning left", "turning right"))


@dataclass(frozen=True)
class Leg:
    """One stretch of a ride: which way, for how long, how far, how it turns the rider, and where it comes to."""

    ways: tuple[str, ...]
    lasting_s: float
    length_m: float
    turn: str = ""
    past: str = ""

    @property
    def words(self) -> str:
        """The leg as it is called."""
        if not self.ways:
            return f"in place for {spoken(self.lasting_s)}" + (f", {self.turn}" if self.turn else "")
        turn = f", {self.turn}" if self.turn else ""
        past = f", {self.past}" if self.past else ""
        return f"{' and '.join(self.ways)} for {spoken(self.lasting_s)}, {self.length_m:.1f} m{turn}{past}"


def legs(record: Record, rider: str, start_s: float, end_s: float) -> tuple[Leg, ...]:
    """Return the legs of a rider's way between two instants; none where nothing is felt.

    At each instant the way gone next is told in the rider's own directions then: ahead is where the chest faces, up is
    towards the head.
    """
    if end_s <= start_s:
        return ()
    times = np.linspace(start_s, end_s, _INSTANTS)
    times[-1] = np.nextafter(end_s, -np.inf)
    chest = f"{rider}/{record.scene.loaded.crew[rider].document.chest}"
    path = record.link_path(chest, times)
    steps = np.einsum("tji,tj->ti", path[:-1, :3, :3], np.diff(path[:, :3, 3], axis=0))
    runs = _joined([(_ways(step), k, k + 1) for k, step in enumerate(steps)], steps, len(times) - 1)
    found = [_leg(record, ways, times[[a, b]], path[a : b + 1], steps[a:b]) for ways, a, b in runs]
    felt = [leg for leg in found if leg.length_m >= 0.03 or leg.turn]
    return tuple(felt)


def curved(found: Sequence[Leg]) -> bool:
    """Tell whether a ride takes more than one direction, or turns the rider."""
    return len(found) > 1 or any(leg.turn for leg in found)


def told(found: Sequence[Leg]) -> str:
    """Return legs as one call: ``up and back for 3 minutes, 14.2 m; then left for 4 minutes, 20.1 m, past bay 9``."""
    return "; then ".join(leg.words for leg in found) if found else "you stay where you are"


def spoken(seconds: float) -> str:
    """Return a stretch of time as people say it: to 5 s below a minute and a half, to half a minute beyond."""
    short = max(round(seconds / 5) * 5, 5)
    if short < 90:
        return f"{short} seconds" if short != 60 else "1 minute"
    halves = round(seconds / 30)
    whole, half = divmod(halves, 2)
    return f"{whole}½ minutes" if half else f"{whole} minutes"


def _ways(step: Array) -> tuple[str, ...]:
    """Return the directions of one short way (3,), the largest first; none where it stands."""
    length = float(np.linalg.norm(step))
    if length < _STIR_M:
        return ()
    order = np.argsort(-np.abs(step), kind="stable")
    return tuple(WORDS[k][int(step[k] < 0)] for k in order[:_AT_ONCE] if abs(step[k]) >= _ALSO * length)


def _joined(
    runs: list[tuple[tuple[str, ...], int, int]], steps: Array, count: int
) -> list[tuple[tuple[str, ...], int, int]]:
    """Join neighbours that say the same, then each that is too short to its longer neighbour, the shortest first.

    A joined leg is told by where it goes as a whole, so that a way that bends slowly is not cut into many.
    """
    found = _same(runs)
    while len(found) > 1:
        sizes = [
            (min((b - a) / count / _LEAST_SHARE, float(np.linalg.norm(steps[a:b], axis=1).sum()) / _LEAST_M), k)
            for k, (_, a, b) in enumerate(found)
        ]
        size, k = min(sizes)
        if size >= 1.0:
            break
        beside = [j for j in (k - 1, k + 1) if 0 <= j < len(found)]
        j = max(beside, key=lambda j: found[j][2] - found[j][1])
        first, last = min(j, k), max(j, k)
        start, end = found[first][1], found[last][2]
        found[first : last + 1] = [(found[j][0] or _ways(steps[start:end].sum(axis=0)), start, end)]
        found = _same(found)
    return found


def _same(runs: list[tuple[tuple[str, ...], int, int]]) -> list[tuple[tuple[str, ...], int, int]]:
    found: list[tuple[tuple[str, ...], int, int]] = []
    for ways, a, b in runs:
        if found and set(found[-1][0]) == set(ways):
            found[-1] = (found[-1][0], found[-1][1], b)
        else:
            found.append((ways, a, b))
    return found


def _leg(record: Record, ways: tuple[str, ...], times_s: Array, path: Array, steps: Array) -> Leg:
    whole = steps.sum(axis=0)
    # of a leg that was joined the larger share goes first
    share = {WORDS[k][int(whole[k] < 0)]: abs(float(whole[k])) for k in range(3)}
    ways = tuple(sorted(ways, key=lambda word: -share.get(word, 0.0)))
    turn = poses.rotation_vector(poses.inverse(path[0]) @ path[-1])
    k = int(np.argmax(np.abs(turn)))
    words = f"{TURNS[k][int(turn[k] < 0)]} {np.degrees(abs(turn[k])):.0f}°" if abs(turn[k]) >= _TURN_RAD else ""
    length_m = float(np.linalg.norm(np.diff(path[:, :3, 3], axis=0), axis=1).sum())
    return Leg(ways, float(times_s[1] - times_s[0]), length_m, words, _past(record, path[:, :3, 3]))


def _past(record: Record, way: Array) -> str:
    """Return the worksite that a way (T, 3) comes to or passes; empty where it comes to none, or stays at one."""
    if float(np.linalg.norm(way[-1] - way[0])) < _NEAR_M:
        return ""
    tree, position = record.scene.tree, record.scene.position
    nearest: list[tuple[float, int, str]] = []
    for site in record.scene.loaded.platform.document.worksites.values():
        stand = tree.pose_of(f"{PLATFORM}/{site.stand}", position)[:3, 3]
        apart = np.linalg.norm(way - stand, axis=1)
        if apart[0] > _NEAR_M >= apart.min():
            nearest.append((float(apart.min()), int(np.argmin(apart)), site.title.split(":")[0]))
    if not nearest:
        return ""
    _, when, title = min(nearest)
    return f"{'to' if when >= 0.8 * (len(way) - 1) else 'past'} {title}"
