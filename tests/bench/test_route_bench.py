"""Random carries through the demo world: our routes against OMPL's RRTConnect with shortcuts, timed by toppra.

The peer checks states by pinocchio and coal with the required distance as security margin. Both ways are then
measured alike: by pinocchio and coal, sampled. ARMCARRY_BENCH_CARRIES sets how many of each kind (default 50, 20).
"""

import os
import time
from itertools import pairwise

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.motion.path import joint_segment
from armcarry.motion.timing import RateLimits, time_path
from armcarry.planning.roadmap import find_way
from armcarry.planning.space import ArmSpace
from armcarry.scene.build import build_scene
from armcarry.scene.limits import joint_accelerations, joint_rates

pytestmark = [pytest.mark.bench, pytest.mark.filterwarnings("ignore")]
#: the peer's states along an edge are this far apart, rad; it gives up after this long
RESOLUTION_RAD, LIMIT_S = 0.02, 20.0


@pytest.mark.parametrize(("script", "count"), [("pump_box_to_bay_7.yaml", 50), ("pump_box_radiator_out.yaml", 20)])
def test_random_carries(script, count, pinocchio_engine):
    pytest.importorskip("ompl")
    pytest.importorskip("toppra")
    count = int(os.environ.get("ARMCARRY_BENCH_CARRIES", count))
    scene = build_scene(load_scenario(scenarios_folder() / script))
    space = ArmSpace(scene, scene.tree, scene.position)
    engine = pinocchio_engine(scene.tree, space.pairs)
    peer = Peer(scene, space, engine)
    ours, theirs = [], []
    for start, goal in _carries(space, count):
        begin = time.process_time()
        way = find_way(space, start, goal[None], seed=1)
        took = time.process_time() - begin
        ours.append((way.free, *_judged(peer, way.points, _duration(scene, way.points)), took) if way.free else None)
        theirs.append(peer.plan(start, goal))
    print(f"\n{script}, {count} carries")
    for name, results in (("armcarry", ours), ("OMPL RRTConnect, shortcuts, toppra", theirs)):
        good = [result for result in results if result]
        both = [a for a, b, c in zip(results, ours, theirs, strict=True) if b and c]
        least, middle, seconds, took = np.median([result[1:] for result in both], axis=0) if both else (np.nan,) * 4
        short = sum(result[1] < -1e-3 for result in good)
        print(f"  {name}: {len(good)} solved, {short} of them short of what is required somewhere")
        print(f"    where both solve, medians: margin {least:.3f} m, {middle:.3f} m in the middle three fifths,")
        print(f"    {seconds:.0f} s long, planned in {took:.2f} s of processor time")
    assert sum(map(bool, ours)) >= sum(map(bool, theirs))


def _carries(space, count):
    """Return count pairs of configurations that keep 5 cm beyond what is required, 0.5 to 2.5 rad apart."""
    source = np.random.default_rng(7)
    home = space.position[space.scene.arm_columns]
    points = []
    while len(points) < 2 * count:
        tried = np.clip(home + source.normal(0, 0.7, (64, len(home))), space.limits[:, 0], space.limits[:, 1])
        points += list(tried[space.margins(tried, tried, give_up_m=0.05).lower_m >= 0.05])
    return list(zip(points[:count], points[count : 2 * count], strict=True))


def _limits(scene):
    _, load = scene.load(scene.tree)
    arm = scene.loaded.arm.document
    return np.array(joint_rates(arm, load)), np.array(joint_accelerations(arm, load))


def _duration(scene, points):
    """Return seconds from rest to rest at every waypoint, joint rates and accelerations alone."""
    limits = RateLimits(*_limits(scene))
    return sum(time_path(joint_segment(scene.arm_joints, a, b), limits).duration_s for a, b in pairwise(points))


def _judged(peer, points, seconds):
    """Return the least margin of a way, that of its middle three fifths (the ends dictate the rest), and seconds."""
    dense = np.concatenate([a + np.linspace(0, 1, 60)[:, None] * (b - a) for a, b in pairwise(points)])
    return *peer.margins(dense), seconds


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
        self.full[self.scene.arm_columns] = q
        return float((np.maximum(self.engine.distances(self.full), 0.0) - self.space.asked_m).min())

    def margins(self, dense):
        """Return the least margin of 150 of many points in order, and of those in the middle three fifths."""
        along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(dense, axis=0)).max(axis=1))])
        rows = np.unique(np.searchsorted(along, np.linspace(0, along[-1], 150)))
        every = np.array([self.margin(dense[row]) for row in rows])
        share = along[rows] / along[-1]
        return every.min(), every[(share > 0.2) & (share < 0.8)].min()

    def plan(self, start, goal):
        """Return (True, margin, that of the middle, duration, seconds to plan), or None."""
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
        return True, *self.margins(dense), duration, took


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
