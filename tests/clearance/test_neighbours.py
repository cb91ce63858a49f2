"""Which bodies of an arm are left unjudged because they touch in every posture."""

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.clearance.neighbours import always_touching, joined
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Capsule, Cylinder, Sphere
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

Y, Z = np.array([0.0, 1.0, 0.0]), np.array([0.0, 0.0, 1.0])
ALONG_X = from_xyz_rpy((0.5, 0.0, 0.0), (0.0, np.pi / 2, 0.0))


def folding(hub_m=0.0, elbow=(-3.1, 3.1)):
    """A post, a boom of 1 m that turns on it, a hub a joint further and a boom beyond that may fold onto the first."""
    joints = (
        Joint("swing", "revolute", "post", "upper", identity(), Z, -np.inf, np.inf),
        Joint("elbow", "revolute", "upper", "hub", translation((1.0, 0.0, 0.0)), Y, *elbow),
        Joint("turn", "revolute", "hub", "fore", translation((hub_m, 0.0, 0.0)), Y, -3.1, 3.1),
    )
    bodies = (
        Body("stand", "post", Cylinder(0.1, 0.5), translation((0.0, 0.0, -0.2))),
        Body("boom_1", "upper", Capsule(0.05, 0.9), ALONG_X),
        Body("case", "hub", Sphere(0.1), identity()),
        Body("boom_2", "fore", Capsule(0.05, 0.6), from_xyz_rpy((0.5, 0.0, 0.0), (0.0, np.pi / 2, 0.0))),
        Body("far", "fore", Sphere(0.05), translation((0.9, 0.0, 0.0))),
    )  # fmt: skip
    return Model("folding", "post", ("post", "upper", "hub", "fore"), joints, bodies)


def test_only_what_touches_in_every_posture_is_left_out_and_each_says_why():
    found = always_touching(folding())
    assert {(pair.body_a, pair.body_b) for pair in found} == {("stand", "boom_1"), ("boom_1", "case")}
    assert found[0].reason == "stand and boom_1 touch in every posture, proven over the travel of joint 'swing'"
    # boom_2 meets boom_1 only where it folds, and the case nowhere: both are judged
    assert not any("boom_2" in (pair.body_a, pair.body_b) for pair in found)


def test_two_joints_apart_both_travels_are_tried():
    model = folding()
    short = Body("stub", "fore", Sphere(0.12), translation((0.05, 0.0, 0.0)))
    found = always_touching(Model("m", "post", model.links, model.joints, (*model.bodies, short)))
    pair = next(pair for pair in found if (pair.body_a, pair.body_b) == ("boom_1", "stub"))
    assert pair.reason == (
        "boom_1 and stub touch in every posture, proven over the travels of joints 'elbow' and 'turn'"
    )


def test_a_slide_without_limits_leaves_nothing_out():
    joint = Joint("slide", "prismatic", "a", "b", axis=Z, lower=-np.inf, upper=np.inf)
    bodies = (Body("x", "a", Sphere(1.0), identity()), Body("y", "b", Sphere(1.0), identity()))
    assert always_touching(Model("m", "a", ("a", "b"), (joint,), bodies)) == ()
    stopped = Joint("slide", "prismatic", "a", "b", axis=Z, lower=-0.1, upper=0.1)
    assert len(always_touching(Model("m", "a", ("a", "b"), (stopped,), bodies))) == 1


def test_what_touches_at_both_ends_of_the_travel_and_not_between_is_judged():
    joint = Joint("elbow", "revolute", "upper", "fore", translation((1.0, 0.0, 0.0)), Y, -3.1, 3.1)
    away = Capsule(0.05, 0.4)
    bodies = (Body("boom_1", "upper", Capsule(0.05, 0.9), ALONG_X), Body("boom_2", "fore", away, ALONG_X))
    assert always_touching(Model("m", "upper", ("upper", "fore"), (joint,), bodies)) == ()


def gaps(model, joint, positions, others=0.0):
    """Return the distances of the two bodies of a model while one joint goes through positions, the others standing."""
    tree = Tree().place("it", model)
    q = np.full((len(positions), len(tree.joints)), others)
    q[:, joint] = positions
    world = forward(tree, q, [f"it/{body.link}" for body in model.bodies])
    placed = world @ np.stack([body.pose for body in model.bodies])
    return distances([body.shape for body in model.bodies], placed, np.array([[0, 1]]))


def random_pair(rng, kind, shape_of):
    """Two bodies with one joint between, often about its axis, beside other joints that stand."""
    def near(scale):
        return from_xyz_rpy(rng.normal(size=3) * scale, rng.normal(size=3))

    axis = rng.normal(size=3)
    low = rng.uniform(-3.0, 0.0) if kind == "revolute" else rng.uniform(-0.4, 0.0)
    high = low + rng.uniform(0.0, 1.0 - low)
    joint = Joint("j", kind, "mid", "low", near(0.3), axis / np.linalg.norm(axis), low, high)
    first = Joint("f", "revolute", "top", "mid", near(1.0), Y, -3.0, 3.0)
    tail = Joint("t", "fixed", "low", "tail", near(0.1))
    scale = rng.choice([0.02, 0.2, 0.5])
    at = joint.origin if rng.random() < 0.7 else identity()
    bodies = (
        Body("one", "mid", shape_of(rng), at @ near(scale)), Body("two", "tail", shape_of(rng), near(scale)),
    )  # fmt: skip
    return Model("m", "top", ("top", "mid", "low", "tail"), (first, joint, tail), bodies)


@pytest.mark.parametrize("kind", ["revolute", "prismatic"])
def test_what_is_settled_holds_at_instants_in_between(kind, shape_of):
    rng = np.random.default_rng(5)
    counts = {"touching": 0, "apart": 0, "open": 0, "missed": 0, "beyond": 0}
    for _ in range(150):
        model = random_pair(rng, kind, shape_of)
        found, joint = joined(model), model.joints[1]
        seen = gaps(model, 1, rng.uniform(joint.lower, joint.upper, 200), others=rng.uniform(-1, 1))
        if found.touching:
            assert np.all(seen.upper_m <= 2e-6)
            assert found.touching == always_touching(model)
        for pair in found.apart:
            assert seen.lower_m.min() >= pair.least_m - 1e-9 and np.isfinite(seen.lower_m).all()
            counts["apart"] += 1
            if pair.beyond:
                assert gaps(model, 1, rng.uniform(-4.0, 4.0, 200)).lower_m.min() >= pair.least_m - 1e-9
                counts["beyond"] += 1
        counts["touching"] += len(found.touching)
        counts["open"] += len(found.open)
        counts["missed"] += bool(found.open) and bool(np.all(seen.upper_m <= 0.0))
        assert len(found.touching) + len(found.apart) + len(found.open) == 1
    assert min(counts["touching"], counts["apart"], counts["open"]) > 15, counts
    assert (counts["beyond"] > 5) == (kind == "revolute"), counts
    assert counts["missed"] <= 0.25 * counts["touching"], counts  # what is not proven is judged


def test_a_joint_that_only_lets_faces_meet_is_settled_by_its_axis():
    drums = (Body("lower", "a", Cylinder(0.27, 0.28), translation((0.0, 0.0, 0.26))),
             Body("upper", "b", Cylinder(0.24, 0.27), translation((0.0, 0.0, 0.085 + 0.05))))  # fmt: skip
    joint = Joint("turn", "revolute", "a", "b", translation((0.0, 0.0, 0.4)), Z, -4.0, 4.0)
    assert [pair.joints for pair in joined(Model("m", "a", ("a", "b"), (joint,), drums)).touching] == [("turn",)]
    lifted = (drums[0], Body("upper", "b", Cylinder(0.24, 0.27), translation((0.0, 0.0, 0.135 + 1e-5))))
    found = joined(Model("m", "a", ("a", "b"), (joint,), lifted))
    assert not found.touching and found.apart[0].least_m > 0.0
