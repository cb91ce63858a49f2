"""The tree of frames: names, order, attaching and detaching, poses, and what it refuses."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.errors import FrameError, InputError
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.shapes import Sphere
from armcarry.scene.tree import WORLD, Tree


def _model(name, *joints, root="root", bodies=()):
    links = (root, *(joint.child for joint in joints))
    return Model(name, root, links, joints, tuple(bodies))


def _arm():
    return _model(
        "arm",
        Joint("turn", "revolute", "root", "upper", poses.translation((0, 0, 1)), np.array([0.0, 0.0, 1.0]), -2.0, 2.0),
        Joint("fix", "fixed", "upper", "elbow", poses.translation((1, 0, 0))),
        Joint("slide", "prismatic", "elbow", "tip", poses.identity(), np.array([1.0, 0.0, 0.0]), 0.0, 3.0),
        bodies=[Body("ball", "tip", Sphere(0.1), poses.identity())],
    )


def _box():
    lid = Joint("lid", "revolute", "root", "cover", poses.translation((0, 0, 0.5)), np.array([0.0, 1.0, 0.0]), 0.0, 2.0)
    return _model("box", lid)


def _tree():
    return (
        Tree()
        .place("platform", _model("platform"))
        .place("arm", _arm(), "platform/root", poses.translation((5, 0, 0)))
        .place("box", _box(), "platform/root", poses.translation((0, 3, 0)))
    )


def test_names_and_their_order():
    tree = _tree()
    assert tree.joints == ("arm/turn", "arm/slide", "box/lid")
    assert tree.links == (
        "world", "platform/root", "arm/root", "arm/upper", "arm/elbow", "arm/tip", "box/root", "box/cover",
    )
    assert [tree.index(link) for link in tree.links] == list(range(8))
    assert [tree.column(joint) for joint in tree.joints] == [0, 1, 2]
    assert [(body.name, body.link) for body in tree.bodies] == [("arm/ball", "arm/tip")]
    assert np.array_equal(tree.joint_limits, [[-2, 2], [0, 3], [0, 2]])
    assert np.array_equal(tree.revolute, [True, False, True])


def test_an_empty_tree_has_the_world_alone():
    tree = Tree()
    assert tree.links == (WORLD,)
    assert tree.joint_limits.shape == (0, 2)
    assert tree.parents.tolist() == [-1]
    assert np.array_equal(tree.pose_of(WORLD, np.zeros(0)), np.eye(4))


def test_arrays_agree_with_the_joints():
    tree = _tree()
    assert tree.parents.tolist() == [-1, 0, 1, 2, 3, 4, 1, 6]
    assert tree.kinds.tolist() == [0, 0, 0, 1, 0, 2, 0, 1]
    assert tree.columns.tolist() == [-1, -1, -1, 0, -1, 1, -1, 2]
    assert np.array_equal(tree.axes[5], [1, 0, 0])
    assert np.array_equal(tree.origins[2], poses.translation((5, 0, 0)))
    assert all(parent < row for row, parent in enumerate(tree.parents))


def test_poses_by_hand():
    tree = _tree()
    # arm at x = 5 turned by a quarter turn: the tip is 1 m along and 2 m out, to the left; 1 m up
    tip = tree.pose_of("arm/tip", np.array([math.pi / 2, 2.0, 0.0]))
    assert np.allclose(tip[:3, 3], [5.0, 3.0, 1.0], rtol=0, atol=1e-15)
    assert np.allclose(tip[:3, 0], [0.0, 1.0, 0.0], rtol=0, atol=1e-15)
    seen_from_tip = tree.pose_of("box/root", np.array([math.pi / 2, 2.0, 0.0]), relative_to="arm/tip")
    assert np.allclose(seen_from_tip[:3, 3], [0.0, 5.0, -1.0], rtol=0, atol=1e-15)


def test_attaching_keeps_the_joint_vector_and_moves_the_thing_along():
    tree = _tree()
    held = tree.attach("box", "arm/tip", poses.translation((0, 0, -1)))
    assert held.joints == tree.joints
    assert held.joint_limits.tolist() == tree.joint_limits.tolist()
    assert set(held.links) == set(tree.links)
    position = np.array([0.3, 1.2, 0.7])
    tip = held.pose_of("arm/tip", position)
    assert np.allclose(held.pose_of("box/root", position), tip @ poses.translation((0, 0, -1)), rtol=0, atol=1e-15)
    assert np.array_equal(tip, tree.pose_of("arm/tip", position))
    assert tree.mounting("box").parent == "platform/root"  # the old tree is as it was
    back = held.attach("box", "platform/root", poses.translation((0, 3, 0)))
    assert np.array_equal(back.pose_of("box/cover", position), tree.pose_of("box/cover", position))


@settings(deadline=None, max_examples=40)
@given(st.floats(-2, 2), st.floats(0, 3), st.floats(0, 2))
def test_attaching_where_a_thing_is_does_not_move_it(turn, slide, lid):
    tree, position = _tree(), np.array([turn, slide, lid])
    relative = tree.pose_of("box/root", position, relative_to="arm/tip")
    held = tree.attach("box", "arm/tip", relative)
    for link in tree.links:
        assert np.allclose(held.pose_of(link, position), tree.pose_of(link, position), rtol=0, atol=1e-14)


def test_a_thing_may_be_placed_before_what_it_hangs_from_moves_away():
    # links stay in an order in which every parent comes first, whatever hangs from what
    tree = _tree().place("hand", _model("hand"), "box/cover").attach("arm", "hand/root", poses.identity())
    for row, parent in enumerate(tree.parents):
        assert parent < row
    assert tree.links.index("hand/root") < tree.links.index("arm/root")
    assert tree.joints == ("arm/turn", "arm/slide", "box/lid")
    position = np.array([0.1, 0.2, 0.3])
    assert np.allclose(
        tree.pose_of("arm/root", position), tree.pose_of("box/cover", position), rtol=0, atol=1e-15
    )


def test_who_hangs_from_whom():
    tree = _tree().attach("box", "arm/tip", poses.identity())
    assert tree.hangs_from("box", "arm")
    assert tree.hangs_from("box", "platform")
    assert tree.hangs_from("box", "box")
    assert not tree.hangs_from("arm", "box")
    assert not tree.hangs_from("platform", "arm")


def test_ancestry_leads_from_the_link_to_the_world():
    tree = _tree()
    assert [tree.links[row] for row in tree.ancestry("arm/elbow")] == [
        "arm/elbow", "arm/upper", "arm/root", "platform/root", "world",
    ]


REFUSED = [
    (lambda tree: tree.index("arm/tpi"), "no frame named 'arm/tpi'; did you mean 'arm/tip'?"),
    (lambda tree: tree.pose_of("box/cuver", np.zeros(3)), "no frame named 'box/cuver'; did you mean 'box/cover'?"),
    (lambda tree: tree.column("arm/trun"), "no joint named 'arm/trun'; did you mean 'arm/turn'?"),
    (lambda tree: tree.column("zzz"), "no joint named 'zzz'; known: arm/slide, arm/turn, box/lid"),
    (lambda tree: tree.mounting("bxo"), "no thing named 'bxo'; did you mean 'box'?"),
    (lambda tree: tree.hangs_from("bxo", "arm"), "no thing named 'bxo'; did you mean 'box'?"),
    (lambda tree: tree.place("x", _box(), "arm/tpi"), "no frame named 'arm/tpi'; did you mean 'arm/tip'?"),
    (lambda tree: tree.attach("bxo", "arm/tip", np.eye(4)), "no thing named 'bxo'; did you mean 'box'?"),
    (lambda tree: tree.attach("box", "box/cover", np.eye(4)), "no link outside the attached thing named 'box/cover'"),
    (
        lambda tree: tree.attach("box", "arm/tip", np.eye(4)).attach("arm", "box/root", np.eye(4)),
        "no link outside the attached thing named 'box/root'",
    ),
    (lambda tree: tree.attach("box", "amr/tip", np.eye(4)), "no thing named 'amr'; did you mean 'arm'?"),
    (lambda tree: tree.attach("box", "arm/tpi", np.eye(4)), "no frame named 'arm/tpi'; did you mean 'arm/tip'?"),
]


@pytest.mark.parametrize(("act", "words"), REFUSED, ids=[words for _, words in REFUSED])
def test_unknown_names_are_told_with_the_nearest(act, words):
    with pytest.raises(FrameError) as caught:
        act(_tree())
    assert str(caught.value).startswith(words)


def test_a_name_is_placed_once():
    with pytest.raises(InputError, match="'box' is placed already"):
        _tree().place("box", _box())


@pytest.mark.parametrize(("act", "words"), [
    (lambda: _tree().place("b/c", _box()), "name of a thing; found 'b/c'; accepted: text without a stroke"),
    (lambda: _tree().place(None, _box()), "name of a thing: not a name; found 'nothing'"),
    (lambda: _tree().place("c", "box"), "not a model; found 'box'"),
    (lambda: _tree().place("c", _box(), pose=2.0), "pose of 'c': not what is accepted; found 2.0"),
    (lambda: _tree().attach("box", "arm/tip", 2 * np.eye(4)), "pose of 'box': it stretches"),
])  # fmt: skip
def test_what_cannot_be_placed_is_refused(act, words):
    with pytest.raises(InputError) as caught:
        act()
    assert str(caught.value).startswith(words)
