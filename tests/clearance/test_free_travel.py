"""At which angles of the one joint between them two bodies are proven apart."""

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.clearance.free_travel import PARTS, FreeTravel, free_travel
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import identity, translation
from armcarry.geometry.shapes import Capsule, Cylinder, Sphere
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

Y = np.array([0.0, 1.0, 0.0])


def model(kind="revolute"):
    """A post with a boom beside it that may fold onto it, a fixed plate on the boom and a ball a joint further."""
    joints = (Joint("lift", kind, "post", "boom", translation((0.0, 0.0, 0.6)), Y, -4.0, 4.0),
              Joint("plate_at", "fixed", "boom", "plate", identity()),
              Joint("turn", "revolute", "boom", "far", translation((0.0, 0.0, 2.0)), Y, -3.0, 3.0))  # fmt: skip
    bodies = (Body("neck", "post", Capsule(0.17, 0.4), translation((0.0, 0.0, 0.3))),
              Body("tube", "plate", Cylinder(0.165, 6.7), translation((0.0, 0.32, 3.5))),
              Body("ball", "far", Sphere(0.1), identity()))  # fmt: skip
    return Model("m", "post", ("post", "boom", "plate", "far"), joints, bodies)


def gaps(angles):
    tree = Tree().place("it", model())
    q = np.zeros((len(angles), len(tree.joints)))
    q[:, tree.column("it/lift")] = angles
    neck, tube = (next(body for body in tree.bodies if body.name == f"it/{name}") for name in ("neck", "tube"))
    placed = forward(tree, q, [neck.link, tube.link]) @ np.stack([neck.pose, tube.pose])
    return distances([neck.shape, tube.shape], placed, np.array([[0, 1]])).upper_m[:, 0]


def test_what_is_free_is_apart_and_little_that_is_apart_is_not_free():
    travel = free_travel(model(), "neck", "tube", 1e-3)
    assert travel.joint == "lift"
    angles = np.random.default_rng(0).uniform(-4.0, 4.0, 4000)
    free, left = travel.holds(angles, angles), gaps(angles)
    assert left[free].min() >= 1e-3
    assert left[~free].max() < 2e-3
    assert 0.5 < free.mean() < 1.0


def test_a_stretch_is_free_where_all_of_it_is_also_round_the_turn():
    free = np.ones(PARTS, dtype=bool)
    free[PARTS // 4] = False  # from 90 to 90.5 deg
    travel = FreeTravel("lift", free)
    low = np.radians([0.0, 80.0, 91.0, 91.0, -200.0, -271.0, 450.2, -10.0, 0.0])
    high = np.radians([89.9, 100.0, 449.0, 451.0, 80.0, -260.0, 450.2, 10.0, 720.0])
    assert travel.holds(low, high).tolist() == [True, False, True, False, True, False, False, True, False]
    assert FreeTravel("lift", np.ones(PARTS, dtype=bool)).holds(low, high).all()


@pytest.mark.parametrize(("kind", "other"), [("prismatic", "tube"), ("revolute", "ball")])
def test_nothing_is_told_of_a_slide_nor_of_two_joints(kind, other):
    assert free_travel(model(kind), "neck", other, 1e-3) is None
