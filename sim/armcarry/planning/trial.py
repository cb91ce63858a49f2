"""The arm's base at one place, and what it reaches from there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.asked.requirement import arm_asked
from armcarry.clearance.distance import distances
from armcarry.errors import ReachError
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.inverse import solutions
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.scene.build import ARM, PLATFORM, Scene, hang
from armcarry.scene.tree import WORLD, Tree

#: clearance beyond what is required is told up to this, m
ENOUGH_M = 0.5


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
        blocked_by: the kind of it: reach, joints, singular, clearance or empty.
    """

    good: bool
    clearance_m: float
    joint_rad: float
    why: str
    blocked_by: str


class Trial:
    """The scene with the arm's base at one place."""

    def __init__(self, scene: Scene, base: Base) -> None:
        self.scene = scene
        platform = scene.loaded.platform.document
        mount = platform.mounts[base.mount]
        self.position = scene.position.copy()
        if mount.joint is not None:
            self.position[scene.tree.column(f"{PLATFORM}/{mount.joint}")] = base.station_m
        tree = scene.tree
        if base.mount != scene.loaded.scenario.base.mount:
            tree = hang(scene, tree, ARM, f"{PLATFORM}/{mount.frame}", self.position)
        self.tree: Tree = tree
        self.tool = scene.tool(tree)
        self.chain = Chain.of(tree, WORLD, self.tool, joints=scene.arm_joints, held=self.position)
        self._pairs: tuple[np.ndarray, Array] | None = None

    def reach(self, worksite: str) -> Reached:
        """Take a worksite and judge the best way of doing so."""
        margins = self.scene.loaded.rules.margins
        stand = self.scene.loaded.platform.document.worksites[worksite].stand
        goal = self.tree.pose_of(f"{PLATFORM}/{stand}", self.position)
        short = float(np.linalg.norm(goal[:3, 3] - self._root())) - self.chain.reach_m
        if short > 0:
            return Reached(False, -np.inf, np.nan, f"out of reach by {short:.1f} m at least", "reach")
        try:
            found = solutions(self.chain, goal, what=worksite)
        except ReachError as error:
            stopped = ", ".join(name.split("/")[-1] for name in error.stopped_by)
            return Reached(False, -np.inf, np.nan, f"out of reach{': ' + stopped if stopped else ''}", "reach")
        joints = self.chain.margins(found).min(axis=1)
        length = self.scene.loaded.arm.document.characteristic_length
        singular = smallest_singular_value(self.chain, found, length_m=length)
        kept = joints >= margins.joint_position
        if not kept.any():
            return Reached(False, -np.inf, float(joints.max()), "joints at the ends of their travel", "joints")
        kept &= singular >= margins.smallest_singular_value
        if not kept.any():
            return Reached(False, -np.inf, float(joints.max()), "the arm loses a direction of motion there", "singular")
        tried = [(*self._clearance(q), float(margin)) for q, margin in zip(found[kept], joints[kept], strict=True)]
        clearance, pair, margin = max(tried, key=lambda one: (one[0], one[2]))
        if clearance < 0:
            return Reached(False, clearance, margin, f"too close: {pair}", "clearance")
        return Reached(True, clearance, margin, "", "")

    def _root(self) -> Array:
        first = int(np.flatnonzero(self.tree.columns == self.tree.column(self.scene.arm_joints[0]))[0])
        return np.asarray(forward(self.tree, self.position)[first, :3, 3])

    def _clearance(self, q: Array) -> tuple[float, str]:
        """Return the least clearance beyond what is required, at most ENOUGH_M, and the pair."""
        tree, bodies = self.tree, self.tree.bodies
        pairs, required = self._asked()
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

    def _asked(self) -> tuple[np.ndarray, Array]:
        """Return the pairs with a part of the arm that bends, and what is required of them."""
        if self._pairs is None:
            pairs, required = arm_asked(self.scene, self.tree)
            # bodies before the last joint: what is rigid with the tool stands there alike from every base
            count = self.scene.arm_joints_behind(self.tree)
            bends = (count > 0) & (count < len(self.scene.arm_joints))
            asked = bends[pairs].any(axis=1)
            self._pairs = pairs[asked], required[asked]
        return self._pairs
