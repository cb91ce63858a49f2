"""Postures in which a stop of the day may be taken from a place of the base, and what each of them lacks."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import groupby, pairwise
from typing import Literal

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import arm_asked
from armcarry.asked.zones import Here
from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.motion.line import straight_line
from armcarry.planning.space import ENOUGH_M, ArmSpace
from armcarry.planning.stops import CHOSEN, Piece, Stop
from armcarry.planning.trial import Base
from armcarry.planning.ways import standing
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene, hang
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.moves import goal_of
from armcarry.timeline.planned import Way

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
#: postures nearer than this to one another are one, rad or m
SAME = 0.05


Part = Literal["all", "branch", "alike"]


@dataclass(frozen=True, eq=False)
class Taken:
    """A stop taken in one posture from one place of the base.

    Attributes:
        base: the place.
        q: (A,) the posture; None for one that nothing is known of.
        end: (A,) posture behind the led moves; None where that is not known.
        lacking_m: by how much the requirements and the budget are missed, worst piece, 0 where they are not.
        spare_m: least margin, at most ``ENOUGH_M``.
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


class Taking:
    """Takes stops from places of the base, with one set of settings of the restraint.

    Args:
        scene: of the long form.
        settings: of the restraint, rad.
        like: with other settings of the same scene; what is asked of whom is not worked out again.
    """

    def __init__(self, scene: Scene, settings: Mapping[str, float], like: Taking | None = None) -> None:
        self.scene, self.settings = scene, settings
        self._trees: dict[tuple[int, str], tuple[Tree, Tree]] = {}
        self._asked: dict[int, tuple[Tree, list[tuple[bytes, tuple[np.ndarray, Array]]]]] = {}
        self._grants: dict[tuple[int, int], tuple[Piece, tuple[Relaxed, ...]]] = {}
        self._spaces: dict[tuple[object, ...], ArmSpace] = {}
        self._first: dict[tuple[object, ...], ArmSpace] = {}
        self._kinds: dict[int, tuple[Tree, np.ndarray, np.ndarray]] = {}
        self._known_alike: dict[int, tuple[Piece, float, str]] = {}
        self._reach_m: float | None = None
        if like is not None:  # boots, hands and load stand at a place alike with all settings
            self._trees, self._asked, self._grants, self._kinds = like._trees, like._asked, like._grants, like._kinds
            self._first = like._first
        self._taken: dict[tuple[int, Base], tuple[Taken, ...]] = {}

    # -- where things are -----------------------------------------------------------------------------------------

    def at(self, piece: Piece, base: Base, q: Array | None = None) -> tuple[Tree, Array]:
        """Return tree and joint vector of a piece with the base at a place, and the arm in a posture."""
        scene, mount = self.scene, self.scene.loaded.platform.document.mounts[base.mount]
        position = piece.position.copy()
        if mount.joint is not None:
            position[scene.tree.column(f"{PLATFORM}/{mount.joint}")] = base.station_m
        for name, angle in self.settings.items():
            joint = scene.loaded.restraints[RESTRAINT].document.settings[name].joint
            position[scene.tree.column(f"{RESTRAINT}/{joint}")] = angle
        if q is not None:
            position[scene.arm_columns] = q
        tree = piece.tree
        if base.mount != scene.loaded.scenario.base.mount:
            key = (id(tree), base.mount)
            if key not in self._trees:
                self._trees[key] = (tree, hang(scene, tree, ARM, f"{PLATFORM}/{mount.frame}", position))
            tree = self._trees[key][1]
        return tree, position

    def space(self, piece: Piece, base: Base, granted: tuple[Relaxed, ...] = (), *, part: Part = "all") -> ArmSpace:
        """Return the arm's space of a piece.

        Args:
            piece, base: where everything is.
            granted: by places.
            part: all pairs, those that a branch or the place of the base changes, or those that they do not: what is
                rigid with the tool comes to what stands alike on every branch.
        """
        tree, position = self.at(piece, base)
        still = position.copy()
        still[self.scene.arm_columns] = 0.0
        key = (id(tree), base, still.tobytes(), granted, part)
        if key not in self._spaces:
            self._spaces[key] = self._like(tree, granted, part, position).moved(position)
        return self._spaces[key]

    def _like(self, tree: Tree, granted: tuple[Relaxed, ...], part: Part, position: Array) -> ArmSpace:
        """Return the space of what is asked in a tree, with other joints wherever they were when it was made."""
        key = (id(tree), repr(granted), part)
        if key not in self._first:
            pairs, required = self._what_is_asked(tree, granted)
            if part != "all":
                alike = self._alike(tree, pairs)
                rows = alike if part == "alike" else ~alike
                pairs, required = pairs[rows], required[rows]
            self._first[key] = ArmSpace(self.scene, tree, position, budget=True, asked=(pairs, required))
        return self._first[key]

    def _alike(self, tree: Tree, pairs: np.ndarray) -> np.ndarray:
        """Tell which pairs (P,) are of a body rigid with the tool and one that neither arm nor base moves."""
        if id(tree) not in self._kinds:
            count, joint = self.scene.arm_joints_behind(tree), self._slide()
            stands = count == 0
            if joint is not None:
                column = self.scene.tree.column(joint)
                stands &= [column not in tree.columns[list(tree.ancestry(body.link))] for body in tree.bodies]
            self._kinds[id(tree)] = (tree, stands, count == len(self.scene.arm_joints))
        _, stands, rigid = self._kinds[id(tree)]
        a, b = pairs.T
        return np.asarray((stands[a] & rigid[b]) | (stands[b] & rigid[a]))

    def _slide(self) -> str | None:
        mount = self.scene.loaded.platform.document.mounts[self.scene.loaded.scenario.base.mount]
        return None if mount.joint is None else f"{PLATFORM}/{mount.joint}"

    def _alike_m(self, piece: Piece, base: Base, places: Array) -> tuple[float, str]:
        """Return the margin along a piece of what is alike on every branch, looked at once, and what is tightest."""
        if id(piece) not in self._known_alike:
            self._known_alike[id(piece)] = (piece, *self._along(piece, base, places, "alike"))
        return self._known_alike[id(piece)][1:]

    def _along(self, piece: Piece, base: Base, places: Array, part: Part) -> tuple[float, str]:
        """Return the least margin of standing at places (N, A) of a led move but the first, and what is tightest.

        What places grant along a line is granted where it is: on the way back it ends with the line's beginning.
        """
        numbers = range(1, len(places)) if piece.move.line is not None else [-1] * (len(places) - 1)
        found = (ENOUGH_M, "")
        for granted, run in groupby(
            zip(numbers, places[1:], strict=True),
            key=lambda one: self._granted(piece, base, places[-1] if one[0] < 0 else one[1], one[0]),
        ):
            space = self.space(piece, base, granted, part=part)
            found = min(found, _least(space, np.stack([q for _, q in run])), key=lambda one: one[0])
        return found

    def _granted(self, piece: Piece, base: Base, q: Array, place: int = -1) -> tuple[Relaxed, ...]:
        """Return what places grant at a place of a piece, its end by default: alike on every branch, looked up once."""
        if (id(piece), place) not in self._grants:
            tree, position = self.at(piece, base, q)
            self._grants[id(piece), place] = (piece, Here(self.scene, tree).at(position, still=False))
        return self._grants[id(piece), place][1]

    def _what_is_asked(self, tree: Tree, granted: tuple[Relaxed, ...]) -> tuple[np.ndarray, Array]:
        _, known = self._asked.setdefault(id(tree), (tree, []))
        key = repr(granted).encode()
        for said, asked in known:
            if said == key:
                return asked
        known.append((key, arm_asked(self.scene, tree, granted)))
        return known[-1][1]

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
            found: list[Taken] = []
            for q, room in self._postures(stop, base):
                found.append(self._led(stop, base, q, room))
                if sum(one.lacking_m <= 0.0 for one in found) == ENOUGH:
                    break
            found.sort(key=lambda one: (one.lacking_m, -round(one.spare_m, 2), -one.joint_rad))
            self._taken[key] = tuple(found[:KEPT])
        return self._taken[key]

    def _postures(self, stop: Stop, base: Base) -> list[tuple[Array, float]]:
        """Return postures that reach a stop and keep the joints' margins, roomiest first, and their margins."""
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
        space = self.space(piece, base, self._granted(piece, base, found[0]))
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
        return max((room for _, room in self._postures(stop, base)), default=-np.inf)

    def _led(self, stop: Stop, base: Base, q: Array, room_m: float) -> Taken:
        """Fly the moves that are led from a posture, and judge them."""
        limits, first, least = self.scene.tree.joint_limits[self.scene.arm_columns], q, room_m
        joint_rad, why, alike_m = float(np.minimum(q - limits[:, 0], limits[:, 1] - q).min()), "", ENOUGH_M
        if room_m < 0.0:
            space = self.space(stop.piece, base, self._granted(stop.piece, base, q))
            why = f"where it waits: {_least(space, q[None])[1]}"
        for piece in stop.tail:
            try:
                places = self._places(piece, base, q)
            except ReachError as error:
                return Taken(base, first, q, UNMADE_M, -UNMADE_M, joint_rad, alike_m, f"{error}")
            joint_rad = min(joint_rad, float(np.minimum(places - limits[:, 0], limits[:, 1] - places).min()))
            same = self._alike_m(piece, base, places)
            alike_m = min(alike_m, same[0])
            for margin, tightest in (self._along(piece, base, places, "branch"), same):
                if margin < least:
                    least, why = margin, tightest
            q = places[-1]
        short = self.scene.loaded.rules.margins.joint_position - joint_rad
        lacking = min(max(0.0, -least), MOST_M) + max(0.0, short)
        end = q if stop.known else None
        return Taken(base, first, end, lacking, least, joint_rad, alike_m, why if lacking > 0.0 else "")

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
