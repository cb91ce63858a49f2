"""Cases where distance algorithms are known to break."""

import numpy as np
import pytest

from armcarry.clearance import all_pairs, distance, prove_clearance
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, inverse, translation
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

CUBE = Box((1.0, 1.0, 1.0))


def two_bodies(kind, axis, shape_a, pose_a, shape_b, pose_b, base=None):
    joint = Joint("j", kind, "base", "link", axis=np.array(axis, dtype=float))
    bodies = (Body("a", "link", shape_a, pose_a), Body("b", "base", shape_b, pose_b))
    model = Model("t", "base", ("base", "link"), (joint,), bodies)
    return Tree().place("t", model, pose=identity() if base is None else base)


def straight(first, last, duration_s=10.0):
    return Motion(("t/j",), np.array([0.0, duration_s]), np.array([[[first], [(last - first) / duration_s]]]))


def proof(tree, motion, **options):
    options.setdefault("report_distance_m", np.inf)
    return prove_clearance(tree, motion, [(0, 1)], **options)


def assert_proven(bounds, wanted_m, tolerance_m=1e-3):
    assert bounds.status[0] == "proven"
    assert bounds.lower_m[0] <= wanted_m + 1e-9
    assert bounds.upper_m[0] >= wanted_m - 1e-9
    assert bounds.upper_m[0] - bounds.lower_m[0] <= tolerance_m


def test_parallel_faces_slide_past_each_other():
    tree = two_bodies("prismatic", (1, 0, 0), CUBE, translation((0, 0, 1.02)), CUBE, identity())
    assert_proven(proof(tree, straight(-5.0, 5.0)), 0.02)


def test_coincident_axes_turn_in_place():
    lid = Cylinder(0.5, 0.2)
    tree = two_bodies("revolute", (0, 0, 1), lid, translation((0, 0, 0.15)), Cylinder(0.5, 0.1), identity())
    bounds = proof(tree, straight(0.0, 20.0))
    # disc over disc, 0.15 - 0.1 - 0.05 = 0: they touch throughout
    assert bounds.status[0] == "contact"
    assert bounds.contact_s[0] == pytest.approx([0.0, 10.0], abs=1e-9)
    tree = two_bodies("revolute", (0, 0, 1), lid, translation((0, 0, 0.2)), Cylinder(0.5, 0.1), identity())
    assert_proven(proof(tree, straight(0.0, 20.0)), 0.05)


def test_passing_at_nearly_nothing_is_proven_free():
    tree = two_bodies("prismatic", (1, 0, 0), Sphere(0.5), translation((0, 1.00001, 0)), Sphere(0.5), identity())
    bounds = proof(tree, straight(-2.0, 2.0))
    assert_proven(bounds, 1e-5)
    assert bounds.lower_m[0] > 0.0


def test_a_touch_at_one_instant_is_contact():
    tree = two_bodies("prismatic", (1, 0, 0), Sphere(0.5), translation((0, 1.0, 0)), Sphere(0.5), identity())
    bounds = proof(tree, straight(-2.0, 2.0))
    assert bounds.status[0] == "contact"
    assert bounds.lower_m[0] == -np.inf
    assert bounds.upper_m[0] == 0.0
    assert bounds.contact_s[0, 0] <= 5.0 <= bounds.contact_s[0, 1]
    assert bounds.contact_s[0, 1] - bounds.contact_s[0, 0] < 0.1


def test_deep_overlap_has_no_depth_and_a_common_point():
    tree = two_bodies("prismatic", (1, 0, 0), CUBE, identity(), Box((3.0, 3.0, 3.0)), identity())
    bounds = proof(tree, straight(-5.0, 5.0))
    assert (bounds.status[0], bounds.lower_m[0], bounds.upper_m[0]) == ("contact", -np.inf, 0.0)
    # inside for |x| < 2: 3 s to 7 s
    assert bounds.contact_s[0] == pytest.approx([3.0, 7.0], abs=2e-3)
    assert bounds.contact_s[0, 0] <= 3.0
    assert bounds.point_a[0] == pytest.approx(bounds.point_b[0])
    assert np.all(np.abs(bounds.point_a[0]) <= 1.5 + 1e-9)


def test_only_the_first_of_two_contacts_is_told():
    tree = two_bodies("revolute", (0, 0, 1), Sphere(0.1), translation((1, 0, 0)), Sphere(0.1), translation((0, 1, 0)))
    bounds = proof(tree, straight(0.0, 4 * np.pi, 40.0))
    half_angle = 2 * np.arcsin(0.1)
    middle, half = 5.0, half_angle / (4 * np.pi) * 40.0
    assert bounds.contact_s[0] == pytest.approx([middle - half, middle + half], abs=2e-3)


@pytest.mark.parametrize(
    "shape", [Capsule(1e-4, 10.0), Box((5.0, 5.0, 1e-4)), Cylinder(1e-4, 8.0), Cylinder(4.0, 1e-4)]
)
def test_needles_and_plates(shape):
    pose = from_xyz_rpy((0.3, 0.2, 6.0), (0.4, 1.1, 0.2))
    tree = two_bodies("prismatic", (1, 0, 0), shape, pose, shape, identity())
    motion = straight(-8.0, 8.0)
    bounds = proof(tree, motion)
    sampled = min(
        distance(shape, translation((x, 0, 0)) @ pose, shape, identity()).upper_m for x in np.linspace(-8, 8, 2001)
    )
    if bounds.status[0] == "contact":
        assert sampled < 5e-3
        return
    assert bounds.lower_m[0] <= sampled
    assert bounds.upper_m[0] <= sampled + 1e-3
    assert bounds.upper_m[0] - bounds.lower_m[0] <= 1e-3


def test_no_motion_costs_one_measurement():
    tree = two_bodies("revolute", (0, 0, 1), CUBE, identity(), CUBE, translation((2.0, 0, 0)))
    bounds = proof(tree, Motion.hold(("t/j",), [0.0], 0.0, 20000.0))
    assert_proven(bounds, 1.0, 2e-5)
    assert bounds.measured <= 2


def test_motions_of_a_nanometre():
    tree = two_bodies("revolute", (0, 0, 1), CUBE, identity(), CUBE, translation((2.0, 0, 0)))
    assert_proven(proof(tree, straight(0.0, 1e-9)), 1.0, 2e-5)
    tree = two_bodies("prismatic", (1, 0, 0), Sphere(0.5), identity(), Sphere(0.5), translation((2.0, 0, 0)))
    assert_proven(proof(tree, straight(0.0, 1e-9)), 1.0 - 1e-9, 2e-5)


def test_a_kilometre_from_the_origin_changes_nothing():
    far = from_xyz_rpy((1000.0, -800.0, 600.0), (0.3, 0.2, 0.1))
    mesh = ConvexMesh.hull_of(np.random.default_rng(1).normal(size=(16, 3)) * 0.4)
    here, there = (
        proof(
            two_bodies("revolute", (0, 0, 1), mesh, translation((3.0, 0, 0)), CUBE, translation((0, 4.2, 0)), base),
            straight(-1.0, 3.0),
        )
        for base in (None, far)
    )
    assert there.lower_m[0] == pytest.approx(here.lower_m[0], abs=1e-8)
    assert there.upper_m[0] == pytest.approx(here.upper_m[0], abs=1e-8)
    local = inverse(far) @ np.append(there.point_a[0], 1.0)
    assert local[:3] == pytest.approx(here.point_a[0], abs=1e-4)


@pytest.mark.parametrize("step_m", [1e-9, 1e-3])
def test_a_kilometre_away_small_motions_and_contacts_are_told_alike(step_m):
    far = from_xyz_rpy((1000.0, -800.0, 600.0), (0.3, 0.2, 0.1))
    near = two_bodies("prismatic", (1, 0, 0), CUBE, identity(), Sphere(0.5), translation((2.0, 0, 0)), far)
    assert_proven(proof(near, straight(0.0, step_m)), 1.0 - step_m)
    hit = two_bodies("prismatic", (1, 0, 0), CUBE, identity(), Sphere(0.5), translation((2.0, 0, 0)), far)
    bounds = proof(hit, straight(0.0, 1.0 + step_m, 10.0))
    assert bounds.status[0] == "contact"
    assert bounds.contact_s[0, 1] == 10.0
    touch = 10.0 / (1.0 + step_m)
    assert bounds.contact_s[0, 0] == pytest.approx(touch, abs=2e-3)


@pytest.mark.parametrize("tilt", [0.0, 1e-12, 1e-7, 1e-3])
def test_faces_that_are_nearly_parallel(tilt):
    slab = Box((2.0, 2.0, 0.1))
    pose = from_xyz_rpy((0.0, 0.0, 0.3), (tilt, 0.0, 0.0))
    tree = two_bodies("prismatic", (1, 0, 0), slab, pose, slab, identity())
    # the lowest edge of the tilted slab
    wanted = 0.3 - 0.05 - np.sin(tilt) - 0.05 * np.cos(tilt)
    assert_proven(proof(tree, straight(-1.5, 1.5)), wanted)


def test_vertices_far_from_the_body_frame():
    cloud = np.random.default_rng(2).normal(size=(20, 3)) * 0.3
    near = two_bodies(
        "prismatic", (1, 0, 0), ConvexMesh.hull_of(cloud), translation((0, 1.5, 0)), Sphere(0.2), identity()
    )
    offset = ConvexMesh.hull_of(cloud + 1000.0)
    shifted = two_bodies(
        "prismatic", (1, 0, 0), offset, translation((-1000.0, 1.5 - 1000.0, -1000.0)), Sphere(0.2), identity()
    )
    first, second = (proof(tree, straight(-2.0, 2.0)) for tree in (near, shifted))
    assert second.lower_m[0] == pytest.approx(first.lower_m[0], abs=1e-6)


def test_bodies_of_one_rigid_group_rest_against_each_other():
    joint = Joint("j", "revolute", "base", "link", axis=np.array([0.0, 0.0, 1.0]))
    bodies = (Body("a", "link", CUBE, identity()), Body("b", "link", CUBE, translation((1.5, 0, 0))))
    tree = Tree().place("t", Model("t", "base", ("base", "link"), (joint,), bodies))
    bounds = proof(tree, straight(0.0, 3.0))
    assert_proven(bounds, 0.5, 2e-5)
    assert bounds.measured <= 2
    assert len(all_pairs(tree)) == 0


def test_long_holds_cost_next_to_nothing():
    tree = two_bodies("prismatic", (1, 0, 0), CUBE, translation((0, 1.5, 0)), CUBE, identity())
    short = straight(-2.0, 2.0, 60.0)
    day = Motion.hold(("t/j",), [-2.0], 0.0, 20000.0).then(short).then(Motion.hold(("t/j",), [2.0], 0.0, 3000.0))
    bounds = proof(tree, day)
    assert_proven(bounds, 0.5)
    assert bounds.measured <= proof(tree, short).measured + 6


def test_thousands_of_pieces_that_do_not_move_the_pair():
    # the motion moves another joint only, in more pieces than the time tree has roots
    joints = (
        Joint("j", "revolute", "base", "link", axis=np.array([0.0, 0.0, 1.0])),
        Joint("idle", "revolute", "base", "other", axis=np.array([0.0, 0.0, 1.0])),
    )
    bodies = (Body("a", "link", CUBE, identity()), Body("b", "base", CUBE, translation((2.0, 0, 0))))
    tree = Tree().place("t", Model("t", "base", ("base", "link", "other"), joints, bodies))
    pieces = 3000
    table = np.zeros((pieces, 2, 2))
    table[:, 1, 1] = 0.01
    table[:, 0, 1] = 0.01 * np.arange(pieces)
    motion = Motion(tree.joints, np.arange(pieces + 1.0), table)
    bounds = proof(tree, motion)
    assert_proven(bounds, 1.0, 2e-5)
    assert bounds.measured <= 3


@pytest.mark.parametrize("pieces", [90, 500, 3000])
def test_uneven_pieces_never_outgrow_the_time_tree(pieces):
    rng = np.random.default_rng(pieces)
    ball = Sphere(0.1)
    tree = two_bodies("revolute", (0, 0, 1), ball, translation((2.0, 0, 0)), ball, translation((0, 3.0, 0)))
    span = rng.choice([0.01, 1.0, 50.0], pieces)
    rate = rng.choice([0.0, 1e-9, 1e-3, 0.5, 40.0], pieces) * rng.choice([-1, 1], pieces)
    start = np.concatenate([[0.0], np.cumsum(rate * span)])
    table = np.stack([start[:-1], rate], axis=1)[:, :, None]
    motion = Motion(tree.joints, np.concatenate([[0.0], np.cumsum(span)]), table)
    assert_proven(proof(tree, motion, tolerance_m=1e-2), 0.8, 1e-2)
