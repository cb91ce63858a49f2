"""A free worker beside the moving arm: how near it comes, how fast, and how much separation that asks for.

Bounds, not samples: over a cell of time the distance is that at its middle less what both can have moved, the
speeds are the greatest possible ones of the cell and of the reaction after it, and the run-out adds up every
joint's braking at its longest lever (theta = q'^2 / 2b, tip bound sum of r theta).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import bounding_radius_m
from armcarry.motion.bounds import taylor
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.drift import Drift
from armcarry.motion.refine import settle
from armcarry.motion.speed import chain_motion
from armcarry.record.kept import Kept
from armcarry.record.record import Phase, Record
from armcarry.scene.build import ARM
from armcarry.scene.limits import brake_decelerations
from armcarry.scene.tree import WORLD
from armcarry.timeline.separation import WALKING_M_S, Separation, protective_separation

#: bodies closer to standing still than this do not move, m/s
_MOVES_M_S = 1e-6
#: the least margin is found to this, m
TOLERANCE_M = 0.05
_COARSE_S = 8.0
_LEAST_DRIFT_M = 0.01
_BATCH = 200


@dataclass(frozen=True)
class Nearness:
    """The instant at which a worker has the least margin over the protective separation.

    Attributes:
        worker, body: who, and the body of arm, rider or hardware.
        time_s: the middle of the cell of time.
        distance_m: less than their distance at any instant of it.
        separation: what is asked for there.
        relative_m_s: greatest speed at which any such body and the worker can move against each other while
            nearer than the report distance, 0 if never.
        nearest_m: less than their distance at any instant at which the arm moves.
    """

    worker: str
    body: str
    time_s: float
    distance_m: float
    separation: Separation
    relative_m_s: float
    nearest_m: float

    @property
    def margin_m(self) -> float:
        """Distance beyond the separation."""
        return self.distance_m - self.separation.total_m


def nearness(record: Record, worker: str) -> Nearness | None:
    """Return the least margin of a crewmember as a free worker; None where the arm never moves meanwhile."""
    return next((item for item in record.result(NEARNESS).least if item.worker == worker), None)


def _least(record: Record, worker: str) -> Nearness | None:
    found = [
        result
        for phase in record.phases
        if phase.end_s > phase.start_s and (side := BesideArm(record, phase, worker)).together
        if (result := side.least()) is not None
    ]
    if not found:
        return None
    least = min(found, key=lambda item: item.margin_m)
    return Nearness(
        worker, least.body, least.time_s, least.distance_m, least.separation,
        max(item.relative_m_s for item in found), min(item.nearest_m for item in found),
    )


def _on_arm(phase: Phase) -> list[str]:
    return [item.instance for item in phase.tree.mountings if phase.tree.hangs_from(item.instance, ARM)]


def _not_by_hand(record: Record) -> Motion:
    """Return the motion of a run without what hands turn: a restraint on the arm that is set is no machine."""
    joints = record.motion.joints
    by_hand = [k for k, name in enumerate(joints) if name.split("/", 1)[0] in record.scene.loaded.restraints]
    table = record.motion.coefficients.copy()
    table[:, 1:, by_hand] = 0.0
    return replace(record.motion, coefficients=table)


class BesideArm:
    """One worker beside the arm in one phase."""

    def __init__(self, record: Record, phase: Phase, worker: str) -> None:
        self.record, self.phase, self.worker = record, phase, worker
        bodies, classes = phase.tree.bodies, record.scene.body_classes(phase.tree)
        mine = [body.name.startswith(f"{worker}/") for body in bodies]
        self.workers = np.array([k for k, kind in enumerate(classes) if kind == "worker" and mine[k]], dtype=np.int64)
        self.drift = Drift(phase.tree, _not_by_hand(record), phase.start_s, phase.end_s)
        moves, on_arm = self.drift.islands != 0, set(_on_arm(phase))
        self.machines = np.array(
            [
                k for k, body in enumerate(bodies)
                if body.name.split("/", 1)[0] in on_arm and moves[phase.tree.index(body.link)]
            ],
            dtype=np.int64,
        )
        self.together = bool(len(self.workers) and len(self.machines))
        if self.together:
            self.radii = np.array([bounding_radius_m(body.shape) for body in bodies])
            self.steps = np.diff(self.drift.edges_s)
            self.machine_way, self.worker_way = self._ways(self.machines), self._ways(self.workers)
            self.machine_m_s = np.diff(self.machine_way, axis=1) / self.steps
            self.worker_m_s = (np.diff(self.worker_way, axis=1) / self.steps).max(axis=0)
            self._braking()

    def _ways(self, rows: np.ndarray) -> Array:
        """Return how far any point of bodies goes (R, E)."""
        found = []
        for k in rows:
            body = self.phase.tree.bodies[k]
            way, turned = self.drift.way(body.link, body.pose[:3, 3])
            found.append(way + self.radii[k] * turned)
        return np.stack(found)

    def _braking(self) -> None:
        """Bound in every cell of the drift how long the arm brakes (K,) and how far each body then goes (M, K)."""
        scene, tree = self.record.scene, self.phase.tree
        arm = scene.loaded.arm.document
        brakes = brake_decelerations(arm, scene.load(tree)[1])
        middles = (self.drift.edges_s[:-1] + self.drift.edges_s[1:]) / 2
        held = self.record.motion.at(self.phase.start_s)
        whole = Chain.of(tree, WORLD, scene.arm_tip, joints=scene.arm_joints, held=held)
        rates = taylor(chain_motion(whole, self.drift.part), middles, self.steps / 2)[2]
        self.brake_s = (rates / brakes).max(axis=1)
        angles = rates**2 / (2 * brakes)
        self.brake_m = np.zeros((len(self.machines), len(middles)))
        for m, k in enumerate(self.machines):
            body = tree.bodies[k]
            above = set(tree.ancestry(body.link))
            columns = {int(tree.columns[row]) for row in above}
            joints = [joint for joint, c in zip(scene.arm_joints, scene.arm_columns, strict=True) if int(c) in columns]
            if joints:
                chain = Chain.of(tree, WORLD, body.link, joints=joints, held=held)
                levers = chain.levers(body.pose) + np.where(chain.revolute, self.radii[k], 0.0)
                self.brake_m[m] = angles[:, [scene.arm_joints.index(joint) for joint in chain.joints]] @ levers

    def _most(self, table: Array, starts: Array, ends: Array) -> Array:
        """Return the greatest value (..., N) of a table over cells (..., K) that touch [starts, ends]."""
        first = np.clip(np.searchsorted(self.drift.edges_s, starts, side="right") - 1, 0, len(self.steps) - 1)
        last = np.clip(np.searchsorted(self.drift.edges_s, ends, side="left"), first + 1, len(self.steps))
        return np.stack([table[..., a:b].max(axis=-1) for a, b in zip(first, last, strict=True)], axis=-1)

    def least(self) -> Nearness | None:
        """Halve cells until the least margin is known to the tolerance."""
        start, end = self.phase.start_s, self.phase.end_s
        edges = np.linspace(start, end, int(np.ceil((end - start) / _COARSE_S)) + 1)
        reached = np.inf

        def look(starts: Array, ends: Array) -> tuple[np.ndarray, ...]:
            nonlocal reached
            lower, margin, upper, speed, drift = self._cells(starts, ends)
            reached = min(reached, float(upper.min()))
            return (margin.min(axis=1) >= reached - TOLERANCE_M) | (drift <= _LEAST_DRIFT_M), lower, margin, speed

        starts, ends, lower, margin, speed = settle(edges[:-1], edges[1:], look, batch=_BATCH)
        moving = np.isfinite(margin)
        if not moving.any():
            return None
        n, m = np.unravel_index(int(margin.argmin()), margin.shape)
        least = self._nearness(int(m), float(starts[n]), float(ends[n]), float(lower[n, m]))
        nearest = float(lower[moving].min())
        return replace(
            least, distance_m=max(least.distance_m, 0.0), relative_m_s=float(speed.max()), nearest_m=max(nearest, 0.0)
        )

    def _cells(self, starts: Array, ends: Array) -> tuple[Array, Array, Array, Array, Array]:
        """Return lower bounds of distance and margin (N, M), a margin at the middle (N,), speed and drift (N,)."""
        middles = (starts + ends) / 2
        placed = self.record.body_poses(middles)
        until = ends + self.record.scene.loaded.arm.document.reaction_time
        speed = self._most(self.machine_m_s, starts, until).T
        asked = self._asked(speed, self._most(self.brake_s, starts, until), self._most(self.brake_m, starts, until).T)
        gap = self._gaps(placed, max(self.record.scene.loaded.rules.report_distance, 2 * float(asked.max())))
        mine = np.stack([self.drift.reach(way, middles, starts, ends) for way in self.machine_way], axis=1)
        theirs = np.max([self.drift.reach(way, middles, starts, ends) for way in self.worker_way], axis=0)
        lower = gap - mine - theirs[:, None]
        moving = speed > _MOVES_M_S
        margin = np.where(moving, lower - asked, np.inf)
        upper = np.where(moving, gap - asked, np.inf).min(axis=1)
        near = moving & (lower < self.record.scene.loaded.rules.report_distance)
        relative = speed + self._most(self.worker_m_s, starts, ends)[:, None]
        return lower, margin, upper, np.where(near, relative, 0.0).max(axis=1), (mine.max(axis=1) + theirs)

    def instants(self, times_s: Array) -> tuple[Array, Array]:
        """Return the least distance and the separation of the least margin at instants (N,), NaN where all is still."""
        until = times_s + self.record.scene.loaded.arm.document.reaction_time
        speed = self._most(self.machine_m_s, times_s, until).T
        brake_s, brake_m = self._most(self.brake_s, times_s, until), self._most(self.brake_m, times_s, until).T
        asked = self._asked(speed, brake_s, brake_m)
        gap = self._gaps(self.record.body_poses(times_s), 2 * self.record.scene.loaded.rules.report_distance)
        moving = speed > _MOVES_M_S
        worst = np.where(moving, gap - asked, np.inf).argmin(axis=1)
        some, line = moving.any(axis=1), np.arange(len(times_s))
        least = np.where(moving, gap, np.inf).min(axis=1)
        return np.where(some, least, np.nan), np.where(some, asked[line, worst], np.nan)

    def _gaps(self, placed: Array, far_m: float) -> Array:
        """Return less than the distance of every machine body from the worker (N, M), exact where under far_m."""
        bodies = self.phase.tree.bodies
        here, there = placed[:, self.machines][..., :3, 3], placed[:, self.workers][..., :3, 3]
        apart = np.linalg.norm(here[:, :, None] - there[:, None], axis=-1)
        balls = apart - self.radii[self.machines][:, None] - self.radii[self.workers]
        pairs = np.argwhere(balls.min(axis=0) < far_m)
        if len(pairs):
            every = np.concatenate([self.machines, self.workers])
            rows = pairs + np.array([0, len(self.machines)])
            found = distances([bodies[k].shape for k in every], placed[:, every], rows)
            balls[:, pairs[:, 0], pairs[:, 1]] = np.maximum(found.lower_m, 0.0)
        return np.asarray(balls.min(axis=2))

    def _asked(self, speed_m_s: Array, brake_s: Array, brake_m: Array) -> Array:
        """Return the protective separation (N, M) at constant speeds, as separation.protective_separation does."""
        reaction = self.record.scene.loaded.arm.document.reaction_time
        worker = worker_speed_m_s(self.record) * (reaction + brake_s)
        error = self.record.scene.loaded.arm.document.tip_positioning
        return np.asarray(worker[:, None] + speed_m_s * reaction + brake_m + error)

    def _nearness(self, m: int, start_s: float, end_s: float, lower_m: float) -> Nearness:
        arm = self.record.scene.loaded.arm.document
        starts, until = np.array([start_s]), np.array([end_s + arm.reaction_time])
        separation = protective_separation(
            worker_speed_m_s=worker_speed_m_s(self.record),
            machine_speed_m_s=float(self._most(self.machine_m_s[m], starts, until)[0]),
            reaction_s=arm.reaction_time,
            stopping_s=float(self._most(self.brake_s, starts, until)[0]),
            stopping_m=float(self._most(self.brake_m[m], starts, until)[0]),
            machine_error_m=arm.tip_positioning,
        )
        body = self.phase.tree.bodies[int(self.machines[m])].name
        return Nearness(self.worker, body, (start_s + end_s) / 2, lower_m, separation, 0.0, lower_m)


def worker_speed_m_s(record: Record) -> float:
    """Return how fast a worker may come towards the arm: the rules' speed, else a walking person's."""
    given = record.scene.loaded.rules.worker_speed
    return WALKING_M_S if given is None else given


@dataclass(frozen=True, eq=False)
class NearCurve:
    """What a plot of one worker shows, at T instants: NaN where the arm stands still.

    Attributes:
        distance_m: (T,) from the nearest moving body of arm, rider or load.
        separation_m: (T,) the protective separation from the body with the least margin.
    """

    worker: str
    time_s: Array
    distance_m: Array
    separation_m: Array


def near_curve(record: Record, worker: str) -> NearCurve | None:
    """Return a worker's distance and separation over the run; None where the arm never moves meanwhile."""
    return next((item for item in record.result(NEARNESS).curves if item.worker == worker), None)


@dataclass(frozen=True)
class Near:
    """Nearness and curve of every crewmember who is ever a free worker while the arm moves."""

    least: tuple[Nearness, ...]
    curves: tuple[NearCurve, ...]


def _near(record: Record) -> Near:
    crew = record.scene.loaded.crew
    return Near(
        tuple(item for name in crew if (item := _least(record, name)) is not None),
        tuple(curve for name in crew if (curve := _curve(record, name)) is not None),
    )


NEARNESS = Kept("nearness", 1, _near, (Near, Nearness, NearCurve, Separation))


def _curve(record: Record, worker: str, count: int = 400) -> NearCurve | None:
    columns: list[tuple[Array, Array, Array]] = []
    for phase in record.phases:
        if phase.end_s > phase.start_s and (side := BesideArm(record, phase, worker)).together:
            cells = max(round(count * (phase.end_s - phase.start_s) / record.duration_s), 2)
            times = np.linspace(phase.start_s, phase.end_s, cells + 1)
            times = (times[:-1] + times[1:]) / 2
            parts = [side.instants(times[a : a + _BATCH]) for a in range(0, len(times), _BATCH)]
            distance, separation = (np.concatenate([part[k] for part in parts]) for k in range(2))
            columns.append((times, distance, separation))
    if not columns:
        return None
    order = np.argsort(np.concatenate([item[0] for item in columns]))
    time_s, distance, separation = (np.concatenate([item[k] for item in columns])[order] for k in range(3))
    return NearCurve(worker, time_s, distance, separation)
