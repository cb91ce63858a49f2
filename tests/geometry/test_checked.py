"""What shapes, joints, bodies and models refuse where they are made, and what they take."""

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.geometry.model import Body, Follows, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

BALL = Sphere(0.1)


@pytest.mark.parametrize("size", [0.0, -1.0, np.nan, np.inf, 1e7, "1", None, "big", [1.0], True, np.True_])
@pytest.mark.parametrize(
    ("make", "what"),
    [
        (lambda size: Cylinder(size, 1.0), "radius of a cylinder: no size"),
        (lambda size: Cylinder(1.0, size), "length of a cylinder: no size"),
    ],
)
def test_a_size_is_a_number_above_nothing(make, what, size):
    with pytest.raises(InputError, match=rf"{what}; found .*accepted: metres, more than 0, at most 1e\+06"):
        make(size)


@pytest.mark.parametrize("size", [-1e-9, np.nan, np.inf, "1", None, False])
def test_a_ball_may_be_a_point_and_a_capsule_a_segment_and_no_less(size):
    assert (Capsule(0.0, 0.0), Sphere(0.0)) == (Capsule(0, 0), Sphere(0))
    for make in (lambda: Capsule(size, 1.0), lambda: Capsule(1.0, size), lambda: Sphere(size)):
        with pytest.raises(InputError, match=r"of a (capsule|sphere): no size; .*0 or more"):
            make()


@pytest.mark.parametrize(
    "sides",
    [(1.0, 1.0), (1.0, 1.0, -1.0), (1.0, np.nan, 1.0), "box", (1.0, 1.0, 0.0), None, 1.0, ("1", "1", "1"), (True,) * 3],
)
def test_a_box_has_three_sides(sides):
    with pytest.raises(InputError, match=r"sides? of a box"):
        Box(sides)
    assert Box(np.array([1.0, 2.0, 3.0])).size_m == (1.0, 2.0, 3.0)


@pytest.mark.parametrize(
    "vertices", [np.zeros((3, 3)), np.full((8, 3), np.nan), np.zeros((4, 2)), [[1e9, 0, 0]] * 4, "x"]
)
def test_a_mesh_has_finite_vertices(vertices):
    with pytest.raises(InputError, match="mesh"):
        ConvexMesh(vertices)


STRETCHED, MIRRORED, SHORT = np.diag([2.0, 2.0, 2.0, 1.0]), np.diag([1.0, 1.0, -1.0, 1.0]), np.eye(3)
ODD_ROW, FAR, LOST = np.eye(4), translation((1e7, 0.0, 0.0)), translation((np.nan, 0.0, 0.0))
ODD_ROW[3, 0] = 1.0


@pytest.mark.parametrize("pose", [
    STRETCHED, MIRRORED, SHORT, ODD_ROW, FAR, LOST, None, "here", 0.0 * np.eye(4), (1 + 0j) * np.eye(4),
])  # fmt: skip
def test_a_pose_turns_and_moves_and_nothing_else(pose):
    with pytest.raises(InputError, match=r"pose of body 'b': (not what is accepted|it stretches, mirrors or skews)"):
        Body("b", "world", BALL, pose)
    with pytest.raises(InputError, match=r"origin of joint 'j': (not what is accepted|it stretches, mirrors or skews)"):
        Joint("j", "fixed", "a", "b", pose)
    Body("b", "world", BALL, from_xyz_rpy((1.0, 2.0, 3.0), (0.3, -2.0, 9.0)))
    Body("b", "world", BALL, identity().tolist())


@pytest.mark.parametrize("axis", [(0.0, 0.0, 0.0), (5.0, 0.0, 0.0), (np.nan, 0.0, 1.0), (1.0, 0.0), "x"])
def test_an_axis_has_length_one(axis):
    with pytest.raises(InputError, match="axis of joint 'j'"):
        Joint("j", "revolute", "a", "b", axis=axis)
    given = Joint("j", "revolute", "a", "b", axis=(0.6000001, 0.8, 0.0)).axis  # rounded as it was written down
    assert np.linalg.norm(given) == pytest.approx(1.0, abs=1e-15)


def test_what_else_a_joint_or_body_cannot_be():
    for make, words in (
        (lambda: Joint("j", "ball", "a", "b"), "joint 'j': unknown kind; found 'ball'; accepted: fixed, revolute, p"),
        (lambda: Joint("", "fixed", "a", "b"), "joint: not a name"),
        (lambda: Joint("j", "fixed", "a", None), "link of joint 'j': not a name"),
        (lambda: Joint("j", "revolute", "a", "b", lower=1.0, upper=-1.0), "joint 'j': no travel; found '1.0 to -1.0'"),
        (lambda: Joint("j", "revolute", "a", "b", lower=np.nan), "joint 'j': no travel"),
        (lambda: Joint("j", "revolute", "a", "b", velocity=-1.0), "joint 'j': no rate"),
        (lambda: Body("b", "world", "ball", identity()), "body 'b': not a shape; found 'ball'; accepted: Sphere"),
        (lambda: Body("b", "world", BALL, identity(), "robot"), "body 'b': unknown class; found 'robot'"),
        (lambda: Body("b", 7, BALL, identity()), "link of body 'b': not a name; found 7"),
    ):  # fmt: skip
        with pytest.raises(InputError, match=words):
            make()


def test_a_model_is_a_tree_of_its_links():
    down, weld = Joint("j", "fixed", "a", "b"), Joint("k", "fixed", "b", "c")
    on_b = Body("x", "b", BALL, identity())
    assert Model("m", "a", ("a", "b", "c"), (down, weld), (on_b,)).movable() == ()
    for links, joints, bodies, words in (
        (("a", "b", "c"), (weld, down), (), "joint 'k' does not hang from the root"),
        (("a", "b"), (down, Joint("k", "fixed", "b", "a")), (), "joint 'k' does not hang from the root"),
        (("a", "b", "c"), (down,), (), "links that are not of the tree, or twice; found 'c'"),
        (("a", "b", "b"), (down,), (), "links that are not of the tree, or twice"),
        (("a", "b"), (down,), (on_b, on_b), "two of its bodies are named 'x'"),
        (("a", "b", "c"), (down, Joint("j", "fixed", "b", "c")), (), "two of its joints are named 'j'"),
        (("a",), (), (on_b,), "body 'x' is on no link of it; found 'b'"),
    ):
        with pytest.raises(InputError, match=words):
            Model("m", "a", links, joints, bodies)


def test_a_body_of_a_tree_is_the_same_with_its_full_name():
    body = Body("x", "b", BALL, translation((1.0, 2.0, 3.0)), "arm", (1.0, 0.0, 0.0, 1.0))
    full = body.inside("it")
    assert (full.name, full.link, full.shape) == ("it/x", "it/b", BALL)
    assert (full.body_class, full.colour) == ("arm", (1.0, 0.0, 0.0, 1.0))
    assert full.pose is body.pose


def test_what_a_joint_follows_moves_and_follows_none_itself():
    with pytest.raises(InputError, match="what follows joint 'a': no factor; found nan"):
        Follows("a", np.nan)
    with pytest.raises(InputError, match="what follows joint 'a': no offset; found 'nothing'"):
        Follows("a", 1.0, None)
    with pytest.raises(InputError, match="followed joint: not a name; found 3"):
        Follows(3)
    with pytest.raises(InputError, match="joint 'b': nothing to follow; found 'a'"):
        Joint("b", "revolute", "r", "s", follows="a")
    joints = (Joint("a", "revolute", "r", "s"), Joint("b", "revolute", "s", "t", follows=Follows("c")))
    with pytest.raises(InputError, match=r"joint 'b' follows 'c'; accepted: a joint of the model that moves"):
        Model("m", "r", ("r", "s", "t"), joints, ())


def test_numbers_of_a_joint_are_kept_as_numbers_whatever_they_came_as():
    joint = Joint("j", "revolute", "a", "b", lower=-(2**70), upper=2**70, velocity=np.array(1))
    assert [type(value) for value in (joint.lower, joint.upper, joint.velocity)] == [float, float, float]
