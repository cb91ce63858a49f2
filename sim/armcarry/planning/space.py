"""The arm's joint space in one tree: how much proven margin short pieces of a way keep, many at once."""

from __future__ import annotations

from copy import copy

import numpy as np

from armcarry.asked.requirement import RULE, Asked, arm_asked
from armcarry.asked.rooms import arm_rooms
from armcarry.checks.budget import root_sum_square_m, worst_case_m
from armcarry.clearance import Prover
from armcarry.clearance.distance import distances
from armcarry.clearance.many import Arcs, Lists, Margins, least_margins
from armcarry.clearance.spheres import Spheres
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.jacobian import pose_and_jacobian, smallest_singular_value
from armcarry.motion.timing import BEND_SHARE
from armcarry.planning.climbs import seats_of
from armcarry.planning.refuge import Refuge
from armcarry.planning.ways import WANTED_M, standing
from armcarry.scene.build import Scene
from armcarry.scene.limits import joint_accelerations, joint_rates
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.widen import widened

#: no pair is looked at for more margin than a route wants, m
ENOUGH_M = WANTED_M
#: bodies with at most this many joints of the arm between them are as near as the arm was built
FIXED_JOINTS = 2
#: among bodies that the arm moves, this much to spare is enough: no uncertainty but that of its own joints, m
OWN_ENOUGH_M = 0.05
#: stands for a pair where the arm loses a direction of motion
SINGULAR = -2
#: and where its rider would be stranded
STRANDED = -3
#: the smallest singular value is taken to change no more than this for all that the joints turn or slide between two
#: places of an arc, 1/rad or 1/m; where that is not enough, so many places are looked at
LOSES, CLOSELY = 0.75, 17
#: how exactly a margin is known, m
TOLERANCE_M = 0.01


class ArmSpace:
    """Joint space of the arm with everything else at rest.

    The margin is the distance beyond what the rules ask, of all that the arm moves from all that it does not, and
    beyond what rooms of the platform ask of it.
    Pairs that only the arm's own posture sets (arm, rider and load among themselves, the arm's foot and what it
    stands on) must keep what is asked of them; once that is so with OWN_ENOUGH_M to spare they do not lower
    the margin, because no way of flying could make it larger; with less to spare they lower it in proportion.

    Args:
        scene: rules, classes and the arm.
        tree: what hangs from what.
        position: where all other joints stand (n,).
        budget: ask for what the rules' budget of uncertainty takes as well.
        asked: what is asked of which pairs there, where that is known; what the rules say by default.

    Attributes:
        limits: (A, 2) travel of the arm's joints less the margin that the rules ask for, rad.
        rates, accelerations: (A,) rad/s and rad/s^2 allowed in this tree's load class.
        tip_speed_m_s: allowed for load and rider.
        stranded_m: how much farther from handrails than the rules allow a rider may be.
        least_singular: smallest singular value that the rules ask for.
        asked_m: (P,) of the pairs (P, 2), those by posture last.
        around: (P,) which pairs are not by posture.
    """

    def __init__(
        self,
        scene: Scene,
        tree: Tree,
        position: Array,
        *,
        budget: bool = False,
        asked: Asked | None = None,
    ) -> None:
        self.scene, self.tree, self.position = scene, tree, position
        self.joints = scene.arm_joints
        margin = scene.loaded.rules.margins.joint_position
        self.limits = tree.joint_limits[scene.arm_columns] + np.array([margin, -margin])
        _, load = scene.load(tree)
        self.rates = joint_rates(scene.loaded.arm.document, load)
        self.accelerations = joint_accelerations(scene.loaded.arm.document, load)
        self.tip_speed_m_s = scene.tip_speed_limit(tree, load)
        self.chain = Chain.of(tree, WORLD, scene.tool(tree), joints=self.joints, held=position)
        asked = asked or arm_asked(scene, tree)
        self.budget, ruled = budget, asked.required_m
        required = ruled + uncertain_m(scene, tree, asked) if budget else ruled
        rooms = arm_rooms(scene, tree)
        self._whole = rooms.tree
        ruled, required = (np.concatenate([one, rooms.required_m]) for one in (ruled, required))
        pairs = np.concatenate([asked.pairs, rooms.pairs])
        behind = scene.arm_joints_behind(rooms.tree)[pairs]
        own = np.all(behind > 0, axis=1) | (np.abs(behind[:, 0] - behind[:, 1]) <= FIXED_JOINTS)
        order = np.argsort(own, kind="stable")
        self.pairs, self.asked_m, self._ruled_m = pairs[order], required[order], ruled[order]
        self.around = ~own[order]
        self._open = int(np.count_nonzero(self.around))
        self._around = Prover(self._whole, self.pairs[: self._open])
        self._balls = Spheres(self._around, self.joints, position, self.asked_m[: self._open] + ENOUGH_M)
        self._own = Prover(self._whole, self.pairs[self._open :])
        arm = scene.loaded.arm.document
        self._refuge = Refuge(scene, tree, position)
        self.stranded_m = 0.0
        self._length_m = arm.characteristic_length
        self.least_singular = scene.loaded.rules.margins.smallest_singular_value

    def moved(self, position: Array) -> ArmSpace:
        """Return the space with all other joints elsewhere (n,); the provers, and so their memory, are shared."""
        new = copy(self)
        new.position = position
        new.chain = Chain.of(self.tree, WORLD, self.scene.tool(self.tree), joints=self.joints, held=position)
        new._balls = self._balls.moved(position)
        new._refuge = Refuge(self.scene, self.tree, position)
        return new

    def margins(self, arcs: Array, *, give_up_m: float = -np.inf) -> Margins:
        """Bound the least margin over quadratics (N, 3, A) of a parameter from 0 to 1, ascending powers, metres.

        Proven at every instant of each, at most ``ENOUGH_M``; -inf where given up. Where the arm loses a direction
        of motion, or its rider would be stranded farther from a handrail than the rules' tether reaches (both looked
        at where an arc starts, in its middle and where it ends), it is below 0 and the pair is ``SINGULAR`` or
        ``STRANDED``.
        """
        own, asked = self.asked_m[self._open :], self.asked_m[: self._open]
        found = self._bounds(self._own, arcs, own, OWN_ENOUGH_M, min(give_up_m, 0.0), Lists.every(self._own))
        scale = ENOUGH_M / OWN_ENOUGH_M
        lower, reached = (np.where(value > 0, value * scale, value) for value in (found.lower_m, found.reached_m))
        pair, at = np.where(found.pair >= 0, found.pair + self._open, -1), found.at
        rest = np.flatnonzero(lower >= give_up_m)
        if len(rest):
            quick = arcs[rest]
            halves = 0.5 * (np.abs(quick[:, 1]) + 1.5 * np.abs(quick[:, 2]))
            near = self._balls.near(_places(quick)[1], halves)
            around = self._bounds(self._around, quick, asked, ENOUGH_M, give_up_m, near)
            which = np.flatnonzero(around.lower_m < lower[rest])
            lower[rest[which]], reached[rest[which]] = around.lower_m[which], around.reached_m[which]
            pair[rest[which]], at[rest[which]] = around.pair[which], around.at[which]
        for spare, why in ((self._singular(arcs), SINGULAR), (self._stranding(arcs), STRANDED)):
            lost = (spare < 0) & (spare < lower)
            lower, pair = np.where(lost, spare, lower), np.where(lost, why, pair)
        return Margins(np.minimum(lower, ENOUGH_M), reached, pair, at, np.zeros(len(arcs)))

    def along(self, curve: Motion) -> float:
        """Return the least margin of a path of the arm's joints, as ``margins`` counts it, singular places aside."""
        whole, least = widened(self.scene, curve, self.position), ENOUGH_M
        for prover, asked, enough in (
            (self._own, self.asked_m[self._open :], OWN_ENOUGH_M),
            (self._around, self.asked_m[: self._open], ENOUGH_M),
        ):
            if len(asked):
                bounds = prover.bounds(whole, report_distance_m=asked + enough, tolerance_m=TOLERANCE_M / 2)
                spare = float((np.maximum(bounds.lower_m, 0.0) - asked).min())
                least = min(least, spare * ENOUGH_M / enough if spare > 0 else spare)
        return least

    def _singular(self, arcs: Array) -> Array:
        """Return what the smallest singular value is above what the rules ask, least of the places looked at (N,).

        Three places of an arc, many more of one that goes so far that it may be singular between those.
        """
        places = _places(arcs)
        values = smallest_singular_value(self.chain, places, length_m=self._length_m).min(axis=0) - self.least_singular
        turned = np.abs(np.diff(places, axis=0)).sum(axis=(0, 2))
        far = np.flatnonzero((values >= 0) & (values < LOSES * turned))
        if len(far):
            share = np.linspace(0.0, 1.0, CLOSELY)[:, None, None]
            close = arcs[far, 0] + share * (arcs[far, 1] + share * arcs[far, 2])
            found = smallest_singular_value(self.chain, close, length_m=self._length_m).min(axis=0)
            values[far] = np.minimum(values[far], found - self.least_singular)
        return np.asarray(values)

    def allow_near(self, points: Array, *, below_rules: bool) -> None:
        """Let bodies come as near to one another as they are where the arm stands at points (N, A).

        Each two for themselves: what one pair lacks at an end of a way is granted to no other.

        Args:
            points: ends of a way, of a script or chosen before.
            below_rules: nearer than the rules ask, too; else only what the budget asks beyond them is given up.
        """
        full = np.repeat(self.position[None], len(points), axis=0)
        full[:, self.scene.arm_columns] = points
        bodies, (a, b) = self._whole.bodies, self.pairs.T
        seats, radius = seats_of(self._whole, full), np.array([bounding_radius_m(body.shape) for body in bodies])
        centres = seats[:, :, :3, 3]
        balls = np.linalg.norm(centres[:, a] - centres[:, b], axis=2).min(axis=0) - radius[a] - radius[b]
        near = np.flatnonzero(balls < self.asked_m + TOLERANCE_M)
        if not len(near):
            return
        apart = distances([body.shape for body in bodies], seats, self.pairs[near]).lower_m.min(axis=0)
        least = np.zeros(len(near)) if below_rules else self._ruled_m[near]
        self.asked_m = self.asked_m.copy()
        self.asked_m[near] = np.minimum(self.asked_m[near], np.maximum(apart - TOLERANCE_M, least))

    def allow(self, points: Array) -> None:
        """Let arm and rider be as badly off, singular or stranded, as they are at points (N, A) of a script."""
        spare = float(self._singular(standing(points)).min())
        self.least_singular += min(0.0, spare) * (1 + 1e-9)
        self.stranded_m += max(0.0, -float(self._stranding(standing(points)).min()))

    def _stranding(self, arcs: Array) -> Array:
        """Return what is left of a stranded rider's tether, least of three places (N,), inf without a rider, m."""
        places = _places(arcs)
        spare = self._refuge.spare_m(places.reshape(-1, places.shape[2])).reshape(len(places), -1).min(axis=0)
        return np.asarray(spare + self.stranded_m)

    def _bounds(
        self, prover: Prover, table: Array, asked: Array, enough: float, give_up: float, near: Lists
    ) -> Margins:
        count = len(table)
        base = np.repeat(self.position[None], count, axis=0)
        base[:, self.scene.arm_columns] = table[:, 0]
        arcs = Arcs(
            self.joints, base, np.tile([0.0, 1.0], (count, 1)), table[:, None], np.ones(count), np.zeros_like(base)
        )
        which = np.arange(count) if len(near.offsets) > 2 else np.zeros(count, dtype=np.int64)
        return least_margins(
            prover, arcs, asked, tolerance_m=TOLERANCE_M, enough_m=enough, give_up_m=give_up, lists=near, which=which
        )

    def pair_names(self, row: int) -> tuple[str, str, float]:
        """Return the bodies of a pair and what is required between them, m."""
        a, b = self.pairs[row].tolist()
        return self._whole.bodies[a].name, self._whole.bodies[b].name, float(self.asked_m[row])

    def seconds(self, arcs: Array) -> Array:
        """Return about how long quadratics (N, 3, A) take (N,), without starting and stopping.

        At full joint rates and tip speed (taken from where the tip starts and ends), and slow enough that the
        bend leaves a share of the accelerations.
        """
        ends = arcs[:, 1:2] + np.array([0.0, 2.0])[:, None] * arcs[:, 2:]
        moving = (np.abs(ends) / self.rates).max(axis=2).mean(axis=1)
        turning = np.sqrt((np.abs(2 * arcs[:, 2]) / (BEND_SHARE * self.accelerations)).max(axis=1))
        if np.isfinite(self.tip_speed_m_s):
            both = np.stack([arcs[:, 0], arcs.sum(axis=1)])
            tip = pose_and_jacobian(self.chain, both)[0][..., :3, 3]
            moving = np.maximum(moving, np.linalg.norm(tip[1] - tip[0], axis=-1) / self.tip_speed_m_s)
        return np.asarray(np.maximum(moving, turning))


class Spaces:
    """Spaces of a scene, one a tree; at other places of base and restraint they share their provers."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._first: dict[tuple[int, bool], ArmSpace] = {}

    def space(self, tree: Tree, position: Array, *, budget: bool) -> ArmSpace:
        """Return the space of a tree with all other joints at a position (n,)."""
        key = (id(tree), budget)  # the space keeps its tree, so no other one gets this number
        if key not in self._first:
            self._first[key] = ArmSpace(self.scene, tree, position, budget=budget)
        return self._first[key].moved(position)


def space_between(
    scene: Scene, tree: Tree, position: Array, ends: Array, nearer_m: float = 0.0, spaces: Spaces | None = None,
    *, as_ends: bool = False,
) -> ArmSpace:
    """Return the space in which margins are sought: beyond the budget for all that the ends allow it.

    Args:
        scene, tree, position: where everything is.
        ends: (N, A) of the ways; arm and rider may be as badly off on them.
        nearer_m: riders are to stay so much nearer to handrails than the rules ask.
        spaces: of the scene, made before.
        as_ends: what lacks at an end need not be kept on the way to it: each two may come as near as there.
    """
    space = (spaces or Spaces(scene)).space(tree, position, budget=True)
    space.stranded_m = -nearer_m
    space.allow(ends)
    space.allow_near(ends, below_rules=as_ends)
    return space


def _places(arcs: Array) -> Array:
    """Return where arcs (N, 3, A) start, are halfway, and end (3, N, A)."""
    return np.stack([arcs[:, 0], arcs[:, 0] + 0.5 * arcs[:, 1] + 0.25 * arcs[:, 2], arcs.sum(axis=1)])


def uncertain_m(scene: Scene, tree: Tree, asked: Asked) -> Array:
    """Return what the budget takes from each pair (P,), m: the terms that name the class of one of its bodies.

    Nothing where a place grants less than the rule: an approach is made by eye.
    """
    rules = scene.loaded.rules
    combined = worst_case_m if rules.budget_combination == "worst_case" else root_sum_square_m
    names, code = np.unique(np.array(scene.body_classes(tree)), return_inverse=True)
    table = np.array(
        [[combined(t for t in rules.budget.values() if (a in t.applies_to) != (b in t.applies_to)) for b in names]
         for a in names]
    )  # fmt: skip
    return np.where(asked.why == RULE, table[code[asked.pairs[:, 0]], code[asked.pairs[:, 1]]], 0.0)
