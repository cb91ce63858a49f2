"""What the cards say of each move beside its task: joints, tip, rates, clearance, cameras, who holds what."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.speed import tip_speed_maximum
from armcarry.record.matters import share
from armcarry.record.pairs import PairTable
from armcarry.record.record import MoveSpan, PairRow, Record
from armcarry.scene.build import ARM, PLATFORM
from armcarry.scene.tree import WORLD, Tree
from armcarry.scene.words import plain
from armcarry.seeing.gaps import Gaps
from armcarry.seeing.sight import sightings
from armcarry.views.closest import closest_track, kept, worded
from armcarry.views.curves import within

if TYPE_CHECKING:
    from armcarry.files.documents.carries import Move

#: instants of a move at which the closest pair is looked for
_PROBES = 120
#: the tip among what cameras watch
_TIP = f"{ARM}/tip"


@dataclass(frozen=True)
class Expected:
    """Proven least distance of two classes of body during a move, and what is required."""

    group: str
    least_m: float
    required_m: float


@dataclass(frozen=True)
class Nearest:
    """The pair that comes closest during a move, for its requirement (see ``record.matters``).

    ``row`` is the pair, ``lower_m`` its distance then, between the two points in the world: as the table of pairs
    proves it where its least falls into the move, so that all tell one number.
    """

    words: str
    time_s: float
    value: str
    seen_by: tuple[str, ...]
    row: PairRow | None = None
    lower_m: float = np.inf
    point_a: tuple[float, ...] = ()
    point_b: tuple[float, ...] = ()


@dataclass(frozen=True, eq=False)
class Card:
    """One move.

    Attributes:
        joints: names of the arm's joints.
        start, end: their positions (n,), rad or m.
        frame: name of the frame in which the tip's pose is given.
        tip_start, tip_end: T_frame_tool (4, 4).
        tip: name of the link that is steered.
        peak_rates: largest rate (n,) of each joint, exact.
        tip_speed_m_s: upper bound of the tip's speed; allowed_m_s what is allowed.
        tip_seen_by: titles of the cameras proven to see the tip all through the move.
        nearest: the pair that comes closest; near_rider: the same for each rider, with what is carried, to all else.
        held: who or what holds what at the end of the move.
    """

    move: MoveSpan
    joints: tuple[str, ...]
    start: Array
    end: Array
    frame: str
    tip: str
    tip_start: Array
    tip_end: Array
    peak_rates: Array
    tip_speed_m_s: float
    allowed_m_s: float
    expected: tuple[Expected, ...]
    nearest: Nearest | None
    tip_seen_by: tuple[str, ...]
    near_rider: dict[str, Nearest | None]
    held: tuple[str, ...]

    @property
    def told(self) -> Nearest | None:
        """The pair that is called, drawn and written: what falls short, else the rider's, else the closest of all."""
        least = self.nearest
        if least is not None and least.row is not None and not kept(least.row, least.lower_m):
            return least
        return min((near for near in self.near_rider.values() if near is not None), key=_share, default=least)

    @property
    def moves_arm(self) -> bool:
        """Whether the arm moves."""
        return bool(np.any(self.peak_rates > 0))


def cards(record: Record) -> tuple[Card, ...]:
    """Return one card a move, in order of time."""
    lookout = Lookout(record)
    return tuple(_card(record, lookout, move) for move in record.moves)


def _card(record: Record, lookout: Lookout, move: MoveSpan) -> Card:
    scene = record.scene
    first, last = record.motion.at(move.start_s), record.motion.at(move.end_s, side="left")
    tree = record.phase_at((move.start_s + move.end_s) / 2).tree
    tool, frame = scene.tool(tree), _frame(record, tree, move)
    tip_speed, rates = 0.0, np.zeros(len(scene.arm_columns))
    if move.end_s > move.start_s:
        part = record.motion.between(move.start_s, move.end_s)
        low, high = part.extremes(1)
        rates = np.maximum(-low, high)[scene.arm_columns]
        if np.any(rates > 0):
            chain = Chain.of(tree, WORLD, tool, joints=scene.arm_joints, held=first)
            tip_speed = tip_speed_maximum(chain, part, tolerance_m_s=1e-4)[1]
    allowed = scene.tip_speed_limit(tree, scene.loaded.arm.document.loads[move.load])
    riders = scene.aboard(tree)
    return Card(
        move=move, joints=scene.arm_joints, start=first[scene.arm_columns], end=last[scene.arm_columns],
        frame=frame, tip=tool, tip_start=tree.pose_of(tool, first, relative_to=frame),
        tip_end=tree.pose_of(tool, last, relative_to=frame), peak_rates=rates, tip_speed_m_s=float(tip_speed),
        allowed_m_s=float(allowed), expected=_expected(record, move), nearest=_nearest(record, lookout, move),
        tip_seen_by=lookout.tip(move),
        near_rider={name: _nearest(record, lookout, move, name) for name in riders},
        held=who_holds_what(record, tree),
    )


def who_holds_what(record: Record, tree: Tree) -> tuple[str, ...]:
    """Return ``pump box: in the hands of ev1`` and the like for crew, restraint and hardware."""
    words = []
    for thing in (*record.scene.loaded.crew, *record.scene.loaded.hardware):
        parent = tree.mounting(thing).parent
        holder, _, place = parent.partition("/")
        if holder in record.scene.loaded.crew:
            words.append(f"{plain(thing)}: held by {holder} ({plain(place)})")
        elif tree.hangs_from(thing, ARM):
            words.append(f"{plain(thing)}: on the arm ({plain(place)})")
        elif holder == PLATFORM:
            words.append(f"{plain(thing)}: at {plain(place)}")
        else:
            words.append(f"{plain(thing)}: free")
    return tuple(words)


def _expected(record: Record, move: MoveSpan) -> tuple[Expected, ...]:
    end = max(move.end_s, move.start_s + 1e-6)
    parts = [part for curve in record.curves if (part := within(curve, move.start_s, end)) is not None]
    found = [Expected(part.group, float(part.lower_m.min()), part.required_m) for part in parts]
    found = [each for each in found if each.least_m < np.inf]  # else no pair of the group is there
    return tuple(sorted(found, key=lambda each: each.least_m - each.required_m))


def _nearest(record: Record, lookout: Lookout, move: MoveSpan, rider: str = "") -> Nearest | None:
    """Return the closest pair of a move; of a rider, what is carried and the restraint to all else if one is named."""

    def counts(table: PairTable) -> NDArray[np.bool_]:
        one, other = table.ends_of((rider, *record.scene.loaded.restraints))
        loads = np.array([word == "hardware" for word in table.words], dtype=bool)
        return np.asarray((one | loads[table.class_a]) != (other | loads[table.class_b]))

    times = np.linspace(move.start_s, move.end_s, _PROBES if move.end_s > move.start_s else 1)
    if move.end_s > move.start_s:
        times[-1] = np.nextafter(move.end_s, -np.inf)  # at a switch what comes after it is another card's
    track = closest_track(record, times, counts if rider else None)
    shares = [
        np.inf if row < 0 else float(share(low, record.pairs[row].required_m or 0.0))
        for row, low in zip(track.row, track.lower_m, strict=True)
    ]
    k = int(np.argmin(shares))
    if track.row[k] < 0:
        return None
    row = record.pairs[track.row[k]]
    if move.start_s <= row.time_s <= move.end_s:
        middle = (np.asarray(row.point_a) + np.asarray(row.point_b)) / 2
        return Nearest(
            f"{plain(row.body_a)} – {plain(row.body_b)}", row.time_s, worded(row, row.lower_m),
            lookout.sees(row.time_s, middle), row, row.lower_m, row.point_a, row.point_b,
        )
    spot = (track.point_a[k] + track.point_b[k]) / 2
    return Nearest(
        f"{plain(row.body_a)} – {plain(row.body_b)}", float(times[k]), worded(row, float(track.lower_m[k])),
        lookout.sees(float(times[k]), spot), row, float(track.lower_m[k]), tuple(track.point_a[k].tolist()),
        tuple(track.point_b[k].tolist()),
    )


def _share(near: Nearest) -> float:
    return np.inf if near.row is None else float(share(near.lower_m, near.row.required_m or 0.0))


class Lookout:
    """Which cameras of platform, arm and crew see the tip and the close gaps of a run, by their titles."""

    def __init__(self, record: Record) -> None:
        self._gaps, self._sightings = Gaps(record), sightings(record)
        self.cameras = self._gaps.cameras
        # what a camera looks at follows its place after a comma; the place is enough where it tells them apart
        places = [camera.title.partition(",")[0] for camera in self._gaps.cameras]
        self._titles = {
            camera.name: place if places.count(place) == 1 else f"{plain(camera.name.split('/')[0])}: {camera.title}"
            for camera, place in zip(self._gaps.cameras, places, strict=True)
        }

    def sees(self, time_s: float, point_m: Array) -> tuple[str, ...]:
        """Return the cameras that see a point (3,) at an instant, no body before it."""
        return tuple(self._titles[name] for name in self.names(time_s, point_m))

    def names(self, time_s: float, point_m: Array) -> tuple[str, ...]:
        """Return the same cameras by their full names."""
        return self._gaps.seen_by(time_s, point_m)

    def watching(self, target: str, time_s: float) -> tuple[str, ...] | None:
        """Return the cameras that see the tip, or a rider, at an instant by full name; None where it is no such target.

        Seeing any body of a rider is seeing the rider, where a point inside a body is seen by nobody.
        """
        found = self._sightings
        cell = int(np.clip(np.searchsorted(found.edges_s, time_s, side="right") - 1, 0, len(found.seen) - 1))
        if target not in found.targets or not found.there[cell, found.targets.index(target)]:
            return None
        sees = found.glimpsed[cell, :, found.targets.index(target)]
        return tuple(name for name, seen in zip(found.cameras, sees, strict=True) if seen)

    def title(self, name: str) -> str:
        """Return a camera by what people call it."""
        return self._titles[name]

    def tip(self, move: MoveSpan) -> tuple[str, ...]:
        """Return the cameras that are proven to see the arm's tip all through a move."""
        found = self._sightings
        cells = found.within(move.start_s, move.end_s)
        if not cells.any():  # a move that takes no time
            cells = np.arange(len(cells)) == max(int(np.searchsorted(found.edges_s, move.start_s, side="right")) - 1, 0)
        kept = found.seen[cells][:, :, found.targets.index(_TIP)].all(axis=0)
        return tuple(self._titles[name] for name, sees in zip(found.cameras, kept, strict=True) if sees)


def _frame(record: Record, tree: Tree, move: MoveSpan) -> str:
    """Return the frame in which the script gives the move's goal, else the platform's own."""
    script = _script(record, move)
    wanted = f"{PLATFORM}/{tree.mounting(PLATFORM).model.root}"
    if script is not None:
        if script.line is not None:
            wanted = script.line.frame
        elif script.to_pose is not None:
            wanted = script.to_pose.frame
        elif script.to_worksite is not None:
            wanted = f"{PLATFORM}/{record.scene.loaded.platform.document.worksites[script.to_worksite].stand}"
    return wanted if wanted in tree.links else WORLD


def _script(record: Record, move: MoveSpan) -> Move | None:
    for carry in record.scene.loaded.scenario.carries:
        if carry.name == move.carry and 0 < move.number <= len(carry.moves):
            return carry.moves[move.number - 1]
    return None
