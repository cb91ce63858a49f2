"""Joints that follow others, and files of other tools: read as other engines read them."""

from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance import prove_arm
from armcarry.errors import InputError, MotionError
from armcarry.files.urdf import read_kinematics
from armcarry.geometry.model import Body, Follows
from armcarry.geometry.poses import identity
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward

#: what is refused of the 69, and why that is right
REFUSED = {
    "alex_psyonic_hands.urdf": "joint 'Left_index_q2' follows 'index_q1', which is not there",
    "ur3.urdf": "no <link> at all",  # text for a macro processor, not yet a URDF
}


def robots() -> Path:
    pinocchio = pytest.importorskip("pinocchio")
    folder = Path(pinocchio.__file__).parents[4] / "share" / "example-robot-data" / "robots"
    if not folder.is_dir():
        pytest.skip("example-robot-data is not installed")
    return folder


def test_every_robot_of_others_is_read_or_refused_for_a_reason_that_holds():
    said = {}
    files = sorted(robots().rglob("*.urdf"))
    for path in files:
        try:
            read_kinematics(path)
        except InputError as error:
            said[path.name] = str(error)
    assert len(files) >= 60
    assert set(said) == set(REFUSED)
    for name, words in REFUSED.items():
        assert words in said[name]


@pytest.mark.parametrize(
    "name",
    ["panda_description/urdf/panda.urdf", "baxter_description/urdf/baxter.urdf",
     "tiago_pro_description/robots/tiago_pro.urdf"],
)  # fmt: skip
def test_joints_that_follow_stand_where_pinocchio_has_them(name):
    pinocchio = pytest.importorskip("pinocchio")
    path = robots() / name
    model = read_kinematics(path)
    own = [joint for joint in model.movable() if joint.follows is None]
    assert len(own) < len(model.movable())
    rng = np.random.default_rng(3)
    rows = {joint.name: rng.uniform(max(joint.lower, -0.3), min(joint.upper, 0.3), 2) for joint in own}
    motion_rows = _inside(model, rows)
    root = Body("root", model.root, Sphere(0.01), identity())
    far = Body("far", "world", Sphere(0.01), identity())
    found = prove_arm(path, [0.0, 1.0], motion_rows, [root, far], own_bodies=False)
    theirs = pinocchio.buildModelFromUrdf(str(path), True)
    data = theirs.createData()
    for instant, k in ((0.0, 0), (1.0, 1)):
        q = pinocchio.neutral(theirs)
        for joint in own:
            at = theirs.joints[theirs.getJointId(joint.name)]
            value = motion_rows[joint.name][k]
            q[at.idx_q : at.idx_q + at.nq] = [value] if at.nq == 1 else [np.cos(value), np.sin(value)]
        pinocchio.framesForwardKinematics(theirs, data, q)
        ours = forward(found.tree, found.motion.at(instant))
        for link in model.links:
            there = data.oMf[theirs.getFrameId(link)].homogeneous
            assert np.abs(ours[found.tree.index(f"arm/{link}")] - there).max() < 1e-9, link


def _inside(model, rows):
    """Return the rows drawn towards 0 or the near end of travel, until everything that follows is within its own."""
    kept = dict(rows)
    for joint in model.movable():
        if joint.follows is None:
            continue
        for _ in range(60):
            at = joint.follows.factor * kept[joint.follows.joint] + joint.follows.offset
            if np.all((at >= joint.lower) & (at <= joint.upper)):
                break
            kept[joint.follows.joint] = 0.5 * kept[joint.follows.joint]
    return kept


ROW = '<robot name="r"><link name="a"/><link name="b"/><link name="c"/><link name="d"/>{}</robot>'
JOINT = (
    '<joint name="{0}" type="revolute"><parent link="{1}"/><child link="{2}"/><axis xyz="0 0 1"/>'
    '<limit lower="-3" upper="3" effort="1" velocity="1"/>{3}</joint>'
)


def written(tmp_path, *joints):
    path = tmp_path / "r.urdf"
    path.write_text(ROW.format("".join(JOINT.format(*joint) for joint in joints)))
    return path


def test_what_follows_a_follower_follows_the_first(tmp_path):
    path = written(
        tmp_path, ("x", "a", "b", ""), ("y", "b", "c", '<mimic joint="x" multiplier="-2" offset="0.5"/>'),
        ("z", "c", "d", '<mimic joint="y" offset="1"/>'),
    )  # fmt: skip
    assert [joint.follows for joint in read_kinematics(path).joints] == [
        None, Follows("x", -2.0, 0.5), Follows("x", -2.0, 1.5),
    ]  # fmt: skip
    found = prove_arm(path, [0.0, 1.0], {"x": [0.0, 1.0]})
    assert found.motion.at(1.0).tolist() == [1.0, -1.5, -0.5]
    with pytest.raises(MotionError, match="joint 'y' follows 'x'; give positions of that one alone"):
        prove_arm(path, [0.0, 1.0], {"x": [0.0, 1.0], "y": [0.0, 1.0], "z": [0.0, 1.0]})
    with pytest.raises(MotionError, match=r"joint 'y' is at -3.5 at 1 s, beyond its travel of -3 to 3"):
        prove_arm(path, [0.0, 1.0], {"x": [0.0, 2.0]})


def test_who_follows_in_a_circle_or_what_is_fixed_is_refused(tmp_path):
    last = ("z", "c", "d", "")
    path = written(tmp_path, ("x", "a", "b", '<mimic joint="y"/>'), ("y", "b", "c", '<mimic joint="x"/>'), last)
    with pytest.raises(InputError, match=r"r.urdf:1: joint 'x' follows 'x', which follows it in turn; accepted: z"):
        read_kinematics(path)
    with pytest.raises(InputError, match="joint 'x' follows 'w', which is not there"):
        read_kinematics(written(tmp_path, ("x", "a", "b", '<mimic joint="w"/>'), ("y", "b", "c", ""), last))


def test_what_other_tools_add_is_passed_over_and_what_looks_like_a_slip_is_not(tmp_path):
    path = written(tmp_path, ("x/1", "a", "b", "<kinematic/>"), ("y", "b", "c", ""), ("z", "c", "d", ""))
    text = path.read_text()
    path.write_text(text.replace("<limit ", '<limit gear_velocity="9" ').replace('lower="-3"', 'lower="-1e16"'))
    joint = read_kinematics(path).joints[0]
    assert (joint.name, joint.lower, joint.upper) == ("x/1", -np.inf, 3.0)
    for slip, written_as in (("lower", "lowe"), ("<limit", "<limits"), ("<axis", "<axes")):
        path.write_text(text.replace(slip, written_as, 1))
        with pytest.raises(InputError, match=r"unknown (attribute|element)"):
            read_kinematics(path)
