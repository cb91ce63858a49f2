"""Forward kinematics of all frames for 10,000 joint vectors, against a loop over another library."""

import time

import numpy as np
import pytest

from arm_tables import DhRow, from_dh
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree


def fastest(call, times):
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


@pytest.mark.bench
def test_all_frames_of_ten_thousand_joint_vectors(capsys):
    rtb = pytest.importorskip("roboticstoolbox")
    panda = rtb.models.DH.Panda()
    tree = Tree().place("arm", from_dh([DhRow(link.a, link.d, link.alpha) for link in panda.links], modified=True))
    chain = Chain.of(tree, "world", "arm/flange")
    by_elements = rtb.Robot(rtb.models.ETS.Panda().ets())  # the library's quicker form of the same arm
    q = np.random.default_rng(0).uniform(-2.5, 2.5, (10_000, 7))
    theirs = np.array([frame.A for frame in panda.fkine_all(q[0])[1:]])
    np.testing.assert_allclose(chain.frames(q[0]), theirs, atol=1e-9)
    rows = {
        "forward, all links of the tree": fastest(lambda: forward(tree, q), 7),
        "Chain.frames": fastest(lambda: chain.frames(q), 7),
    }
    peers = {
        "DHRobot.fkine_all, one by one": 10 * fastest(lambda: [panda.fkine_all(row) for row in q[:1000]], 2),
        "Robot.fkine_all, one by one": 10 * fastest(lambda: [by_elements.fkine_all(row) for row in q[:1000]], 2),
    }
    with capsys.disabled():
        print("\n  10,000 joint vectors, 7 joints, all frames (peers: 1,000 timed, times 10)")
        for name, seconds in {**rows, **peers}.items():
            print(f"  {name:34s} {seconds * 1e3:9.1f} ms")
        best = min(peers.values())
        for name, seconds in rows.items():
            print(f"  {name:34s} {best / seconds:9.1f} times as fast as the quicker peer")
    assert best / rows["forward, all links of the tree"] >= 20.0
