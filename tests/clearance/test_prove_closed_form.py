"""Moving pairs whose least distance has a closed form."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.clearance import prove_clearance
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

TOLERANCE_M = 1e-3
AXES = {"x": (1.0, 0.0, 0.0), "y": (0.0, 1.0, 0.0), "z": (0.0, 0.0, 1.0)}
metres = st.floats(-3.0, 3.0)
radii = st.floats(0.01, 0.3)
relaxed = settings(deadline=None, max_examples=60, derandomize=True)


def chain(joints, moving, still):
    """Return a tree of joints ('rx', 'pz', ...) with one body at the end and one on the base."""
    links = ["base", *(f"l{k}" for k in range(len(joints)))]
    made = tuple(
        Joint(f"j{k}", {"r": "revolute", "p": "prismatic"}[name[0]], links[k], links[k + 1],
              axis=np.array(AXES[name[1]]))
        for k, name in enumerate(joints)
    )  # fmt: skip
    bodies = (
        Body("moving", links[-1], moving[0], moving[1], "arm"),
        Body("still", "base", still[0], still[1], "structure"),
    )
    return Tree().place("t", Model("t", "base", tuple(links), made, bodies))


def eased(tree, start, end, duration_s=7.0):
    """Return the motion start + (end - start) (3 u^2 - 2 u^3), u = t / duration."""
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    step = end - start
    table = np.stack([start, 0 * step, 3 * step / duration_s**2, -2 * step / duration_s**3])
    return Motion(tree.joints, np.array([0.0, duration_s]), table[None])


def assert_least(tree, motion, wanted_m):
    bounds = prove_clearance(tree, motion, [(0, 1)], report_distance_m=np.inf, tolerance_m=TOLERANCE_M)
    if wanted_m <= 0.0:
        assert bounds.status[0] == "contact"
        return bounds
    if wanted_m < 3e-6:  # nearer than contact can be told from none
        return bounds
    assert bounds.status[0] == "proven"
    assert bounds.lower_m[0] <= wanted_m + 1e-9
    assert bounds.upper_m[0] >= wanted_m - 1e-9
    assert bounds.upper_m[0] - bounds.lower_m[0] <= TOLERANCE_M
    assert bounds.lower_m[0] > 0.0
    return bounds


@relaxed
@given(st.tuples(metres, metres, metres), st.tuples(metres, metres, metres), radii, radii)
def test_sphere_past_sphere(start, end, radius, other):
    tree = chain(["px", "py", "pz"], (Sphere(radius), identity()), (Sphere(other), identity()))
    a, b = np.array(start), np.array(end)
    step = b - a
    share = 0.0 if step @ step < 1e-30 else float(np.clip(-(a @ step) / (step @ step), 0.0, 1.0))
    assert_least(tree, eased(tree, start, end), float(np.linalg.norm(a + share * step)) - radius - other)


@relaxed
@given(st.floats(0.1, 5.0), st.floats(-0.5, 0.5), st.floats(-7.0, 7.0), st.floats(-9.0, 9.0), st.floats(0.0, 1.0))
def test_screw_of_a_point_past_a_plane(radius, pitch, first, turn, gap):
    wall = (Box((1.0, 200.0, 200.0)), translation((radius + gap + 0.5, 0.0, 0.0)))
    tree = chain(["rz", "pz"], (Sphere(0.0), translation((radius, 0.0, 0.0))), wall)
    last = first + turn
    low, high = min(first, last), max(first, last)
    top = 1.0 if np.floor(high / (2 * np.pi)) * 2 * np.pi >= low else max(np.cos(low), np.cos(high))
    assert_least(tree, eased(tree, (first, pitch * first), (last, pitch * last)), radius + gap - radius * top)


@relaxed
@given(metres, metres, st.floats(0.2, 2.0), st.floats(0.1, 3.0), radii, radii)
def test_capsule_past_a_crossed_capsule(first, last, height, length, radius, other):
    along_y = from_xyz_rpy((0.0, 0.0, height), (np.pi / 2, 0.0, 0.0))
    along_x = from_xyz_rpy((0.0, 0.0, 0.0), (0.0, np.pi / 2, 0.0))
    tree = chain(["px"], (Capsule(radius, 2.0), along_y), (Capsule(other, length), along_x))
    nearest = 0.0 if first * last <= 0.0 else min(abs(first), abs(last))
    beyond = max(0.0, nearest - length / 2)
    assert_least(tree, eased(tree, [first], [last]), float(np.hypot(height, beyond)) - radius - other)


@relaxed
@given(
    metres, metres, st.sampled_from([0.0, 1e-12, 1e-6, 0.4, 1.3]), st.floats(0.0, 1.5), st.floats(0.0, 1.5), radii,
    radii,
)  # fmt: skip
def test_capsule_along_a_parallel_capsule(first, last, beside, length, other_length, radius, other):
    along_x = (0.0, np.pi / 2, 0.0)
    still = from_xyz_rpy((0.0, beside, 0.0), along_x)
    tree = chain(
        ["px"], (Capsule(radius, length), from_xyz_rpy((0.0, 0.0, 0.0), along_x)), (Capsule(other, other_length), still)
    )
    nearest = 0.0 if first * last <= 0.0 else min(abs(first), abs(last))
    beyond = max(0.0, nearest - (length + other_length) / 2)
    assert_least(tree, eased(tree, [first], [last]), float(np.hypot(beside, beyond)) - radius - other)


@relaxed
@given(st.floats(0.2, 2.0), st.floats(-0.4, 0.4), st.floats(0.5, 6.0), st.floats(0.01, 1.5), radii)
def test_screw_of_a_capsule_round_a_capsule_on_the_screw_s_own_axis(away, pitch, turn, length, radius):
    # the moving axis stays parallel to the still one, at one distance from it, and both reach past each other
    core = (Capsule(0.1, 2 * (6.0 * 0.4 + 1.5)), identity())
    tree = chain(["rz", "pz"], (Capsule(radius, length), translation((away + radius + 0.1, 0.0, 0.0))), core)
    assert_least(tree, eased(tree, (0.0, 0.0), (turn, pitch * turn)), away)


@relaxed
@given(st.floats(-3.0, 3.0), st.floats(-3.0, 3.0), st.floats(0.5, 15.0), st.floats(0.5, 15.0), radii)
def test_pendulum_past_a_sphere(first, last, arm, other, radius):
    tree = chain(["rz"], (Sphere(radius), translation((arm, 0.0, 0.0))),
                 (Sphere(radius), translation((other, 0.0, 0.0))))  # fmt: skip
    angle = 0.0 if first * last <= 0.0 else min(abs(first), abs(last))
    apart = np.sqrt(max(0.0, arm**2 + other**2 - 2 * arm * other * np.cos(angle)))
    assert_least(tree, eased(tree, [first], [last]), float(apart) - 2 * radius)


def test_two_joints_that_cancel_move_nothing():
    # a body on two like axes turned against each other keeps its attitude and, here, its place
    tree = chain(["rz", "rz"], (Box((1.0, 1.0, 1.0)), identity()), (Box((1.0, 1.0, 1.0)), translation((2.0, 0, 0))))
    bounds = assert_least(tree, eased(tree, (0.3, -0.3), (2.0, -2.0)), 1.0)
    assert bounds.measured < 2000


def test_high_degree_timing_of_a_straight_path_costs_no_more_than_a_slow_one():
    tree = chain(["px"], (Sphere(0.1), translation((0, 0.5, 0))), (Sphere(0.1), identity()))
    u = np.polynomial.Polynomial([0.0, 1.0])
    smooth = 126 * u**5 - 420 * u**6 + 540 * u**7 - 315 * u**8 + 70 * u**9  # rest to rest, degree 9
    table = np.zeros((1, 10, 1))
    table[0, :, 0] = (-2.0 + 4.0 * smooth).coef
    motion = Motion(tree.joints, np.array([0.0, 1.0]), table)
    bounds = assert_least(tree, motion, 0.3)
    assert bounds.time_s[0] == pytest.approx(0.5, abs=0.05)
    assert bounds.measured < 60
