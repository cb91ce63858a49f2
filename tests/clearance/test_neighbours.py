"""Which bodies of an arm are left unjudged because they touch in every posture."""

import numpy as np

from armcarry.clearance.neighbours import always_touching
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Capsule, Cylinder, Sphere

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
    assert found[0].reason == "stand and boom_1 touch in all 73 postures tried over the travel of joint 'swing'"
    # boom_2 meets boom_1 only where it folds, and the case nowhere: both are judged
    assert not any("boom_2" in (pair.body_a, pair.body_b) for pair in found)


def test_two_joints_apart_both_travels_are_tried():
    model = folding()
    short = Body("stub", "fore", Sphere(0.12), translation((0.05, 0.0, 0.0)))
    found = always_touching(Model("m", "post", model.links, model.joints, (*model.bodies, short)))
    pair = next(pair for pair in found if (pair.body_a, pair.body_b) == ("boom_1", "stub"))
    assert pair.reason == (
        "boom_1 and stub touch in all 625 postures tried over the travels of joints 'elbow' and 'turn'"
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
