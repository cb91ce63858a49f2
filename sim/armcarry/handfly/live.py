"""What the operator reads while flying: close pairs, the run-out of a stop now, and what is met next and when.

Everything is measured at the joint positions of a tick, or proven over the short arc that follows from it: the
run-out of a stop asked for now, and the arm going on at the rates it has.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from armcarry.asked.pairs import TOUCH_M, arm_pairs, neighbour_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import Asked, Requirement
from armcarry.asked.rooms import arm_rooms
from armcarry.asked.zones import Here
from armcarry.clearance.many import Arcs, Lists, free_until, least_margins
from armcarry.clearance.prover import Prover
from armcarry.clearance.rest import measure
from armcarry.clearance.solids import pack, pose_rows
from armcarry.geometry.poses import Array
from armcarry.handfly.control import Pilot
from armcarry.handfly.resolve import Closeness
from armcarry.motion.braking import braking
from armcarry.motion.forward import forward
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.scene.build import Scene
from armcarry.timeline.near import near_pairs

#: how many pairs are told
SHOWN = 5
#: how far ahead it is asked what is met, s; a warning must come at least 3 s before
AHEAD_S = 12.0
#: pairs are measured while they may have less than this to spare, m
_LOOKED_AT_M = 1.5
_SHARP_M = 1e-4
_BLOCK = 96


@dataclass(frozen=True, eq=False)
class Close:
    """A close pair: distance, what is required, and the nearest points in the world."""

    body_a: str
    body_b: str
    distance_m: float
    required_m: float
    point_a: Array
    point_b: Array

    @property
    def margin_m(self) -> float:
        """Distance beyond what is required."""
        return self.distance_m - self.required_m


@dataclass(frozen=True, eq=False)
class Readings:
    """What is read at one tick.

    Attributes:
        pairs: the pairs with the least margin, least first.
        closeness: what control needs of them.
        run_out_m, run_out_s: way of the tool and time from a stop asked for now to rest.
        run_out_left_m: proven clearance left over that run-out beyond what must be left; inf where nothing is near.
        run_out_way_m: (S, 3) the way of the tool on it.
        warning_s: proven time for which going on like this keeps all that is required; AHEAD_S at most.
        warning_pair: the pair that ends it, if any.
        joint_left: (k,) to the nearer end of travel, rad or m; nan without ends.
        end_joint, end_s: the joint that reaches an end of its travel first at this rate, and when; -1 and inf.
        singular: smallest singular value, as the rules mean it.
    """

    pairs: tuple[Close, ...]
    closeness: Closeness
    run_out_m: float = 0.0
    run_out_s: float = 0.0
    run_out_left_m: float = np.inf
    run_out_way_m: Array = field(default_factory=lambda: np.zeros((0, 3)))
    warning_s: float = AHEAD_S
    warning_pair: tuple[str, str] | None = None
    joint_left: Array = field(default_factory=lambda: np.zeros(0))
    end_joint: int = -1
    end_s: float = np.inf
    singular: float = np.inf


class Watch:
    """Measures what is close to a pilot's arm; what hangs where is prepared once for each tree."""

    def __init__(self, scene: Scene) -> None:
        self.scene = scene
        self._around: dict[int, _Around] = {}

    def around(self, pilot: Pilot) -> _Around:
        """Return what is prepared for the tree that holds now."""
        key = id(pilot.tree)
        if key not in self._around:
            self._around[key] = _Around(self.scene, pilot)
        return self._around[key]

    def closeness(self, pilot: Pilot) -> Closeness:
        """Return what control needs to know; quick, the first part of ``read``."""
        return self._close(pilot)[1]

    def read(self, pilot: Pilot) -> Readings:
        """Read everything at the pilot's tick."""
        pairs, closeness = self._close(pilot)
        around = self.around(pilot)
        chain = pilot.chain
        low, high = chain.limits.T
        left = np.minimum(pilot.q - low, high - pilot.q)
        with np.errstate(divide="ignore", invalid="ignore"):
            until = np.where(pilot.rate > 0, (high - pilot.q) / pilot.rate, (low - pilot.q) / pilot.rate)
        until = np.where(pilot.rate == 0, np.inf, until)
        end = int(np.argmin(until))
        length = self.scene.loaded.arm.document.characteristic_length
        singular = float(smallest_singular_value(chain, pilot.q, length_m=length))
        plain = Readings(
            pairs, closeness, joint_left=np.where(np.isfinite(left), left, np.nan),
            end_joint=end if np.isfinite(until[end]) else -1, end_s=float(until[end]), singular=singular,
        )  # fmt: skip
        if pilot.resting:
            return plain
        return around.ahead(pilot, plain)

    def _close(self, pilot: Pilot) -> tuple[tuple[Close, ...], Closeness]:
        return self.around(pilot).measure(pilot)


class _Around:
    """Bodies, pairs and requirements of one tree, with the platform's rooms beside it."""

    def __init__(self, scene: Scene, pilot: Pilot) -> None:
        own, rooms = arm_pairs(scene, pilot.tree), arm_rooms(scene, pilot.tree)
        self.scene, self.tree, tree = scene, rooms.tree, rooms.tree
        self.own = Requirement(scene, pilot.tree, own)
        self.rooms = rooms.asked(0.0, 0.0, np.arange(len(rooms.pairs)), scene.loaded.rules.stop_remainder)
        self.names = [body.name for body in tree.bodies]
        self.pairs = np.ascontiguousarray(np.concatenate([own, rooms.pairs]))
        self.beside = neighbour_pairs(scene, tree, self.pairs)
        self.solids = pack([body.shape for body in tree.bodies])
        self.local = np.stack([body.pose for body in tree.bodies])
        links = list(dict.fromkeys(body.link for body in tree.bodies))
        self.links, self.of_link = links, np.array([links.index(body.link) for body in tree.bodies])
        self.joints = scene.arm_joints_behind(tree)
        slow = near_pairs(scene, pilot.tree, pilot.position[None])
        keys = {tuple(sorted(pair)) for pair in slow.tolist()}
        self.slows = np.array([tuple(sorted(pair)) in keys for pair in self.pairs.tolist()])
        self.radius = self.solids.size[:, 4]
        self.prover = Prover(tree, self.pairs)
        self.row_of = np.empty(len(self.pairs), dtype=np.int64)
        self.row_of[self.prover.layout.order] = np.arange(len(self.pairs))
        self._levers = pilot.chain.levers() + 3.0  # and what hangs beyond the tool
        self._asked: dict[tuple[Relaxed, ...], Asked] = {}
        self.here = Here(scene, pilot.tree)
        self._bound = np.zeros(len(self.pairs))

    def asked(self, pilot: Pilot) -> Asked:
        """Return what is asked of every pair (P,) on the leg that is flown, where the arm is."""
        still = not np.any(pilot.rate)
        granted = (*pilot.course.relaxed_on(pilot.leg), *self.here.at(pilot.position, still=still))
        if granted not in self._asked:
            self._asked[granted] = self.own.under(granted).at(0.0).and_of(self.rooms)
        return self._asked[granted]

    def measure(self, pilot: Pilot) -> tuple[tuple[Close, ...], Closeness]:
        """Measure pairs in order of their balls until the SHOWN closest are known, and whether structure is near.

        Bodies with one joint between are always close; they are shown, and steered away from, where they touch.
        """
        asked = self.asked(pilot).kept_m
        poses = forward(self.tree, pilot.position, self.links)[self.of_link] @ self.local
        rows = pose_rows(poses[None], self.solids.centre)
        place = rows[0, :, 9:]
        a, b = self.pairs.T
        ball = np.linalg.norm(place[a] - place[b], axis=1) - self.radius[a] - self.radius[b]
        self._bound = np.where(np.isnan(asked), np.inf, ball - asked)
        order = np.flatnonzero(self._bound < _LOOKED_AT_M)
        order = order[np.argsort(self._bound[order], kind="stable")]
        # in time to have slowed down when the distance is reached
        slow_down_s = float(np.max(pilot.rates / pilot.accelerations)) * (1.0 - pilot.load.near_structure)
        within = self.scene.loaded.rules.slow_within + pilot.tip_speed * slow_down_s
        margins, distances, picked, points = [], [], [], []
        near, kth, done = False, np.inf, 0
        while done < len(order) and self._bound[order[done]] < kth:
            some = order[done : done + _BLOCK]
            bounds, at = measure(
                self.solids.form, self.solids.size, self.solids.verts, rows, np.ascontiguousarray(self.pairs[some]),
                _SHARP_M,
            )
            low = np.maximum(bounds[0, :, 0], 0.0)
            near |= bool(np.any(self.slows[some] & (low < within)))
            margins.append(np.where(self.beside[some] & (low > TOUCH_M), np.inf, low - asked[some]))
            distances.append(low)
            picked.append(some)
            points.append(at[0])
            done += _BLOCK
            every = np.concatenate(margins)
            kth = float(np.partition(every, SHOWN - 1)[SHOWN - 1]) if len(every) >= SHOWN else np.inf
        if not near:
            near = self._near(ball, rows, order[:done], within)
        if not picked or np.isinf(every).all():
            return (), Closeness(near)
        margin, low, some, at = (np.concatenate(part) for part in (margins, distances, picked, points))
        best = np.argsort(margin, kind="stable")[: min(SHOWN, int(np.isfinite(margin).sum()))]
        pairs = tuple(
            Close(
                self.names[self.pairs[some[k], 0]], self.names[self.pairs[some[k], 1]], float(low[k]),
                float(asked[some[k]]), at[k, :3], at[k, 3:],
            )
            for k in best
        )  # fmt: skip
        return pairs, self._closeness(near, pairs[0], self.pairs[some[best[0]]])

    def _near(self, ball: Array, rows: Array, done: np.ndarray, within: float) -> bool:
        """Tell whether anything that makes the arm slow is within the distance, among pairs not yet measured."""
        rest = np.ones(len(ball), dtype=bool)
        rest[done] = False
        some = np.flatnonzero(self.slows & rest & (ball < within))
        some = some[np.argsort(ball[some], kind="stable")]
        for start in range(0, len(some), _BLOCK):
            part = np.ascontiguousarray(self.pairs[some[start : start + _BLOCK]])
            bounds, _ = measure(self.solids.form, self.solids.size, self.solids.verts, rows, part, _SHARP_M)
            if np.any(bounds[0, :, 0] < within):
                return True
        return False

    def _closeness(self, near: bool, pair: Close, rows: np.ndarray) -> Closeness:
        joints = self.joints[rows]
        ours = int(np.argmax(joints))
        point, other = (pair.point_a, pair.point_b) if ours == 0 else (pair.point_b, pair.point_a)
        apart = point - other
        size = float(np.linalg.norm(apart))
        if size < 1e-6 or joints[0] == joints[1]:
            return Closeness(near, pair.margin_m)
        return Closeness(near, pair.margin_m, point, apart / size, int(joints[ours]))

    # -- what follows from this tick -----------------------------------------------------------

    def ahead(self, pilot: Pilot, plain: Readings) -> Readings:
        """Add the run-out of a stop asked for now, and for how long going on like this is proven to be clear."""
        columns = pilot.columns
        reaction = self.scene.loaded.arm.document.reaction_time
        arc = braking(pilot.rate[None], pilot.brakes)
        run_s = reaction + float(arc.rest_s[0])
        # the run-out: on at these rates for the reaction, then every joint to its own stop
        table = np.concatenate([np.zeros((1, 1, 3, len(columns))), arc.coefficients], axis=1)
        table[0, 0, 0], table[0, 0, 1] = pilot.q, pilot.rate
        table[0, 1:, 0] += pilot.q + pilot.rate * reaction
        breaks = np.concatenate([[[0.0]], arc.breaks_s + reaction], axis=1)
        slack = np.zeros((1, len(pilot.position)))
        stop = Arcs(self.scene.arm_joints, pilot.position[None], breaks, table, np.array([run_s]), slack)
        on = np.zeros((1, 1, 2, len(columns)))
        on[0, 0, 0], on[0, 0, 1] = pilot.q, pilot.rate
        ends = np.array([[0.0, AHEAD_S]])
        going = Arcs(self.scene.arm_joints, pilot.position[None], ends, on, np.array([AHEAD_S]), slack)
        asked, speed = self.asked(pilot), self._fastest(pilot)
        close = self._list(self._bound + np.nan_to_num(asked.kept_m), 1.0 + speed * run_s)
        margins = least_margins(
            self.prover, stop, asked.left_m, tolerance_m=0.02, enough_m=1.0, lists=close,
            which=np.zeros(1, dtype=np.int64),
        )
        until, pair = free_until(
            self.prover, going, asked.kept_m, resolution=0.05, lists=self._list(self._bound, speed * AHEAD_S),
            which=np.zeros(1, dtype=np.int64),
        )
        times = np.linspace(0.0, run_s, 9)
        motion = stop.motion(0, tuple(self.tree.joints))
        way = forward(self.tree, motion.at(times), [pilot.tool])[:, 0, :3, 3]
        names = None if pair[0] < 0 else (self.names[self.pairs[pair[0], 0]], self.names[self.pairs[pair[0], 1]])
        return replace(
            plain, run_out_m=float(np.linalg.norm(np.diff(way, axis=0), axis=1).sum()), run_out_s=run_s,
            run_out_left_m=float(margins.lower_m[0]), run_out_way_m=way, warning_s=float(until[0]), warning_pair=names,
        )  # fmt: skip

    def _fastest(self, pilot: Pilot) -> float:
        """Bound how fast any point that the arm moves can go at these rates, m/s."""
        return float(np.abs(pilot.rate) @ self._levers)

    def _list(self, bound: Array, within: float) -> Lists:
        """Return, as a list for the kernels, the pairs whose balls leave less than a distance."""
        rows = np.sort(self.row_of[np.flatnonzero(bound < within)])
        return Lists(np.ascontiguousarray(rows), np.array([0, len(rows)]))

