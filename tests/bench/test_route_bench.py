"""Random carries through the demo world: our routes against OMPL's RRTConnect with shortcuts, timed by toppra.

The peer checks states by pinocchio and coal with the required distance as security margin. Both ways are then
measured alike: by pinocchio and coal, sampled. Carries start and end where there is room, so that the margin of a
way is its own and not that of its ends; margins count up to ENOUGH_M, more is all the same.
ARMCARRY_BENCH_CARRIES sets how many of each kind (default 50, 20).
"""

import os
import time
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Capsule
from armcarry.motion.path import rounded
from armcarry.motion.timing import RateLimits, time_path
from armcarry.planning.roadmap import find_way
from armcarry.planning.space import ENOUGH_M, ArmSpace
from armcarry.planning.ways import arcs_of, standing
from armcarry.scene.build import ARM, PLATFORM, build_scene

pytestmark = [pytest.mark.bench, pytest.mark.filterwarnings("ignore")]
#: the peer's states along an edge are this far apart, rad; it gives up after this long
RESOLUTION_RAD, LIMIT_S = 0.02, 20.0
#: both ends of a carry keep this much beyond what is required, m
ROOM_M = 0.2
#: struts put about the arm in a cluttered world, and carries flown in each such world
STRUTS, EACH = 30, 5


@pytest.mark.parametrize(("kind", "count"), [("demo", 50), ("cluttered", 20)])
def test_random_carries(kind, count, pinocchio_engine):
    pytest.importorskip("ompl")
    pytest.importorskip("toppra")
    count = int(os.environ.get("ARMCARRY_BENCH_CARRIES", count))
    results = []
    _compiled()
    while len(results) < count:
        scene = _scene(None if kind == "demo" else 1 + len(results) // EACH)
        space = _space(scene)
        peer = Peer(scene, space, pinocchio_engine(scene.tree, space.pairs))
        for start, goal in _carries(space, count if kind == "demo" else min(EACH, count - len(results)), len(results)):
            results.append((_ours(scene, space, peer, start, goal), peer.plan(start, goal)))
            print(f"{kind} {len(results)}: ours {_told(results[-1][0])}; peer {_told(results[-1][1])}", flush=True)
    for name, column in (("armcarry", 0), ("OMPL RRTConnect, shortcuts, toppra", 1)):
        good = [row[column] for row in results if row[column]]
        both = np.array([row[column] for row in results if row[0] and row[1]])
        least, seconds, took = np.median(both, axis=0)
        short = sum(row[0] < -1e-3 for row in good)
        print(f"{kind}, {count} carries, {name}: {len(good)} solved, {short} of them short somewhere")
        print(f"    where both solve, medians: {least:.3f} m margin, {seconds:.0f} s long, planned in {took:.2f} s;")
        print(f"    means: {both[:, 0].mean():.3f} m, {both[:, 1].mean():.0f} s, {both[:, 2].mean():.2f} s")
    assert sum(bool(ours) for ours, _ in results) >= sum(bool(theirs) for _, theirs in results)


def _compiled():
    """Let every kernel be compiled before the clock runs."""
    space = _space(scene := _scene(None))
    home = space.position[scene.arm_columns]
    find_way(space, home, home[None] + 0.3)


def _told(result):
    return f"{result[0]:.3f} m, {result[1]:.1f} s, in {result[2]:.1f} s" if result else "none"


def _scene(seed):
    """Return the demo scene, with struts about the arm when there is a seed."""
    scene = build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))
    if seed is None:
        return scene
    source, model = np.random.default_rng(seed), scene.loaded.platform.model
    frames = (f"{PLATFORM}/{model.root}", f"{ARM}/{scene.loaded.arm.model.root}")
    at = scene.tree.pose_of(frames[1], scene.position, relative_to=frames[0])[:3, 3]
    struts = []
    for k in range(STRUTS):
        away = source.normal(size=3)
        place = at + away / np.linalg.norm(away) * source.uniform(3, 13)
        shape = Capsule(source.uniform(0.05, 0.25), source.uniform(1.0, 5.0))
        struts.append(Body(f"strut_{k}", model.root, shape, poses.from_xyz_rpy(place, source.uniform(-3, 3, 3))))
    model = replace(model, bodies=(*model.bodies, *struts))
    return build_scene(replace(scene.loaded, platform=replace(scene.loaded.platform, model=model)))


def _space(scene):
    """Return the space as the peer knows it: without tip speeds, singular places and handrails."""
    space = ArmSpace(scene, scene.tree, scene.position)
    space.tip_speed_m_s, space.least_singular, space.stranded_m = np.inf, 0.0, np.inf
    return space


def _carries(space, count, seed):
    """Return count pairs of configurations with room about them that no straight way joins: others need no planner."""
    source = np.random.default_rng(7 + seed)
    home = space.position[space.scene.arm_columns]
    carries, points = [], []
    while len(carries) < count:
        tried = np.clip(home + source.normal(0, 0.8, (64, len(home))), space.limits[:, 0], space.limits[:, 1])
        points += list(tried[space.margins(standing(tried), give_up_m=ROOM_M).lower_m >= ROOM_M])
        while len(points) > 1:
            start, goal = points.pop(), points.pop()
            if space.margins(arcs_of(np.stack([start, goal]))[0], give_up_m=0.0).lower_m.min() < 0.0:
                carries.append((start, goal))
    return carries[:count]


def _limits(scene):
    space = ArmSpace(scene, scene.tree, scene.position)
    return space.rates, space.accelerations


def _ours(scene, space, peer, start, goal):
    """Return margin, duration and seconds to plan, or None."""
    begin = time.process_time()
    way = find_way(space, start, goal[None], seed=1)
    if not way.free:
        return None
    path = rounded(scene.arm_joints, way.points)
    duration = time_path(path, RateLimits(*_limits(scene))).duration_s
    took = time.process_time() - begin
    return peer.least(path.at(np.linspace(0.0, 1.0, 600))), duration, took


class Peer:
    """RRTConnect over pinocchio and coal."""

    def __init__(self, scene, space, engine):
        self.scene, self.space, self.engine = scene, space, engine
        for request, asked in zip(engine.results.collisionRequests, space.asked_m.tolist(), strict=True):
            request.security_margin = asked
        self.full = space.position.copy()

    def free(self, q):
        self.full[self.scene.arm_columns] = q
        engine = self.engine
        args = (engine.model, engine.data, engine.geometry, engine.results, self.full[engine.columns], True)
        return not engine.pin.computeCollisions(*args)

    def margin(self, q):
        """Return the margin beyond what is required of all but the pairs that only the posture sets."""
        self.full[self.scene.arm_columns] = q
        spare = np.maximum(self.engine.distances(self.full), 0.0) - self.space.asked_m
        return min(float(spare[self.space.around].min()), ENOUGH_M) if spare.min() >= -1e-3 else float(spare.min())

    def least(self, dense):
        """Return the least margin of 200 of many points in order, evenly apart."""
        along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(dense, axis=0)).max(axis=1))])
        rows = np.unique(np.searchsorted(along, np.linspace(0, along[-1], 200)))
        return min(self.margin(dense[row]) for row in rows)

    def plan(self, start, goal):
        """Return margin, duration and seconds to plan, or None."""
        from ompl import base, geometric, util

        util.setLogLevel(util.LOG_ERROR)
        begin = time.process_time()
        joints = base.RealVectorStateSpace(len(start))
        bounds = base.RealVectorBounds(len(start))
        for k, (low, high) in enumerate(self.space.limits.tolist()):
            bounds.setLow(k, low)
            bounds.setHigh(k, high)
        joints.setBounds(bounds)
        setup = geometric.SimpleSetup(joints)
        size = range(len(start))
        setup.setStateValidityChecker(lambda state: self.free(np.array([state[k] for k in size])))
        info = setup.getSpaceInformation()
        info.setStateValidityCheckingResolution(RESOLUTION_RAD / joints.getMaximumExtent())
        first, last = joints.allocState(), joints.allocState()
        for k in size:
            first[k], last[k] = float(start[k]), float(goal[k])
        setup.setStartAndGoalStates(first, last)
        setup.setPlanner(geometric.RRTConnect(info))
        setup.solve(LIMIT_S)
        if not setup.haveExactSolutionPath():
            return None
        setup.simplifySolution(5.0)
        path = setup.getSolutionPath()
        points = np.array([[state[k] for k in size] for state in path.getStates()])
        duration, dense = _toppra(points, *_limits(self.scene))
        took = time.process_time() - begin
        return self.least(dense), duration, took


def _toppra(points, rates, accelerations):
    """Return the duration of a spline through waypoints put at every 0.1 rad, and 600 points on it."""
    import toppra

    toppra.setup_logging("ERROR")
    dense = [points[0]]
    for a, b in pairwise(points):
        parts = max(1, int(np.ceil(np.abs(b - a).max() / 0.1)))
        dense += [a + (b - a) * k / parts for k in range(1, parts + 1)]
    dense = np.array(dense)
    along = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(dense, axis=0), axis=1))])
    spline = toppra.SplineInterpolator(along / along[-1], dense, bc_type="natural")
    both = np.stack([-rates, rates], axis=1), np.stack([-accelerations, accelerations], axis=1)
    asked = [toppra.constraint.JointVelocityConstraint(both[0]), toppra.constraint.JointAccelerationConstraint(both[1])]
    timed = toppra.algorithm.TOPPRA(asked, spline, parametrizer="ParametrizeConstAccel").compute_trajectory(0, 0)
    return timed.duration, spline(np.linspace(0, 1, 600))
