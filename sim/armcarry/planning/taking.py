"""Postures in which a stop of the day may be taken from a place of the base, and what each of them lacks."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.motion.line import straight_line
from armcarry.planning.climbs import Climb, Climbing, Room
from armcarry.planning.space import ENOUGH_M, ArmSpace
from armcarry.planning.stops import CHOSEN, Piece, Stop
from armcarry.planning.there import Part, There
from armcarry.planning.trial import Base
from armcarry.planning.ways import standing
from armcarry.scene.build import ARM, Scene
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.moves import goal_of
from armcarry.timeline.planned import Way
from armcarry.whatif.at_rest import ENOUGH_M as FAULTS_M

#: postures whose led moves are looked at, roomiest first, and how many are kept
LOOKED_AT, KEPT = 5, 3
#: postures that lack nothing, of which no more are looked for
ENOUGH = 2
#: places along led moves that are looked at are at most this far apart, in way or in a joint's turn
APART_M, APART_RAD = 0.3, 0.2
#: what a move lacks that cannot be made, and most that anything counts, m
UNMADE_M, MOST_M = 3.0, 1.0
#: what lacks more is not measured further, m
GIVEN_UP_M = 0.5


@dataclass(frozen=True, eq=False)
class Taken:
    """A stop taken in one posture from one place of the base.

    Attributes:
        base: the place.
        q: (A,) the posture; None for one that nothing is known of.
        end: (A,) posture behind the led moves; None where that is not known.
        lacking_m: by how much the requirements, the budget, or what a joint that runs away must leave are missed,
            worst piece, 0 where they are not; of what a branch or the place of the base changes.
        spare_m: least margin of that, at most ``ENOUGH_M``.
        joint_rad: least distance of a joint from the end of its travel.
        alike_m: margin of what is alike on every branch and from every place of the base.
        why: what stands against it, empty where nothing does.
    """

    base: Base
    q: Array | None
    end: Array | None
    lacking_m: float
    spare_m: float
    joint_rad: float
    alike_m: float = ENOUGH_M
    why: str = ""

    @property
    def short_m(self) -> float:
        """By how much anything is missed, on every branch alike or on this one."""
        return max(self.lacking_m, -self.alike_m)


class Taking(There):
    """Takes stops from places of the base, with one set of settings of the restraint; arguments are those of There."""

    def __init__(self, scene: Scene, settings: Mapping[str, float], like: Taking | None = None) -> None:
        super().__init__(scene, settings, like)
        self._known_alike: dict[int, tuple[Piece, float, str]] = {}
        self._known_walks: dict[int, tuple[Climb, float, str]] = {}
        self._reach_m: float | None = None
        self._taken: dict[tuple[int, Base], tuple[Taken, ...]] = {}
        self.climbing = Climbing(scene)

    def _alike_m(self, piece: Piece, base: Base, places: Array) -> tuple[float, str]:
        """Return the margin along a piece of what is alike on every branch, looked at once, and what is tightest."""
        if id(piece) not in self._known_alike:
            self._known_alike[id(piece)] = (piece, *self._along(piece, base, places, "alike"))
        return self._known_alike[id(piece)][1:]

    def _along(self, piece: Piece, base: Base, places: Array, part: Part) -> tuple[float, str]:
        """Return the least margin of standing at places (N, A) of a led move but the first, and what is tightest."""
        found = (ENOUGH_M, "")
        for granted, run in self._granted_along(piece, base, places):
            found = min(found, _least(self.space(piece, base, granted, part=part), run), key=lambda one: one[0])
        return found

    def _granted_along(
        self, piece: Piece, base: Base, places: Array
    ) -> Iterator[tuple[tuple[Relaxed, ...], Array]]:
        """Give runs (R, A) of places (N, A) of a led move but the first, each with what places grant there.

        What they grant along a line is granted where it is: on the way back it ends with the line's beginning.
        """
        numbers = range(1, len(places)) if piece.move.line is not None else [-1] * (len(places) - 1)
        for granted, run in groupby(
            zip(numbers, places[1:], strict=True),
            key=lambda one: self.granted(piece, base, places[-1] if one[0] < 0 else one[1], one[0]),
        ):
            yield granted, np.stack([q for _, q in run])

    def _after_faults(self, piece: Piece, base: Base, places: Array) -> tuple[float, str]:
        """Return the least margin that a joint that runs away leaves at places (N, A) of a move but the first."""
        found = (FAULTS_M, "")
        for granted, run in self._granted_along(piece, base, places):
            tree, position = self.at(piece, base)
            full = np.repeat(position[None], len(run), axis=0)
            full[:, self.scene.arm_columns] = run
            found = min(found, self.faults(tree, granted).least(full), key=lambda one: one[0])
        return found

    @property
    def reach_m(self) -> float:
        """How far the arm reaches at most."""
        scene = self.scene
        if self._reach_m is None:
            self._reach_m = float(Chain.of(scene.tree, WORLD, scene.tool(scene.tree), joints=scene.arm_joints).reach_m)
        return self._reach_m

    # -- postures -------------------------------------------------------------------------------------------------

    def taken(self, number: int, stop: Stop, base: Base) -> tuple[Taken, ...]:
        """Return the best ways of taking a stop from a place of the base, those that lack least first."""
        key = (number, base)
        if key not in self._taken:
            self._taken[key] = self.ways_to_take(stop, base)
        return self._taken[key]

    def ways_to_take(self, stop: Stop, base: Base) -> tuple[Taken, ...]:
        """Return the same of a stop that is none of the day's."""
        found: list[Taken] = []
        for q, room in self._postures(stop, base):
            found.append(self._led(stop, base, q, room))
            if sum(one.lacking_m <= 0.0 for one in found) == ENOUGH:
                break
        found.sort(key=lambda one: (one.lacking_m, -round(one.spare_m, 2), -one.joint_rad))
        return tuple(found[:KEPT])

    def _postures(self, stop: Stop, base: Base) -> list[tuple[Array, float]]:
        """Return postures that reach a stop and keep the joints' margins, roomiest first, and their margins.

        Those of what a branch or the place of the base changes.
        """
        piece, move = stop.piece, stop.piece.move
        tree, position = self.at(piece, base)
        columns = self.scene.arm_columns
        if move.kind not in CHOSEN:
            for joint, value in (move.to_joints or {}).items():
                position[self.scene.tree.column(f"{ARM}/{joint}")] = value
            return [(position[columns], ENOUGH_M)]
        try:
            point, goal = goal_of(self.scene, Way(tree, position), move)
            chain = Chain.of(tree, WORLD, point, joints=self.scene.arm_joints, held=position)
            if float(np.linalg.norm(goal[:3, 3] - self.root(piece, base))) > chain.reach_m:
                return []
            pinned = {f"{ARM}/{joint}": value for joint, value in move.pin.items()}
            found = solutions(chain, goal, pinned=pinned or None, what="")
        except ReachError:
            return []
        space = self.space(piece, base, self.granted(piece, base, found[0]), part="branch")
        found = found[np.all((found >= space.limits[:, 0]) & (found <= space.limits[:, 1]), axis=1)]
        if not len(found):
            return []
        room = np.maximum(space.margins(standing(found), give_up_m=-GIVEN_UP_M).lower_m, -MOST_M)
        order = np.argsort(-room, kind="stable")[:LOOKED_AT]
        return [(found[k], float(room[k])) for k in order.tolist() if room[k] > room[order[0]] - GIVEN_UP_M]

    def far(self, stop: Stop, base: Base) -> float:
        """Return how far the goal of a stop is from the arm's first link, m; nan where it has none."""
        if stop.piece.move.kind not in CHOSEN:
            return float("nan")
        tree, position = self.at(stop.piece, base)
        goal = goal_of(self.scene, Way(tree, position), stop.piece.move)[1]
        return float(np.linalg.norm(goal[:3, 3] - self.root(stop.piece, base)))

    def root(self, piece: Piece, base: Base) -> Array:
        """Return where the arm's first link is (3,)."""
        tree, position = self.at(piece, base)
        return np.asarray(tree.pose_of(self.scene.arm_base, position)[:3, 3])

    def room_m(self, stop: Stop, base: Base) -> float:
        """Return the margin of the roomiest posture in which one waits before a stop; -inf where none reaches it."""
        postures = self._postures(stop, base)
        if not postures:
            return -np.inf
        alike, _ = self._alike_m(stop.piece, base, np.stack([postures[0][0]] * 2))
        return min(max(room for _, room in postures), alike)

    def rooms_to_climb(self, stop: Stop, base: Base, plate: Array) -> Iterator[tuple[str, Room]]:
        """Give the steps in which people get on and off a plate (4, 4), and their room from what is rigid with it."""
        for climb in (one for one in stop.climbs if one.way is None):
            tree, position = self.at(Piece(climb.tree, climb.position, stop.piece.move), base)
            yield climb.step, self.climbing.room_of_plate(climb, tree, position, plate)

    def _led(self, stop: Stop, base: Base, q: Array, room_m: float) -> Taken:
        """Fly the moves that are led from a posture, and judge them."""
        loaded = self.scene.loaded
        limits, first, least = self.scene.tree.joint_limits[self.scene.arm_columns], q, room_m
        joint_rad, why = float(np.minimum(q - limits[:, 0], limits[:, 1] - q).min()), ""
        if room_m < 0.0:
            space = self.space(stop.piece, base, self.granted(stop.piece, base, q), part="branch")
            why = f"where it waits: {_least(space, q[None])[1]}"
        alike = self._alike_m(stop.piece, base, np.stack([q, q])) if stop.piece.move.kind in CHOSEN else (ENOUGH_M, "")
        flown, after = [(stop.piece, np.stack([q, q]))], [q]
        for piece in stop.tail:
            try:
                places = self._places(piece, base, q)
            except ReachError as error:
                return Taken(base, first, q, UNMADE_M, -UNMADE_M, joint_rad, alike[0], f"{error}")
            flown.append((piece, places))
            joint_rad = min(joint_rad, float(np.minimum(places - limits[:, 0], limits[:, 1] - places).min()))
            alike = min(alike, self._alike_m(piece, base, places), key=lambda one: one[0])
            least, why = min((least, why), self._along(piece, base, places, "branch"), key=lambda one: one[0])
            q = places[-1]
            after.append(q)
        for climb in stop.climbs:
            tree, position = self.at(Piece(climb.tree, climb.position, stop.piece.move), base, after[climb.after])
            room = self.climbing.room_of_arm(climb, tree, position)
            if room.words and room.spare_m < least:
                least, why = room.spare_m, f"in {climb.step}: {room.words}"
            alike = min(alike, self._walked_m(climb, tree, position), key=lambda one: one[0])
        lacking = min(max(0.0, -least), MOST_M) + max(0.0, loaded.rules.margins.joint_position - joint_rad)
        for piece, places in flown if lacking <= 0.0 else ():
            left, words = self._after_faults(piece, base, places)
            if left < 0.0 and left < -lacking:
                lacking, why = min(-left, MOST_M), words
        end = q if stop.known else None
        why = why if lacking > 0.0 else alike[1] if alike[0] < 0.0 else ""
        return Taken(base, first, end, lacking, least, joint_rad, alike[0], why)

    def _walked_m(self, climb: Climb, tree: Tree, position: Array) -> tuple[float, str]:
        """Return the room of who walks past the end of the arm, alike in every posture, looked at once, and of what."""
        if climb.way is None:
            return ENOUGH_M, ""
        if id(climb) not in self._known_walks:
            room = self.climbing.room_of_arm(climb, tree, position, rigid=True)
            words = f"in {climb.step}: {room.words}"
            self._known_walks[id(climb)] = (climb, room.spare_m if room.words else ENOUGH_M, words)
        return self._known_walks[id(climb)][1:]

    def _places(self, piece: Piece, base: Base, q: Array) -> Array:
        """Return places of the arm (N, A) along a led move, near enough to one another for straight pieces."""
        move = piece.move
        tree, position = self.at(piece, base, q)
        columns = self.scene.arm_columns
        if move.line is None:
            end = position.copy()
            points: list[Array] = [q]
            for settings in (*move.via, move.to_joints or move.one_joint or {}):
                for joint, value in settings.items():
                    end[self.scene.tree.column(f"{ARM}/{joint}")] = value
                points.append(end[columns])
            return _cut(points)
        point, goal = goal_of(self.scene, Way(tree, position), move)
        here = tree.pose_of(point, position)
        apart = float(np.linalg.norm(goal[:3, 3] - here[:3, 3]))
        if apart < 1e-9 and np.linalg.norm(goal - here) < 1e-9:
            return q[None]
        chain = Chain.of(tree, WORLD, point, joints=self.scene.arm_joints, held=position)
        pinned = tuple(f"{ARM}/{joint}" for joint in move.pin)
        path = straight_line(chain, q, goal, pinned=pinned, free=move.line.free or "")
        count = 1 + max(1, int(np.ceil(apart / APART_M)))
        times = np.linspace(path.curve.start_s, path.curve.end_s, count)
        return np.asarray(path.curve.at(times))


def _least(space: ArmSpace, places: Array) -> tuple[float, str]:
    """Return the least margin of standing at places (N, A), and the two bodies, or what is lost."""
    if not len(space.pairs):
        return ENOUGH_M, ""
    margins = space.margins(standing(places), give_up_m=-GIVEN_UP_M)
    row = int(np.argmin(margins.lower_m))
    pair = int(margins.pair[row])
    words = " and ".join(space.pair_names(pair)[:2]) if pair >= 0 else "a direction of motion or every rail is lost"
    return max(float(margins.lower_m[row]), -MOST_M), words


def _cut(points: Sequence[Array]) -> Array:
    """Return places along straight pieces between points, no joint turning farther than APART_RAD between two."""
    found = [points[0]]
    for here, there in pairwise(points):
        count = max(1, int(np.ceil(float(np.abs(there - here).max()) / APART_RAD)))
        found += [here + (there - here) * (k + 1) / count for k in range(count)]
    return np.stack(found)
