"""How near to the least time the timing of rounded ways comes: against toppra on the same ways and limits.

toppra is given the tip speed as joint rates that vary along the way, at 1,200 places: a little more than what is
allowed between them, so that its duration is, if anything, below the least.
"""

import logging

import numpy as np
import pytest
from scipy.interpolate import PPoly

from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import jacobian
from armcarry.motion.path import rounded
from armcarry.motion.timing import RateLimits, law_of
from armcarry.motion.toolbox import read_arm
from armcarry.scene.tree import Tree

pytestmark = [pytest.mark.bench, pytest.mark.filterwarnings("ignore")]
V, A, TIP = np.deg2rad([1.2] * 4 + [2.0] * 3), np.deg2rad([0.25] * 4 + [0.5] * 3), 0.15
ZONES = (4, 16, 32, 64)


class Peer:
    """A way of ours as toppra asks for it."""

    def __init__(self, curve):
        self.poly = PPoly(np.ascontiguousarray(np.moveaxis(curve.coefficients, 1, 0)[::-1]), curve.breaks_s)
        self.dof, self.path_interval, self.duration, self.waypoints = 7, np.array([0.0, 1.0]), 1.0, None

    def __call__(self, s, order=0):
        return self.poly(s, order)

    def eval(self, s):
        return self.poly(s)

    def evald(self, s):
        return self.poly(s, 1)

    def evaldd(self, s):
        return self.poly(s, 2)


def least_s(chain, path):
    from toppra import algorithm, constraint

    peer = Peer(path.curve)

    def rates(s):
        slope = peer.poly(s, 1)
        speed = np.linalg.norm(jacobian(chain, peer.poly(s))[:3] @ slope)
        most = np.abs(slope) * min(TIP / speed, np.min(V / np.maximum(np.abs(slope), 1e-12))) + 1e-12
        return np.stack([-most, most], axis=1)

    asked = [
        constraint.JointAccelerationConstraint(np.stack([-A, A], axis=1)),
        constraint.JointVelocityConstraintVarying(rates),
    ]
    places = np.unique(np.concatenate([np.linspace(0, 1, 1201), path.curve.breaks_s]))
    found = algorithm.TOPPRA(asked, peer, gridpoints=places, parametrizer="ParametrizeConstAccel")
    return found.compute_trajectory(0, 0).duration


def test_rounded_ways_against_the_least_time(capsys):
    pytest.importorskip("toppra")
    logging.getLogger("toppra").setLevel(logging.ERROR)
    arm = read_arm("heron")
    names = [f"arm/{name}" for name in arm.document.joints]
    chain = Chain.of(Tree().place("arm", arm.model), "world", "arm/tip", names)
    rng, ratios = np.random.default_rng(0), []
    for _ in range(12):
        corners = np.cumsum(np.vstack([rng.uniform(-2, 2, 7), rng.uniform(-0.7, 0.7, (4, 7))]), axis=0)
        path = rounded(chain.joints, corners)
        limits = [RateLimits(V, A, TIP, bend_zones=zones) for zones in ZONES]
        ratios.append(np.array([law_of(path, limit, (), chain).end_s for limit in limits]) / least_s(chain, path))
    median, worst = np.median(ratios, axis=0), np.max(ratios, axis=0)
    with capsys.disabled():
        print("\n  12 rounded ways of Heron with a rider, duration by toppra's")
        for row in zip(ZONES, median, worst, strict=True):
            print("  {:3d} zones a bend: median {:.3f}, worst {:.3f}".format(*row))
    assert median[-1] < 1.015 and worst[-1] < 1.03
