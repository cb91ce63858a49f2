"""The closest approach to faces, against dense sampling of the faces' points."""

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.clearance.skin import halved, skin
from armcarry.clearance.surface_map import Stretch, surface_map
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import apply, from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere, volume_m3
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

CLOUD = np.random.default_rng(1).normal(size=(14, 3)) + 5.0
SHAPES = [Box((2.0, 0.5, 0.1)), Cylinder(0.7, 1.5), Sphere(0.6), Capsule(0.2, 2.0), ConvexMesh.hull_of(CLOUD)]


@pytest.mark.parametrize("shape", SHAPES)
def test_a_skin_is_closed_small_and_near_the_surface(shape):
    one = skin(shape, 0.2)
    corners = one.vertices_m[one.faces]
    edges = np.linalg.norm(corners - np.roll(corners, -1, axis=1), axis=2)
    assert edges.max() <= 0.2 + 1e-9
    a, b, c = (corners[:, k] for k in range(3))
    volume = float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6)
    area = float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)
    # outward, closed, and inside the true surface by no more than the bulge
    assert volume_m3(shape) - 1.1 * area * one.bulge_m - 1e-9 <= volume <= volume_m3(shape) + 1e-9


def test_halved_triangles_keep_their_origin():
    corners = np.array([[[0, 0, 0], [1, 0, 0], [0, 1, 0]], [[0, 0, 1], [0.1, 0, 1], [0, 0.1, 1]]], dtype=float)
    small, origin = halved(corners, 0.3)
    assert np.all(np.diff(origin) >= 0)
    area = np.linalg.norm(np.cross(small[:, 1] - small[:, 0], small[:, 2] - small[:, 0]), axis=1) / 2
    assert [area[origin == k].sum() for k in (0, 1)] == pytest.approx([0.5, 0.005])


@pytest.fixture
def swing():
    """A capsule on a turntable that sweeps past five still bodies and one that turns with a slow second joint."""
    z = np.array([0.0, 0.0, 1.0])
    joints = (Joint("fast", "revolute", "base", "arm", axis=z), Joint("slow", "revolute", "base", "panel", axis=z))
    places = [(2.0 * np.cos(k), 2.0 * np.sin(k), 0.9) for k in range(5)]
    around = [from_xyz_rpy(place, (k, 1, 0)) for k, place in enumerate(places)]
    around[4] = around[4] @ translation(-np.full(3, 5.0))
    bodies = (
        Body("arm", "arm", Capsule(0.1, 1.0), from_xyz_rpy((1.0, 0, 0), (0, np.pi / 2, 0))),
        *(Body(f"s{k}", "base", shape, pose) for k, (shape, pose) in enumerate(zip(SHAPES, around, strict=True))),
        Body("panel", "panel", Box((1.0, 0.05, 1.0)), translation((-3.0, 0, 0))),
        Body("far", "base", Box((30.0, 30.0, 1.0)), translation((0, 0, -9.0))),
    )
    tree = Tree().place("t", Model("t", "base", ("base", "arm", "panel"), joints, bodies))
    return tree, Motion(tree.joints, np.array([0.0, 10.0]), np.array([[[0.0, 0.0], [0.5, 0.03]]]))


def sampled_least(tree, motion, made, k):
    """Return the least sampled distance of the arm from points of face k, at many instants."""
    weights = np.random.default_rng(k).dirichlet(np.ones(3), 12)
    points = weights @ made.corners_m[k]
    row = int(made.body[k])
    body = tree.bodies[row]
    times = np.linspace(0.0, 10.0, 400)
    frames = forward(tree, motion.at(times), [tree.bodies[0].link, body.link])
    arm = frames[:, 0] @ tree.bodies[0].pose
    least = np.inf
    for point in points:
        dot = translation(apply(frames[:, 1] @ body.pose, point))
        found = distances([tree.bodies[0].shape, Sphere(0.0)], np.stack([arm, dot], axis=1), np.array([[0, 1]]))
        least = min(least, found.upper_m.min())
    return least


def test_bounds_hold_for_points_of_every_face(swing):
    tree, motion = swing
    made = surface_map([Stretch(tree, motion)], range(1, 8), [0], report_distance_m=1.5)
    rng = np.random.default_rng(0)
    # sampled points of a round face lie inside the true surface by the bulge at most
    bulge = {row: skin(tree.bodies[row].shape, 0.25).bulge_m for row in range(1, 8)}
    for k in rng.choice(len(made.body), 150, replace=False).tolist():
        least = sampled_least(tree, motion, made, k)
        assert made.lower_m[k] <= least + bulge[int(made.body[k])]
        if made.lower_m[k] < 1.5 - 0.02:
            assert least <= made.upper_m[k] + 0.02
            assert made.upper_m[k] - made.lower_m[k] <= 0.02 + 2 * 0.16 + 3 * bulge[int(made.body[k])]


def test_faces_are_small_where_something_is_near_and_few_where_not(swing):
    tree, motion = swing
    made = surface_map([Stretch(tree, motion)], range(1, 8), [0], report_distance_m=1.5)
    edges = np.linalg.norm(made.corners_m - np.roll(made.corners_m, -1, axis=1), axis=2).max(axis=1)
    assert np.all(edges[made.lower_m < 1.5] <= 0.25 + 1e-9)
    far = made.body == 7
    assert np.all(made.lower_m[far] == 1.5) and np.all(np.isinf(made.upper_m[far]))
    assert far.sum() < 2000


def test_stretches_of_one_run_give_the_least_of_all(swing):
    tree, motion = swing
    whole = surface_map([Stretch(tree, motion)], [1, 2, 3], [0])
    parts = [Stretch(tree, motion, 0.0, 4.0), Stretch(tree, motion, 4.0, 10.0)]
    cut = surface_map(parts, [1, 2, 3], [0])
    assert cut.lower_m.min() == pytest.approx(whole.lower_m.min(), abs=0.03)
    assert len(cut.body) == len(whole.body)
    assert np.abs(cut.lower_m - whole.lower_m).max() < 0.03
    alone = surface_map(parts[:1], [1, 2, 3], [0])
    assert alone.lower_m.min() >= cut.lower_m.min() - 0.03


def test_nothing_near_leaves_whole_faces():
    tree = Tree().place(
        "t",
        Model("t", "base", ("base", "l"), (Joint("j", "revolute", "base", "l", axis=np.array([0.0, 0.0, 1.0])),),
              (Body("a", "l", Sphere(0.1), identity()), Body("b", "base", Box((1, 1, 1)), translation((50.0, 0, 0))))),
    )  # fmt: skip
    motion = Motion(tree.joints, np.array([0.0, 1.0]), np.array([[[0.0], [1.0]]]))
    made = surface_map([Stretch(tree, motion)], [1], [0])
    assert len(made.body) == 12
    assert np.all(made.lower_m == 3.0)
