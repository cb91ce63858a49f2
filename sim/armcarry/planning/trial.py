"""The arm's base at one place, and what it reaches from there."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from armcarry.asked.requirement import arm_asked
from armcarry.asked.rooms import arm_rooms
from armcarry.clearance.distance import distances
from armcarry.errors import ReachError
from armcarry.files.documents.platform import Worksite
from armcarry.files.spell import way_of
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.inverse import solutions
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.motion.line import straight_line
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene, hang
from armcarry.scene.tree import WORLD, Tree

#: clearance beyond what is required is told up to this, m
ENOUGH_M = 0.5
#: ways of taking a worksite whose way in is looked at, those with most room first
WAYS_IN = 6
#: places between two points of a way in at which clearance is measured, and how far apart they are at most, m
BETWEEN, APART_M = 3, 0.5

Point = Sequence[float]


@dataclass(frozen=True)
class Base:
    """A place of the arm's base: a mount, and the station along its rail (nan on a fixed mount)."""

    mount: str
    station_m: float

    @property
    def on_rail(self) -> float | None:
        """The station, None on a fixed mount."""
        return None if np.isnan(self.station_m) else self.station_m

    @property
    def along_m(self) -> float:
        """How far along a rail it is, 0 on a fixed mount."""
        return 0.0 if np.isnan(self.station_m) else self.station_m

    @property
    def title(self) -> str:
        """For people."""
        return self.mount if np.isnan(self.station_m) else f"{self.mount} {self.station_m:.2f} m"


@dataclass(frozen=True)
class Reached:
    """A worksite taken from one base.

    Attributes:
        good: within the rules' margins of joints, singular value and clearance.
        clearance_m: beyond what is required, with the best way of taking it; at most ENOUGH_M; -inf when touching.
        joint_rad: least distance of a joint from the end of its travel.
        why: what stands against it, empty when good.
        blocked_by: the kind of it: reach, joints, singular, clearance, way in or empty.
    """

    good: bool
    clearance_m: float
    joint_rad: float
    why: str
    blocked_by: str


class Trial:
    """The scene with the arm's base at one place.

    Args:
        scene: where everything else starts.
        base: the place.
        settings: of the restraint, rad; those left out are as the scene has them.
        like: another trial of this scene; what is asked of the same pairs is not worked out again.
    """

    def __init__(
        self, scene: Scene, base: Base, settings: Mapping[str, float] | None = None, like: Trial | None = None
    ) -> None:
        self.scene = scene
        platform = scene.loaded.platform.document
        mount = platform.mounts[base.mount]
        self.position = scene.position.copy()
        if mount.joint is not None:
            self.position[scene.tree.column(f"{PLATFORM}/{mount.joint}")] = base.station_m
        for name, angle in (settings or {}).items():
            joint = scene.loaded.restraints[RESTRAINT].document.settings[name].joint
            self.position[scene.tree.column(f"{RESTRAINT}/{joint}")] = angle
        tree = scene.tree
        if base.mount != scene.loaded.scenario.base.mount:
            tree = hang(scene, tree, ARM, f"{PLATFORM}/{mount.frame}", self.position)
        self.tree: Tree = tree
        self.tool = scene.tool(tree)
        self.chain = Chain.of(tree, WORLD, self.tool, joints=scene.arm_joints, held=self.position)
        self._found: tuple[Tree, np.ndarray, Array] | None = None
        if like is not None and like.tree is tree:
            self._found = like._asked()

    def reach(self, worksite: str, ways: Sequence[Sequence[Point]] | None = None) -> Reached:
        """Take a worksite and judge the best way of doing so, from where one waits clear of it all the way in.

        Args:
            worksite: its name.
            ways: ways in, points of the plate in the stand's frame, all of which must be flown; left out, those that
                the worksite states, with hands empty and full.
        """
        margins = self.scene.loaded.rules.margins
        site = self.scene.loaded.platform.document.worksites[worksite]
        ways = ways or stated_ways(site)
        stand = self.tree.pose_of(f"{PLATFORM}/{site.stand}", self.position)
        goal = stand @ poses.translation(ways[0][-1])
        short = float(np.linalg.norm(goal[:3, 3] - self._root())) - self.chain.reach_m
        if short > 0:
            return Reached(False, -np.inf, np.nan, f"out of reach by {short:.1f} m at least", "reach")
        try:
            found = solutions(self.chain, goal, what=worksite)
        except ReachError as error:
            stopped = ", ".join(name.split("/")[-1] for name in error.stopped_by)
            why = f"out of reach{': ' + stopped if stopped else ''}{'' if error.complete else ' on every way found'}"
            return Reached(False, -np.inf, np.nan, why, "reach")
        joints = self.chain.margins(found).min(axis=1)
        length = self.scene.loaded.arm.document.characteristic_length
        singular = smallest_singular_value(self.chain, found, length_m=length)
        kept = joints >= margins.joint_position
        if not kept.any():
            return Reached(False, -np.inf, float(joints.max()), "joints at the ends of their travel", "joints")
        kept &= singular >= margins.smallest_singular_value
        if not kept.any():
            return Reached(False, -np.inf, float(joints.max()), "the arm loses a direction of motion there", "singular")
        tried = [(*self._clearance(q), float(margin), q) for q, margin in zip(found[kept], joints[kept], strict=True)]
        tried.sort(key=lambda one: (-one[0], -one[2]))
        clearance, pair, margin, _ = tried[0]
        if clearance < 0:
            return Reached(False, clearance, margin, f"too close: {pair}", "clearance")
        return self._with_ways(stand, ways, [one for one in tried if one[0] >= 0][:WAYS_IN])

    def _with_ways(
        self, stand: Array, ways: Sequence[Sequence[Point]], tried: Sequence[tuple[float, str, float, Array]]
    ) -> Reached:
        """Return the best of the ways of taking a stand from which every way in can be flown."""
        good: list[Reached] = []
        against: list[Reached] = []
        for clearance, _, margin, q in tried:
            whole = Reached(True, clearance, margin, "", "")
            for way in reversed(ways):
                part = self._way_back(stand, q, way)
                if not part.good:
                    against.append(part)
                    whole = part
                    break
                whole = Reached(
                    True, min(whole.clearance_m, part.clearance_m), min(whole.joint_rad, part.joint_rad), "", ""
                )
            if whole.good:
                good.append(whole)
        if good:
            return max(good, key=lambda one: (one.clearance_m, one.joint_rad))
        return max(against, key=lambda one: one.clearance_m)

    def _way_back(self, stand: Array, q: Array, way: Sequence[Point]) -> Reached:
        """Fly a way in backwards from joint positions at its end, and judge it."""
        margins = self.scene.loaded.rules.margins
        goals = [stand @ poses.translation(point) for point in reversed(way)]
        length_m = self.scene.loaded.arm.document.characteristic_length
        clearance, joints = ENOUGH_M, np.inf
        for here, goal in pairwise([self.chain.forward(q), *goals]):
            if np.linalg.norm(here[:3, 3] - goal[:3, 3]) < 1e-9:
                continue
            try:
                path = straight_line(self.chain, q, goal)
            except ReachError as error:
                stopped = ", ".join(name.split("/")[-1] for name in error.stopped_by)
                why = f"on the way in: out of reach{': ' + stopped if stopped else ''}"
                return Reached(False, -np.inf, np.nan, why, "way in")
            joints = min(joints, *(float(self.chain.margins(end[None]).min()) for end in path.curve.extremes()))
            if joints < margins.joint_position:
                return Reached(False, -np.inf, joints, "on the way in: joints at the ends of their travel", "way in")
            count = max(2, min(BETWEEN, int(np.linalg.norm(here[:3, 3] - goal[:3, 3]) / APART_M) + 1) + 1)
            places = path.curve.at(np.linspace(path.curve.start_s, path.curve.end_s, count)[1:])
            if smallest_singular_value(self.chain, places, length_m=length_m).min() < margins.smallest_singular_value:
                return Reached(False, -np.inf, joints, "on the way in: the arm loses a direction of motion", "way in")
            for place in places:
                spare, pair = self._clearance(place)
                if spare < 0:
                    return Reached(False, spare, joints, f"on the way in: too close: {pair}", "way in")
                clearance = min(clearance, spare)
            q = path.end
        return Reached(True, clearance, joints, "", "")

    def _root(self) -> Array:
        first = int(np.flatnonzero(self.tree.columns == self.tree.column(self.scene.arm_joints[0]))[0])
        return np.asarray(forward(self.tree, self.position)[first, :3, 3])

    def _clearance(self, q: Array) -> tuple[float, str]:
        """Return the least clearance beyond what is required, at most ENOUGH_M, and the pair."""
        tree, pairs, required = self._asked()
        bodies = tree.bodies
        position = self.position.copy()
        position[self.scene.arm_columns] = q
        links = list(dict.fromkeys(body.link for body in bodies))
        poses = forward(tree, position, links)
        seats = np.stack([poses[links.index(body.link)] @ body.pose for body in bodies])
        radius = np.array([bounding_radius_m(body.shape) for body in bodies])
        a, b = pairs.T
        ball = np.linalg.norm(seats[a, :3, 3] - seats[b, :3, 3], axis=1) - radius[a] - radius[b] - required
        near = np.flatnonzero(ball < ENOUGH_M)
        if not len(near):
            return ENOUGH_M, ""
        found = distances([body.shape for body in bodies], seats[None], pairs[near]).lower_m[0] - required[near]
        k = int(np.argmin(found))
        name = " and ".join(bodies[row].name for row in pairs[near[k]])
        return min(float(found[k]), ENOUGH_M), name

    def _asked(self) -> tuple[Tree, np.ndarray, Array]:
        """Return the tree with rooms, the pairs with a part of the arm that bends, and what is required of them."""
        if self._found is None:
            found, rooms = arm_asked(self.scene, self.tree), arm_rooms(self.scene, self.tree)
            pairs = np.concatenate([found.pairs, rooms.pairs])
            required = np.concatenate([found.required_m, rooms.required_m])
            # bodies before the last joint: what is rigid with the tool stands there alike from every base
            count = self.scene.arm_joints_behind(rooms.tree)
            bends = (count > 0) & (count < len(self.scene.arm_joints))
            asked = bends[pairs].any(axis=1)
            self._found = rooms.tree, pairs[asked], required[asked]
        return self._found


def stated_ways(site: Worksite, shift: Point = (0.0, 0.0, 0.0)) -> list[list[tuple[float, ...]]]:
    """Return the ways in that a worksite states: with hands empty, and with hands full where that is another."""
    ways = [way_of(site, False)] + ([site.way_in_loaded] if site.way_in_loaded else [])
    shifted = [[tuple(a + b for a, b in zip(point, shift, strict=True)) for point in way] for way in ways]
    return shifted[:1] if shifted[0] == shifted[-1] else shifted
