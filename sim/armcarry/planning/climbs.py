"""People who get on and off the arm where it stands: how much room they have on the way, and against what."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from armcarry.asked.requirement import Requirement
from armcarry.asked.zones import Here
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.build import ARM, Scene
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.on_rail import climbing
from armcarry.timeline.translation import joint_positions
from armcarry.timeline.walkthrough import at_work, free_columns, step_over

#: instants of getting on or off that are looked at
LOOKED_AT = 9
#: instants of a way along handrails that are looked at, most, and how far apart they are at most, s
WALKED, WALKED_S = 200, 1.0
#: room beyond what is asked is told up to this, m
ENOUGH_M = 0.15
#: where there is less room than this no less is looked for, m
GIVEN_UP_M = -0.05
#: bodies farther apart than this are not looked at, m
LARGEST_M = 1.3


@dataclass(frozen=True, eq=False)
class Climb:
    """Somebody gets on or off the arm, and where everything else is then.

    Attributes:
        step: name.
        who: crewmember.
        off: whether they get off; else on.
        place: T_world_boots (4, 4) of the place from or to which.
        tree, position: before it, with the arm wherever it happened to be.
        way: of the free joints along handrails, for who comes to get on, or goes on once off; None for the step itself.
        after: how many of the moves that are led from the arm's stop are flown by then.
    """

    step: str
    who: str
    off: bool
    place: Array
    tree: Tree
    position: Array
    way: Motion | None = None
    after: int = 0


@dataclass(frozen=True, eq=False)
class Room:
    """How much room there is beyond what is asked, at most ENOUGH_M, and of which two bodies, empty where of none."""

    spare_m: float = ENOUGH_M
    words: str = ""


class Climbing:
    """Asks how much room people have who get on and off.

    Args:
        scene: what stands where.
    """

    def __init__(self, scene: Scene) -> None:
        self.scene = scene

    def room_of_arm(self, climb: Climb, tree: Tree, position: Array, *, rigid: bool = False) -> Room:
        """Return the room on the whole way, with the arm in a posture, against what that posture moves.

        That is the arm but for what is rigid with the plate, which stands at a plate alike in every posture.

        Args:
            climb: who does what.
            tree, position: what hangs from what, and the joint vector (n,), before it.
            rigid: against that instead.
        """
        if climb.way is not None:
            places = self.walked(position, climb.who, climb.way)
        else:
            places = self.way(position, climb.who, self.plate(tree, position), climb.place, off=climb.off)
        last = self.scene.arm_joints_behind(tree) == len(self.scene.arm_joints)
        return self.along(tree, climb.who, places, tree.bodies_of((ARM,)) & (last == rigid))

    def room_of_plate(self, climb: Climb, tree: Tree, position: Array, plate: Array) -> Room:
        """Return the room against what is rigid with the plate, which would stand at ``plate`` (4, 4).

        It is alike in every posture of the arm that takes it there.
        """
        way = self._way_of_plate(climb, tree, position, plate)
        rigid = self.scene.arm_joints_behind(tree) == len(self.scene.arm_joints)
        return self.along(tree, climb.who, way, rigid)

    def walked(self, position: Array, who: str, way: Motion) -> Array:
        """Return joint vectors (N, n) of somebody along handrails."""
        count = max(2, min(WALKED, int(way.duration_s / WALKED_S) + 1))
        found = np.repeat(self.hanging(position, who, poses.identity())[None], count, axis=0)
        found[:, free_columns(self.scene, who)] = way.at(np.linspace(way.start_s, way.end_s, count))
        return found

    def _way_of_plate(self, climb: Climb, tree: Tree, position: Array, plate: Array) -> Array:
        """Return the way on or off as if the plate, wherever the arm has it, stood at ``plate`` (4, 4)."""
        here = self.plate(tree, position)
        return self.way(position, climb.who, here, here @ poses.inverse(plate) @ climb.place, off=climb.off)

    def plate(self, tree: Tree, position: Array) -> Array:
        """Return where the plate on the arm is (4, 4)."""
        return tree.pose_of(self.scene.tool(tree), position)

    def hanging(self, position: Array, who: str, place: Array) -> Array:
        """Return a joint vector (n,) with somebody on a handrail, boots at T_world_boots (4, 4)."""
        return self._at(position, who, place, climbing(self.scene, who))

    def standing(self, position: Array, who: str, place: Array) -> Array:
        """Return a joint vector (n,) with somebody at work, boots at T_world_boots (4, 4)."""
        return self._at(position, who, place, at_work(self.scene, who))

    def _at(self, position: Array, who: str, place: Array, posture: Mapping[str, float]) -> Array:
        found, joints = position.copy(), self.scene.tree.joints
        for k, name in enumerate(joints):
            if name.startswith(f"{who}/"):
                found[k] = posture.get(name.split("/", 1)[1], 0.0)
        found[free_columns(self.scene, who)] = joint_positions(place[None])[0]
        return found

    def way(self, position: Array, who: str, plate: Array, place: Array, *, off: bool) -> Array:
        """Return joint vectors (N, n) on the way onto a plate from a place, or off it; none where they are one.

        Both are poses of the boots (4, 4).

        On handrails the posture is that for climbing, on the plate the one for work.
        """
        scene, free = self.scene, free_columns(self.scene, who)
        motion = step_over(scene, who, np.stack([plate, place] if off else [place, plate]), 0 if off else 1)
        if motion is None:
            return np.empty((0, len(position)))
        found = np.repeat(position[None], LOOKED_AT + 1, axis=0)
        times = np.linspace(motion.start_s, motion.end_s, LOOKED_AT)
        found[:, free] = motion.at(np.append(times, motion.end_s))
        postures = [climbing(scene, who), at_work(scene, who)]
        for k, name in enumerate(scene.tree.joints):
            if name.startswith(f"{who}/") and k not in free:
                first, last = (posture.get(name.split("/", 1)[1], 0.0) for posture in postures[:: -1 if off else 1])
                found[:-1, k], found[-1, k] = first, last
        return found

    def along(self, tree: Tree, who: str, places: Array, others: np.ndarray | None = None) -> Room:
        """Return the least room of somebody at joint vectors (N, n), the arm at rest.

        Args:
            tree: what hangs from what.
            who: crewmember, wherever they hang from in it.
            places: on the way.
            others: which bodies (B,) they are measured against; all by default.
        """
        free = tree.attach(who, WORLD, poses.identity())
        mine = free.bodies_of((who,))
        return self.least(free, places, mine, ~mine if others is None else others & ~mine)

    def least(self, tree: Tree, places: Array, mine: np.ndarray, others: np.ndarray) -> Room:
        """Return the least room of some bodies (B,) from others at joint vectors (N, n), the arm at rest."""
        best, rows = Room(), np.flatnonzero(mine | others)
        a, b = (grid.ravel() for grid in np.meshgrid(np.flatnonzero(mine[rows]), np.flatnonzero(others[rows]),
                                                     indexing="ij"))  # fmt: skip
        if not len(places) or not len(a):
            return best
        shapes, seats = [tree.bodies[row].shape for row in rows], seats_of(tree, places, rows)
        centres, radius = seats[:, :, :3, 3], np.array([bounding_radius_m(shape) for shape in shapes])
        ball = np.linalg.norm(centres[:, a] - centres[:, b], axis=2).min(axis=0) - radius[a] - radius[b]
        near = np.stack([np.minimum(a, b), np.maximum(a, b)], axis=1)[ball < LARGEST_M]
        if not len(near):
            return best
        pairs = rows[near]
        asked, here = Requirement(self.scene, tree, pairs), Here(self.scene, tree)
        found = np.maximum(distances(shapes, seats, near).lower_m, -ENOUGH_M)
        ruled = asked.at(-np.inf).kept_m  # what places grant asks for less, never for more
        bound = (found - np.where(np.isnan(ruled), -np.inf, ruled)).min(axis=1)
        for row in np.argsort(bound, kind="stable").tolist():
            place, apart = places[row], found[row]
            if best.spare_m < GIVEN_UP_M or bound[row] >= best.spare_m:
                break
            kept = asked.under(here.at(place)).at(-np.inf).kept_m
            spare = np.where(np.isnan(kept), np.inf, apart - np.nan_to_num(kept))
            k = int(np.argmin(spare))
            if spare[k] < best.spare_m:
                first, second = (tree.bodies[body].name for body in pairs[k])
                best = Room(float(spare[k]), f"{first} and {second}")
        return best


def seats_of(tree: Tree, places: Array, rows: np.ndarray | None = None) -> Array:
    """Return the poses (N, B, 4, 4) of bodies at joint vectors (N, n), all of them by default."""
    bodies = [tree.bodies[row] for row in (range(len(tree.bodies)) if rows is None else rows.tolist())]
    links = {link: k for k, link in enumerate(dict.fromkeys(body.link for body in bodies))}
    at = forward(tree, places, list(links))[:, [links[body.link] for body in bodies]]
    return np.asarray(at @ np.stack([body.pose for body in bodies]))
