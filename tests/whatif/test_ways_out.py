"""What is left to a plain rider when a joint locks: each kind of way out, how long it takes, and when there is none."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.pairs import arm_pairs
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.inverse import pose_error
from armcarry.motion.jacobian import pose_and_jacobian
from armcarry.whatif import locked_joint
from armcarry.whatif.faults import Side, windows
from armcarry.whatif.goals import _capped, to_handrail, to_pose
from armcarry.whatif.locked_joint import (
    BACK,
    INSTANTS,
    STEP,
    WATCH_M,
    Escape,
    _Search,
    _way_back,
    escapes,
    instants,
)

REACH_M = 0.75  # of a glove of the suit in conftest, one hand
RATE, PUSH = np.radians(4.0), np.radians(2.0)  # of every joint


@pytest.fixture
def run(rider_scene, turning_record):
    """Build a run of 60 s; rails are given by where they begin from the left shoulder at the start, 2 m along z."""

    def build(rails=(), script=None, sites=None, bodies=(), turn=0.0, count=1, rooms=None):
        bare = rider_scene({})
        shoulder = bare.tree.pose_of("ev1/left_shoulder", bare.position)[:3, 3]
        frames, documents = {}, {}
        for k, at in enumerate(rails):
            ends = (shoulder + at, shoulder + at + np.array([0.0, 0.0, 2.0]))
            frames |= {f"r{k}_{end}": poses.translation(place) for end, place in zip("ab", ends, strict=True)}
            documents[f"rail_{k}"] = {"start": f"r{k}_a", "end": f"r{k}_b"}
        plate = bare.tree.pose_of("restraint/plate", bare.position)
        stand = None if sites is None else plate @ poses.translation(sites)
        placed = [Body(f"ball_{k}", "yard", Sphere(radius), poses.translation(shoulder + at))
                  for k, (at, radius) in enumerate(bodies)]  # fmt: skip
        ruled = [{"between": ["rider", "structure"], "distance": "0.2 m"}]
        rules = {"locked_joint": {"instants": count}, "required": ruled, "stop_remainder": "0.1 m"}
        platform = {"handrails": documents, "rooms": rooms or {}}
        scene = rider_scene({}, placed, stand=stand, frames=frames, platform=platform, rules=rules, script=script)
        return turning_record(scene, rate_rad_s=turn)

    return build


def _by_hand_s(way):
    """Sum the times from corner to corner: each joint from rest to rest, the slowest counts."""
    total = 0.0
    for change in np.abs(np.diff(way, axis=0)):
        peak = np.minimum(RATE, np.sqrt(change * PUSH))
        with np.errstate(invalid="ignore", divide="ignore"):
            each = np.where(change > 0, change / peak + peak / PUSH, 0.0)
        total += each.max()
    return total


def test_the_instants_are_the_middles_of_equal_stretches(run):
    assert instants(run(count=3)).tolist() == [10.0, 30.0, 50.0]
    record = run()
    unsaid = SimpleNamespace(phases=record.phases, duration_s=60.0, scene=SimpleNamespace(
        loaded=SimpleNamespace(rules=record.scene.loaded.rules.model_copy(update={"locked_joint": None}))
    ))  # fmt: skip
    assert len(instants(unsaid)) == INSTANTS and instants(unsaid)[0] == pytest.approx(30.0 / INSTANTS)


def test_a_handrail_in_reach_is_enough_as_it_is(run):
    for away, here in ((REACH_M - 0.01, True), (REACH_M + 0.05, False)):
        found = escapes(run([(0.0, away, -1.0), (9.0, 9.0, 9.0)]))
        assert [(item.joint, item.crew, item.time_s) for item in found] == [(k, "ev1", 30.0) for k in range(6)]
        assert [(item.kind, item.where) == ("here", "rail_0") for item in found] == [here] * 6
    for item in escapes(run([(0.0, 0.3, -1.0)])):
        assert (item.kind, item.lasting_s, item.lower_m, item.way.shape) == ("here", 0.0, WATCH_M, (1, 6))


def test_a_handrail_is_led_to_with_the_locked_joint_where_it_is(run):
    record = run([(0.0, 1.4, -1.0)])
    found = escapes(record)
    led = [item for item in found if item.kind == "handrail"]
    assert len(led) >= 4
    tree, scene = record.scene.tree, record.scene
    for item in led:
        q = scene.position.copy()
        assert item.way[0] == pytest.approx(q[scene.arm_columns])
        assert np.ptp(item.way[:, item.joint]) == 0.0 and np.ptp(item.way, axis=0).max() > 0
        q[scene.arm_columns] = item.way[-1]
        rail = tree.pose_of("platform/r0_a", q)[:3, 3]
        shoulders = (tree.pose_of(f"ev1/{side}_shoulder", q)[:3, 3] for side in ("left", "right"))
        assert min(np.linalg.norm((point - rail)[:2]) for point in shoulders) <= REACH_M + 1e-9
        assert item.lasting_s == pytest.approx(_by_hand_s(item.way))
        assert 0.0 <= item.lower_m <= WATCH_M


def test_without_a_handrail_the_way_back_to_the_start_is_tried(run):
    record = run(turn=0.01)  # at 30 s the arm has turned by 0.3 rad
    found = escapes(record)
    assert {item.kind for item in found[1:]} >= {"safe point"}  # joints other than the one that turned
    for item in found:
        if item.kind == "safe point":
            assert item.where == "where the run starts"
            q = record.motion.at(30.0)
            q[record.scene.arm_columns] = item.way[-1]
            tool = record.scene.tool(record.scene.tree)
            there = record.scene.tree.pose_of(tool, record.motion.at(0.0))[:3, 3]
            assert np.linalg.norm(record.scene.tree.pose_of(tool, q)[:3, 3] - there) <= REACH_M + 1e-9


def test_a_safe_point_that_the_script_names_is_gone_to(run):
    found = escapes(run(sites=(0.0, 1.2, 0.0), script={"safe_point": "site"}))
    assert {item.kind for item in found} >= {"safe point"}
    assert {item.where for item in found if item.kind == "safe point"} == {"site"}


def test_where_nothing_can_be_reached_there_is_no_way(run):
    found = escapes(run([(60.0, 0.0, 0.0)], sites=(60.0, 0.0, 0.0), script={"safe_point": "site"}))
    assert [(item.kind, item.where, item.lasting_s, item.lower_m) for item in found] == [("none", "", 0.0, -np.inf)] * 6
    assert all(isinstance(item, Escape) and item.way.shape == (1, 6) for item in found)
    assert [(item.time_s, item.joint, item.crew) for item in found] == [(30.0, k, "ev1") for k in range(6)]


def test_each_instant_is_asked_in_the_posture_it_finds(run):
    record = run([(60.0, 0.0, 0.0)], turn=0.005, count=3)
    for item in escapes(record):
        assert item.way[0] == pytest.approx(record.motion.at(item.time_s)[record.scene.arm_columns])
    assert len({item.way[0].tobytes() for item in escapes(record)}) == 3


def test_a_rider_who_leans_reaches_from_where_the_shoulders_are_then(run):
    leaning = {"crew": {"ev1": {"posture": "leaning", "at": "arm", "size": "plain"}}}
    record = run(script=leaning)
    (window,) = windows(Side.of(record, record.phases[0], arm_pairs(record.scene, record.scene.tree)))
    search = _Search(window, 30.0)
    upright, here = (item.scene.tree.pose_of("ev1/left_shoulder", item.scene.position) for item in (run(), record))
    np.testing.assert_allclose(search._chain("ev1/left_shoulder").forward(search.start), here, atol=1e-12)
    assert np.linalg.norm(here[:3, 3] - upright[:3, 3]) > 0.1


def test_no_step_leads_out_of_a_joints_travel(run, monkeypatch):
    record, given = run([(0.0, 1.4, -1.0)]), []
    (window,) = windows(Side.of(record, record.phases[0], arm_pairs(record.scene, record.scene.tree)))
    search, free = _Search(window, 30.0), np.arange(1, 6)
    goal = to_handrail(search._chain("ev1/left_shoulder"), search.rails, REACH_M)
    step = locked_joint.avoiding_step
    monkeypatch.setattr(locked_joint, "avoiding_step", lambda *parts: given.append(parts) or step(*parts))
    for near, share in ((0, 0.3), (1, 0.3), (0, 3.0)):
        q = search.start.copy()
        q[3] = search.plate.limits[3, near] + (1 - 2 * near) * share * STEP
        search._step(goal, q, free, STEP)
        low, high = given[-1][4][2], given[-1][5][2]  # of joint 3, the third that is free
        assert (low, high)[near] == pytest.approx((2 * near - 1) * min(share, 1.0) * STEP)
        assert (low, high)[1 - near] == pytest.approx((1 - 2 * near) * STEP)


def test_a_way_keeps_off_what_stands_in_it(run):
    free = escapes(run([(0.0, 1.4, -1.0)]))
    barred = escapes(run([(0.0, 1.4, -1.0)], bodies=[((0.0, 0.75, 0.0), 0.2)]))
    assert all(item.lower_m >= 0.0 for item in barred if item.kind != "none")
    assert [item.lower_m for item in barred] != [item.lower_m for item in free]


def test_no_way_leads_through_a_room_to_keep_out_of(run):
    sheet = {"kind": "keep_out", "frame": "r0_a", "box": ["9 m", "0.05 m", "9 m"], "position": ["0 m", "-1.1 m", "0 m"]}
    assert "handrail" in {item.kind for item in escapes(run([(0.0, 1.4, -1.0)]))}
    assert "handrail" not in {item.kind for item in escapes(run([(0.0, 1.4, -1.0)], rooms={"sheet": sheet}))}
    beyond = sheet | {"position": ["0 m", "9 m", "0 m"]}
    assert "handrail" in {item.kind for item in escapes(run([(0.0, 1.4, -1.0)], rooms={"sheet": beyond}))}


def test_where_the_straight_search_is_stuck_the_way_they_came_and_finer_steps_are_tried(run, monkeypatch):
    record = run([(0.51, -0.41, -0.52)], bodies=[((0.15, 0.39, 0.02), 0.2)], turn=0.05)
    found = [item.kind for item in escapes(record)]
    tries = _Search._tries
    monkeypatch.setattr(_Search, "_tries", lambda *given: list(tries(*given))[:3])  # either hand, the safe point
    before = [item.kind for item in locked_joint._all_escapes(record)]
    assert before[5] == "none" and found[5] == "handrail"
    assert [item for item in zip(before, found, strict=True) if item[0] != "none" and item[0] != item[1]] == []


def test_the_order_of_what_is_tried(run):
    record = run([(0.0, 1.4, -1.0)], turn=0.05)
    window = next(iter(windows(Side.of(record, record.phases[0], arm_pairs(record.scene, record.scene.tree)))))
    search = _Search(window, 30.0)
    hands, count = ["left", "right"], min(BACK, len(search.way_back))
    told = [(kind, len(goals), goals[-1], fine) for kind, goals, fine in search._tries(hands, REACH_M)]
    assert count > 1
    assert told[:2] == [("handrail", 1, hand, False) for hand in hands]
    assert (told[2][0], told[2][3]) == ("safe point", False)
    again = [(back + 1, hand, fine) for fine in (False, True) for back in range(0 if fine else 1, count + 1)
             for hand in hands]  # fmt: skip
    assert [item[1:] for item in told[3:]] == again


# -- parts -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("change", [0.5 * RATE**2 / PUSH, 0.999 * RATE**2 / PUSH, RATE**2 / PUSH, 3 * RATE**2 / PUSH])
def test_the_time_between_corners_is_that_of_the_slowest_joint(change, monkeypatch):
    arm = SimpleNamespace(document=None)
    search = SimpleNamespace(record=SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(arm=arm))),
                             side=SimpleNamespace(load=SimpleNamespace(near_structure=0.5)))  # fmt: skip
    # two joints; near structure half of the rates are allowed
    monkeypatch.setattr(locked_joint, "joint_rates", lambda arm, load: np.array([2 * RATE, 4 * RATE]))
    monkeypatch.setattr(locked_joint, "joint_accelerations", lambda arm, load: np.array([PUSH, PUSH]))
    way = np.array([[0.0, 0.0], [change, 0.0], [change, 0.0], [0.0, -0.1 * change]])
    told = _Search._lasting_s(search, way)
    peak = min(RATE, np.sqrt(change * PUSH))
    assert told == pytest.approx(2 * (change / peak + peak / PUSH))


def test_a_pull_is_never_more_than_a_step():
    assert _capped(np.array([0.3, 0.4])).tolist() == [0.3, 0.4]
    assert _capped(np.array([3.0, 4.0])) == pytest.approx([0.48, 0.64])
    assert _capped(np.array([3.0, 4.0]), most=5.0).tolist() == [3.0, 4.0]
    assert _capped(np.zeros(3)).tolist() == [0.0] * 3
    assert 0.0 < STEP < 0.5


def test_the_nearest_point_of_the_nearest_rail_is_pulled_to():
    rails = tuple(SimpleNamespace(name=name, start=np.array(a, dtype=float), end=np.array(b, dtype=float))
                  for name, a, b in (("far", (9, 0, 0), (9, 1, 0)), ("near", (2, -1, 0), (2, 1, 0))))  # fmt: skip
    at = poses.translation((0.0, 3.0, 0.0))
    shoulder = SimpleNamespace(forward=lambda q: at)
    goal = to_handrail(shoulder, rails, np.hypot(2.0, 2.0) + 1e-9)
    assert goal.reached(None) == "near"
    assert to_handrail(shoulder, rails, np.hypot(2.0, 2.0) - 1e-9).reached(None) is None
    assert to_handrail(shoulder, (), 99.0).reached(None) is None


def test_the_way_back_leaves_out_ways_there_and_back():
    # 0.3 m/s along x for 30 s, then back
    def along(times):
        return np.where(times <= 30.0, 0.3 * times, 18.0 - 0.3 * times)

    motion = SimpleNamespace(breaks_s=np.array([0.0, 30.0, 60.0]), at=lambda times: along(times)[:, None])
    record = SimpleNamespace(motion=motion, scene=SimpleNamespace(arm_columns=np.array([0])))
    plate = SimpleNamespace(forward=lambda q: np.stack([poses.translation((x, 0.0, 0.0)) for x in q[:, 0]]))
    found = np.array([pose[0, 3] for pose in _way_back(record, plate, 36.0)])
    assert found[-1] == 0.0 and np.all(np.diff(found) < 0) and 6.2 < found[0] < 7.2
    assert np.all(-np.diff(found) < 1.0)
    assert len(found) <= 13  # each as far back as may be
    (still,) = _way_back(record, plate, 0.0)
    assert still[0, 3] == 0.0


def test_a_pose_is_pulled_to_turning_for_half_of_it_and_reached_by_its_place(run):
    record = run()
    scene, q = record.scene, record.scene.position[record.scene.arm_columns]
    plate = Chain.of(scene.tree, "world", scene.tool(scene.tree), joints=scene.arm_joints, held=scene.position)
    pose = plate.forward(q) @ poses.from_xyz_rpy((0.1, 0.2, -0.1), (0.3, -0.2, 0.1))
    goal = to_pose(plate, pose, 0.25, "there")
    at, columns = pose_and_jacobian(plate, q[None])
    weights = np.array([1.0, 1.0, 1.0, 0.5, 0.5, 0.5])
    error, pulled = goal.pull(q)
    assert error == pytest.approx(pose_error(at, pose[None])[0] * weights)
    assert pulled == pytest.approx(columns[0] * weights[:, None])
    far = np.linalg.norm([0.1, 0.2, -0.1])
    assert far < 0.25 and goal.reached(q) == "there"
    assert to_pose(plate, pose, far - 1e-6, "there").reached(q) is None
    assert to_pose(plate, pose, far + 1e-6, "there").reached(q) == "there"


def test_the_margin_of_a_way_is_the_least_over_all_of_it(run):
    """A ball beside the way: the straight way and its corners are measured against distances along them."""
    record = run(bodies=[((0.0, 1.2, 0.0), 0.2)])
    scene, tree = record.scene, record.scene.tree
    side = Side.of(record, record.phases[0], arm_pairs(scene, tree))
    (window,) = windows(side)
    search = _Search(window, 30.0)

    def measured(way):
        share = np.linspace(0.0, len(way) - 1.0, 300)
        q = np.repeat(scene.position[None], 300, axis=0)
        for k, column in enumerate(scene.arm_columns):
            q[:, column] = np.interp(share, np.arange(len(way)), way[:, k])
        placed = forward(tree, q, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
        rows = np.flatnonzero(~np.isnan(window.left_m))
        gaps = distances([body.shape for body in tree.bodies], placed, side.pairs[rows]).upper_m
        return min(float((gaps - window.left_m[rows]).min()), WATCH_M)

    start = search.start
    first, second = start.copy(), start.copy()
    first[0] += 0.03
    second[0] += 0.06
    for way in (start[None], np.array([start, first]), np.array([start, first, second]), np.array([second, start])):
        exact = measured(way)
        assert 0.0 < exact < WATCH_M
        assert exact - 0.02 <= search._margin(way) <= exact + 1e-6
    # the straight way is taken where it is proven
    proven, lower = search._proven(np.array([start, second, first]))
    assert len(proven) == 2 and lower == search._margin(np.array([start, first]))


def test_all_corners_are_gone_through_where_the_straight_way_is_not_proven(run, monkeypatch):
    record = run()
    (window,) = windows(Side.of(record, record.phases[0], arm_pairs(record.scene, record.scene.tree)))
    search = _Search(window, 30.0)
    way = np.array([search.start, search.start + 0.03, search.start + 0.06])
    for straight_m, expected in ((0.0, way[[0, 2]]), (-0.01, way)):
        margins = {2: straight_m, 3: 0.2}
        monkeypatch.setattr(search, "_margin", lambda corners, margins=margins: margins[len(corners)])
        taken, lower = search._proven(way)
        np.testing.assert_array_equal(taken, expected)
        assert lower == margins[len(expected)]
    assert search._proven(way[:2])[1] == -0.01  # there is no other way between two corners
