"""Every way of the demo arm to take a pose, against another closed form and against a sweep by hand."""

import time

import numpy as np
import pytest

from armcarry.errors import ReachError
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions, ways
from armcarry.motion.redundancy import margin_share
from armcarry.motion.spare import curve_of
from armcarry.motion.toolbox import read_arm
from armcarry.motion.vectors import wrapped
from armcarry.scene.tree import Tree

pytestmark = pytest.mark.bench
POSES = 10_000


@pytest.fixture(scope="module")
def heron():
    arm = read_arm("heron")
    return Chain.of(Tree().place("arm", arm.model), "world", "arm/tip", [f"arm/{name}" for name in arm.document.joints])


def peer_of(chain):
    """Return the other library's arm with the first joint folded into the pose: six joints, at zero."""
    from eaik.IK_HP import HPRobot

    hats = chain.hats(np.zeros((1, chain.size)))[1:, 0]
    axes, points = hats[:, :, 2], hats[:, :, 3]
    home = chain.forward(np.zeros(chain.size))
    offsets = np.vstack([points[:1], np.diff(points, axis=0), home[None, :3, 3] - points[-1]])
    return HPRobot(axes, offsets), home


def test_no_way_is_missed_that_another_closed_form_finds(capsys, heron):
    pytest.importorskip("eaik")
    robot, home = peer_of(heron)
    first = heron.hats(np.zeros((1, heron.size)))[0, 0]
    base = np.vstack([first, [0, 0, 0, 1]])
    missed = more = theirs_all = ours_all = 0
    ours_s = theirs_s = 0.0
    for q in np.random.default_rng(0).uniform(-np.pi, np.pi, (POSES, heron.size)):
        goal = heron.forward(q)
        start = time.process_time()
        ours = solutions(heron, goal, pinned={heron.joints[0]: float(q[0])})
        ours_s += time.process_time() - start
        turn = np.eye(4)
        turn[:2, :2] = [[np.cos(q[0]), np.sin(q[0])], [-np.sin(q[0]), np.cos(q[0])]]
        seen = base @ turn @ np.linalg.inv(base) @ goal
        seen[:3, :3] = seen[:3, :3] @ home[:3, :3].T
        start = time.process_time()
        answer = robot.IK(seen)
        theirs_s += time.process_time() - start
        exact = ~np.asarray(answer.is_LS)
        theirs = np.asarray(answer.Q)[exact]
        full = np.column_stack([np.full(len(theirs), q[0]), theirs])
        met = np.abs(heron.forward(full) - goal).max(axis=(1, 2)) < 1e-6
        full = full[met]
        apart = np.abs(wrapped(full[:, None] - ours)).max(axis=2)
        missed += int((apart.min(axis=1) > 0.02).sum())
        more += int((apart.min(axis=0) > 0.02).sum()) if len(full) else len(ours)
        theirs_all, ours_all = theirs_all + len(full), ours_all + len(ours)
    with capsys.disabled():
        print(f"\n  {POSES} poses, first joint pinned: {ours_all} ways, peer {theirs_all}")
        print(f"  found by the peer alone {missed}, by us alone {more}")
        print(f"  a pose: ours {ours_s / POSES * 1e3:.2f} ms, peer {theirs_s / POSES * 1e3:.3f} ms (arm made before)")
    assert missed == 0
    assert ours_s / POSES < 2e-3


def test_the_whole_curve_of_a_spare_joint(capsys, heron):
    free, took, free_s, worse = np.ones(heron.size, dtype=bool), 0.0, 0.0, 0
    for q in np.random.default_rng(1).uniform(-np.pi, np.pi, (25, heron.size)):
        goal = heron.forward(q)
        start = time.process_time()
        curve_of(heron, goal, None, free, np.zeros(heron.size))
        took += time.process_time() - start
        start = time.process_time()
        found = ways(heron, goal)
        free_s += time.process_time() - start
        best = -np.inf
        for turn in np.arange(-np.pi, np.pi, np.deg2rad(2.0)):
            try:
                pinned = solutions(heron, goal, pinned={heron.joints[0]: float(turn)})
            except ReachError:
                continue
            best = max(best, margin_share(heron, pinned).max())
        worse += int(margin_share(heron, found.q)[0] < best - 0.02)
    with capsys.disabled():
        print(f"\n  the curve of a pose {took / 25 * 1e3:.1f} ms, its ways {free_s / 25 * 1e3:.1f} ms")
        print(f"  poses of 25 with less margin than a sweep of 2 deg finds: {worse}")
    assert worse == 0


def test_any_joint_may_be_the_pinned_one(capsys, heron):
    with capsys.disabled():
        print()
        for name in heron.joints:
            column, missed, took = heron.column(name), 0, 0.0
            for q in np.random.default_rng(2).uniform(-np.pi, np.pi, (300, heron.size)):
                goal = heron.forward(q)
                start = time.process_time()
                found = solutions(heron, goal, pinned={name: float(q[column])})
                took += time.process_time() - start
                missed += int(np.abs(wrapped(found - q)).max(axis=1).min() > 0.02)
            print(f"  {name} pinned: {took / 300 * 1e3:5.1f} ms a pose, its own posture missed {missed} of 300 times")
