"""Which of an arm's ways to hold its tool is told, on a plain arm whose other ways are given by hand."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.distance import distances
from armcarry.errors import ReachError
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.whatif import branches
from armcarry.whatif.branches import _apart, _roomy, least_left_m, other_branch

DEG = np.pi / 180


@pytest.fixture
def told(rider_scene, moving_record, monkeypatch):
    """Say which branch is told of those that are off where the arm stands by (joint: degrees or metres)."""

    def build(*offs, left=None, roomy=None, slides=(), fails=False):
        record = moving_record(rider_scene({}, slides=slides), {})
        now = record.motion.at(3.0)[record.scene.arm_columns]
        ways = []
        for off in offs:
            way = now.copy()
            for joint, by in off.items():
                way[int(joint[1:]) - 1] += by if joint in slides else by * DEG
            ways.append(way)

        def solutions(chain, pose, *, what):
            scene = record.scene
            np.testing.assert_allclose(pose, scene.tree.pose_of(scene.tool(scene.tree), record.motion.at(3.0)))
            assert what == "the tool's place"
            if fails:
                raise ReachError("the place", "nothing", short_m=0.1, short_rad=0.0)
            return np.array(ways)

        def least(of, time_s, positions):
            assert of is record and time_s == 3.0
            asked.extend(positions)
            return np.array([left(k, q[record.scene.arm_columns] - now) for k, q in enumerate(positions)])

        asked = []
        left = left or (lambda k, off: 0.1)
        monkeypatch.setattr(branches, "solutions", solutions)
        monkeypatch.setattr(branches, "least_left_m", least)
        if roomy is not None:
            monkeypatch.setattr(branches, "_roomy", lambda record, chain, q: roomy(q - now))
        return other_branch(record, 3.0), asked, now

    return build


def test_joints_that_stand_elsewhere_are_named_where_they_would_be(told):
    words, asked, now = told({"j2": 30, "j3": -6, "j4": 4.9})
    first, second = np.degrees(now[1]) + 30, np.degrees(now[2]) - 6
    assert words == f"j2 {first:.0f} deg, j3 {second:.0f} deg"
    assert len(asked) == 1
    words, _, now = told({"j2": 0.3, "j3": 25}, slides=("j2",))
    assert words == f"j2 {now[1] + 0.3:.2f} m, j3 {np.degrees(now[2]) + 25:.0f} deg"


def test_a_whole_turn_is_no_other_branch_and_neither_is_a_little_off(told):
    for off in ({"j1": 360}, {"j1": -360, "j2": 19}, {"j2": 19.9}):
        words, asked, _ = told(off, roomy=lambda off: True)
        assert (words, asked) == ("", [])
    assert told({"j1": 360, "j2": 21}, roomy=lambda off: True)[0] != ""


def test_the_branch_with_most_room_is_told_and_none_that_falls_short(told):
    ways = ({"j2": 25}, {"j3": 25}, {"j4": 25})
    assert told(*ways, left=lambda k, off: [0.1, 0.3, 0.2][k])[0].startswith("j3 ")
    assert told(*ways, left=lambda k, off: [-0.1, -0.3, 0.0][k])[0].startswith("j4 ")
    assert told(*ways, left=lambda k, off: -1e-9)[0] == ""
    words, asked, _ = told(*ways, roomy=lambda off: abs(off[1]) > 0.1)
    assert words.startswith("j2 ") and len(asked) == 1
    assert told(*ways, roomy=lambda off: False)[0] == ""


def test_the_first_so_many_are_tried_where_they_stand(told):
    ways = [{"j2": 25 + 0.5 * k} for k in range(branches._TRIED + 3)]
    words, asked, now = told(*ways, left=lambda k, off: float(k))
    assert len(asked) == branches._TRIED
    assert words == f"j2 {np.degrees(now[1]) + 25 + 0.5 * (branches._TRIED - 1):.0f} deg"


def test_where_the_place_cannot_be_held_otherwise_nothing_is_told(told):
    assert told({"j2": 25}, fails=True)[0] == ""


def test_room_from_both_ends_of_travel():
    margins = SimpleNamespace(joint_position=0.125, joint_travel=0.25)
    rules = SimpleNamespace(margins=margins)
    record = SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(rules=rules)))
    chain = SimpleNamespace(revolute=np.array([True, False]), limits=np.array([[-1.0, 1.0], [-2.0, 2.0]]))
    for q, roomy in (((0.0, 0.0), True), ((0.875, 1.75), True), ((-0.875, -1.75), True), ((0.88, 0.0), False),
                     ((-0.88, 0.0), False), ((0.0, 1.76), False), ((0.0, -1.76), False)):  # fmt: skip
        assert _roomy(record, chain, np.array(q)) is roomy


def test_whole_turns_are_taken_out_where_joints_turn():
    change = np.array([1.5 * np.pi, -1.5 * np.pi, 0.2, 7.0, -7.0])
    turns = np.array([True, True, True, True, False])
    assert _apart(change, turns) == pytest.approx([-0.5 * np.pi, 0.5 * np.pi, 0.2, 7.0 - 2 * np.pi, -7.0])


def test_what_is_left_is_what_the_rules_of_then_leave(rider_scene, moving_record):
    bare = rider_scene({})
    tip = bare.tree.pose_of(bare.tool(bare.tree), bare.position)[:3, 3]
    post = Body("post", "yard", Sphere(0.1), poses.rotation_about((0, 0, 1), 0.3) @ poses.translation(tip))
    ruled = [{"between": ["rider", "structure"], "distance": "0.5 m"}]
    scene = rider_scene({}, (post,), rules={"required": ruled})
    granted = Relaxed("ev1/*", "platform/post", 0.2, 4.0, 6.0, "by eye")
    record = moving_record(scene, {}, relaxed=(granted,))
    positions = np.repeat(scene.position[None], 3, axis=0)
    positions[:, scene.tree.column("arm/j1")] += (0.0, 0.1, -0.1)
    names = [body.name for body in scene.tree.bodies]
    pairs = np.array([(k, names.index("platform/post")) for k, name in enumerate(names) if name.startswith("ev1/")])
    links = forward(scene.tree, positions, [body.link for body in scene.tree.bodies])
    placed = links @ np.stack([body.pose for body in scene.tree.bodies])
    gaps = distances([body.shape for body in scene.tree.bodies], placed, pairs).lower_m.min(axis=1)
    assert least_left_m(record, 3.0, positions) == pytest.approx(gaps - 0.5)
    assert least_left_m(record, 5.0, positions) == pytest.approx(gaps - 0.2)
    unruled = moving_record(rider_scene({}, (post,)), {})
    assert least_left_m(unruled, 3.0, positions).tolist() == [np.inf] * 3
