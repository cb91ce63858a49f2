"""Calls of the proof from Python, drawn with hypothesis: each answers, or raises ArmcarryError in words.

Most values of a call mean something and some do not, so that both ends are reached: what is answered is compared with
distances at sampled instants, and what is refused says so without a traceback of a library, in 5 s and 1 GB.
"""

import time

import numpy as np
import pytest
from hypothesis import strategies as st

from armcarry import prove_arm, prove_clearance
from armcarry.clearance import all_pairs, distances
from armcarry.errors import ArmcarryError
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

CUBE = [(x, y, z) for x in (-0.2, 0.2) for y in (-0.2, 0.2) for z in (-0.2, 0.2)]
ODD = st.sampled_from(
    [np.nan, np.inf, -np.inf, -1.0, 0.0, 1e16, 1e300, 5e-324, 2**70, "1", "", None, True, [1.0], (), {}, b"1", 1j]
)
#: one value in so many is odd
RARELY = 60


@st.composite
def some(draw, good):
    return draw(ODD if draw(st.integers(1, RARELY)) == RARELY else good)


def number(low, high):
    return some(st.floats(low, high))


@st.composite
def shape(draw):
    match draw(st.integers(0, 4)):
        case 0:
            return Sphere(draw(number(0.01, 0.5)))
        case 1:
            return Capsule(draw(number(0.01, 0.3)), draw(number(0.0, 1.0)))
        case 2:
            return Cylinder(draw(number(0.01, 0.3)), draw(number(0.01, 1.0)))
        case 3:
            return Box(draw(some(st.tuples(*[number(0.01, 1.0)] * 3))))
        case _:
            corners = [(draw(number(-1.0, -0.1)), -0.2, -0.2), *CUBE[1:]]
            return draw(st.sampled_from([ConvexMesh, ConvexMesh.hull_of]))(corners)


@st.composite
def pose(draw):
    made = from_xyz_rpy(*(draw(st.tuples(*[st.floats(-2.0, 2.0)] * 3)) for _ in range(2)))
    if draw(st.integers(1, RARELY)) == RARELY:
        made[draw(st.integers(0, 3)), draw(st.integers(0, 3))] = draw(st.sampled_from([np.nan, 2.0, -1.0, 1e300]))
    return draw(some(st.just(made)))


@st.composite
def body(draw, name, links):
    solid = draw(some(shape()))
    return Body(draw(some(st.just(name))), draw(some(st.sampled_from(links))), solid, draw(pose()))


@st.composite
def arm(draw):
    joints = [
        Joint(
            f"j{k}", draw(some(st.sampled_from(["revolute", "prismatic", "fixed"]))), f"l{k}", f"l{k + 1}",
            draw(pose()),
            draw(some(st.sampled_from([(1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.6, 0.8)]))),
            draw(number(-9.0, -4.0)), draw(number(4.0, 9.0)),
        )
        for k in range(draw(st.integers(1, 4)))
    ]  # fmt: skip
    links = tuple(f"l{k}" for k in range(len(joints) + 1))
    bodies = tuple(draw(body(f"b{k}", links)) for k in range(draw(st.integers(0, 3))))
    return Model("arm", "l0", links, tuple(joints), bodies)


@st.composite
def call(draw):
    """Return an arm, its times, positions, bodies and options; building it may raise already."""
    model = draw(arm())
    count = draw(st.integers(2, 4))
    start, step = draw(st.floats(-1e3, 2e9)), draw(st.sampled_from([1.0, 10.0, 1e-3, 1e-7, 1e300]))
    rows = st.lists(number(-4.0, 4.0), min_size=count, max_size=count)
    positions = {joint.name: draw(some(rows)) for joint in model.movable()}
    held = {}
    for name in list(positions):
        if draw(st.integers(0, 5)) == 0:
            held[name] = draw(number(-4.0, 4.0))
            if draw(st.integers(0, 9)):
                del positions[name]
    options = {"pieces": draw(some(st.sampled_from(["linear", "cubic"]))), "tolerance_m": draw(number(1e-4, 0.1)),
               "report_distance_m": draw(number(0.0, 5.0)), "neighbours": draw(st.booleans())}  # fmt: skip
    if draw(st.booleans()):
        options["base"] = draw(pose())
    around = [draw(body(f"o{k}", ["world"])) for k in range(draw(st.integers(1, 2)))]
    return model, [draw(some(st.just(start + step * k))) for k in range(count)], positions, around, held, options


def below_what_is_seen(found):
    """Ask of a proof that no sampled instant is nearer than it says."""
    pairs = found.bounds.pairs
    if not len(pairs):
        return
    at = np.linspace(found.motion.start_s, found.motion.end_s, 40)
    bodies = found.tree.bodies
    links = forward(found.tree, found.motion.at(at), [one.link for one in bodies])
    seen = distances([one.shape for one in bodies], links @ np.stack([one.pose for one in bodies]), pairs)
    least = np.where(seen.lower_m == -np.inf, 0.0, seen.upper_m).min(axis=0)
    apart = found.bounds.status != "contact"
    assert np.all(found.bounds.lower_m[apart] <= least[apart] + 1e-5)
    assert set(found.bounds.status) <= {"proven", "farther", "contact", "unresolved"}


@pytest.fixture
def feed():
    """Return a function that builds a call and makes it, and tells whether it was answered."""

    def one(make):
        start = time.process_time()
        try:
            make()
            answered = True
        except ArmcarryError as error:
            assert str(error) and len(str(error)) < 1000
            answered = False
        assert time.process_time() - start < 5.0
        return answered

    return one


def test_calls_of_prove_arm(kit, feed, record_property):
    def make(data):
        model, times, positions, around, held, options = data.draw(call())
        below_what_is_seen(prove_arm(model, times, positions, around, held=held, **options))

    most = max(40, kit.COUNT // 2)
    fed, answered = kit.feed_drawn(st.data(), lambda data: feed(lambda: make(data)), most, record_property)
    assert 0.1 * fed < answered < 0.9 * fed


def test_calls_of_prove_clearance(kit, feed, record_property):
    def make(data):
        tree = Tree().place("arm", data.draw(arm())).place("o", Model("o", "g", ("g",), (), (
            data.draw(body("o", ["g"])),)))  # fmt: skip
        degree, count = data.draw(st.integers(1, 3)), len(tree.joints)
        table = [[[data.draw(number(-1.0, 1.0)) for _ in range(count)] for _ in range(degree + 1)]]
        breaks = data.draw(some(st.sampled_from([[0.0, 1.0], [5.0, 8.0], [1e9, 1e9 + 1e-6], [1.0, 0.0]])))
        motion = Motion(tree.joints, breaks, table)
        pairs = data.draw(some(st.just(all_pairs(tree))))
        prove_clearance(tree, motion, pairs, tolerance_m=data.draw(number(1e-4, 0.1)),
                        start_s=data.draw(some(st.none())), report_distance_m=data.draw(number(0.0, 9.0)))  # fmt: skip

    fed, answered = kit.feed_drawn(st.data(), lambda data: feed(lambda: make(data)), kit.COUNT, record_property)
    assert 0.1 * fed < answered < 0.9 * fed
