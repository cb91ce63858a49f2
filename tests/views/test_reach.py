import json

import numpy as np
import pytest

from armcarry.scene.build import PLATFORM
from armcarry.views import gl
from armcarry.views.daylight import Level
from armcarry.views.gltf import glb
from armcarry.views.groups import arm_groups, group_poses
from armcarry.views.reach import _LONGEST, _bent, _holds, arms, reached
from armcarry.views.stage import Stage
from short_days import HOUR, flown


@pytest.fixture(scope="module")
def walk(tmp_path_factory):
    path = tmp_path_factory.mktemp("reach") / "hour.yaml"
    path.write_text(HOUR, encoding="utf-8")
    return flown(path)


def far_from_rails_m(record, points, time_s):
    tree, links = record.link_poses(time_s)
    far = np.full(len(points), np.inf)
    for rail in record.scene.loaded.platform.document.handrails.values():
        a, b = (links[tree.index(f"{PLATFORM}/{frame}"), :3, 3] for frame in (rail.start, rail.end))
        share = np.clip((points - a) @ (b - a) / ((b - a) @ (b - a)), 0, 1)
        far = np.minimum(far, np.linalg.norm(a + share[:, None] * (b - a) - points, axis=1))
    return far


def test_hands_of_who_goes_by_hand_are_on_the_rail(walk):
    found = {arm.side: arm for arm in arms(walk) if arm.who == "ev2"}
    assert set(found) == {"left", "right"}
    times = np.linspace(5.0, 240.0, 60)  # along the rail, then off it on the way across
    held, apart = 0, []
    for time_s in times:
        palms_on = []
        proven = walk.body_poses(time_s)[0]
        for arm in found.values():
            drawn = reached(walk, arm, np.array([time_s]))[0]
            palms = np.stack([proven[arm.rows[2], :3, 3], drawn[2, :3, 3]])
            before, after = far_from_rails_m(walk, palms, time_s)
            assert after <= before + 1e-9
            # by hand the proven gloves keep off the rail; drawn ones do not, wherever an arm reaches it
            joints = walk.link_paths(arm.links, [time_s])[0, :2, :3, 3]
            _, hold = _holds(walk, arm, np.array([time_s]), palms[:1])
            long_m = np.linalg.norm(joints[1] - joints[0]) + np.linalg.norm(palms[0] - joints[1])
            if before < 0.45 and np.linalg.norm(hold[0] - joints[0]) < 0.99 * long_m:
                assert after < 1e-6
                held += 1
                palms_on.append(palms[1])
        apart += [np.linalg.norm(np.subtract(*palms_on))] if len(palms_on) == 2 else []
    assert 5 <= held < 110
    assert min(apart) > 0.2  # one hand is not in the other


def test_an_arm_bends_and_does_not_stretch():
    rng = np.random.default_rng(5)
    for _ in range(200):
        shoulder, elbow, palm = (rng.normal(size=3) for _ in range(3))
        upper, lower = np.linalg.norm(elbow - shoulder), np.linalg.norm(palm - elbow)
        target = shoulder + rng.normal(size=3) * rng.uniform(0.1, 1.5)
        parts = np.stack([np.eye(4)] * 3)
        parts[0, :3, 3], parts[1, :3, 3], parts[2, :3, 3] = shoulder, elbow, palm
        first, second, hand = _bent(parts[None], *(point[None] for point in (shoulder, elbow, palm, target)))[0]
        assert np.allclose(first[:3, 3], shoulder)
        assert np.linalg.norm(second[:3, 3] - shoulder) == pytest.approx(upper)
        assert np.linalg.norm(hand[:3, 3] - second[:3, 3]) == pytest.approx(lower)
        # what the upper arm brings its end to is where the forearm begins
        assert np.allclose(first[:3, :3] @ (elbow - shoulder) + shoulder, second[:3, 3])
        far = np.linalg.norm(target - shoulder)
        if abs(upper - lower) + 0.01 < far < _LONGEST * (upper + lower):
            assert np.allclose(hand[:3, 3], target)
        for part in (first, second, hand):
            assert np.allclose(part[:3, :3] @ part[:3, :3].T, np.eye(3)) and np.linalg.det(part[:3, :3]) > 0


@pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
def test_who_holds_something_is_drawn_as_proven_and_what_is_proven_stays(walk):
    groups = arm_groups(walk)
    fetched = next(act for act in walk.ledger.acts if act.kind == "take")
    for time_s in (fetched.time_s + 5.0, walk.motion.start_s):  # with the blanket in hand; behind the hatch
        held = {side for side in ("left", "right") if getattr(walk.ledger.at(time_s).people["ev2"], side)}
        poses, proven = group_poses(walk, groups, [time_s])[0], walk.body_poses(time_s)[0]
        for group, pose in zip(groups, poses, strict=True):
            arm, _ = group.drawn_arm
            if arm.side in held or time_s == walk.motion.start_s:
                assert np.allclose(pose, proven[group.bodies[0]])
    moved = 0
    with Stage(walk, (64, 36), Level.PLAIN) as stage:
        stage.show(600.0)
        for row, body in enumerate(walk.bodies):
            assert np.allclose(stage.scene.body_pose(body.name), walk.body_poses(600.0)[0, row])
    for group, pose in zip(groups, group_poses(walk, groups, [600.0])[0], strict=True):
        moved += not np.allclose(pose, walk.body_poses(600.0)[0, group.bodies[0]], atol=1e-3)
    assert moved


def test_a_run_in_which_nobody_goes_on_foot_has_no_such_arms(small_run):
    assert arms(small_run[0]) == () and arm_groups(small_run[0]) == ()


def test_the_scene_file_has_the_drawn_arm_and_the_proven_one_apart(walk):
    data = glb(walk, sides=8, tolerance_m=0.02, proven=True)
    size = int.from_bytes(data[12:16], "little")
    nodes = json.loads(data[20 : 20 + size])["nodes"]
    parent = {child: node["name"] for node in nodes for child in node.get("children", ())}
    names = {node["name"]: k for k, node in enumerate(nodes)}
    glove = "ev2/glove_left"
    assert parent[names[glove]] == f"group arm {glove}"
    assert parent[names[f"proven {glove}"]] != parent[names[glove]]
