"""Other branches of the arm at the end of a stretch: the same pose, and a way on from there."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance.distance import distance
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Cylinder, Sphere
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solutions
from armcarry.planning.other_goals import other_goals
from armcarry.planning.route import find_routes
from armcarry.planning.space import ArmSpace
from armcarry.planning.ways import standing
from armcarry.scene.tree import WORLD
from armcarry.timeline.planned import Way
from armcarry.timeline.variants import plan_all

REQUIRED = [{"between": [a, "structure"], "distance": "0.1 m"} for a in ("arm", "rider")]
#: to another branch this arm of six joints must pass a singular place
RULES = {"required": REQUIRED,
         "margins": {"joint_position": "5 deg", "smallest_singular_value": 0}}
START = {"j1": "10 deg", "j2": "30 deg", "j3": "60 deg", "j4": "10 deg", "j5": "40 deg", "j6": "10 deg"}
AWAY = {"j1": "40 deg", "j2": "20 deg", "j3": "70 deg", "j4": "5 deg", "j5": "35 deg", "j6": "0 deg"}


@pytest.fixture
def flown(rider_scene):
    """Plan moves that end at a pose, of which the arm has several branches; return all that other_goals asks for."""
    here = {"carries": [{"name": "swing", "moves": [{"to_joints": AWAY}]}], "start": START}
    bodies = [Body("post", "yard", Cylinder(0.05, 0.2), poses.from_xyz_rpy((-3.0, 0, 0.1), (0, 0, 0)))]
    scene = rider_scene({}, bodies, rules=RULES, script=here)
    way, _ = plan_all(scene, tuple(scene.loaded.scenario.carries), Way(scene.tree, scene.position))
    pose = way.tree.pose_of(scene.tool(way.tree), way.position)
    x, y, z = pose[:3, 3]
    angles = poses.rpy(pose)
    goal = {"frame": "world", "position": [f"{v:.6f} m" for v in (x, y, z)],
            "rotation": [f"{np.degrees(v):.6f} deg" for v in angles]}

    def plan(*more, bodies=bodies, **options):
        moves = [{"to_pose": goal, "name": "there", **options}, *more]
        script = {"carries": [{"name": "swing", "moves": moves}], "start": START}
        scene = rider_scene({}, bodies, rules=RULES, script=script)
        carries = tuple(scene.loaded.scenario.carries)
        way, shortfall = plan_all(scene, carries, Way(scene.tree, scene.position))
        assert shortfall is None
        return scene, carries, list(way.moves[:1]), ArmSpace(scene, scene.tree, scene.position)

    return plan


def test_every_other_goal_is_the_same_pose_on_another_branch(flown):
    scene, script, run, space = flown({"hold": "5 s"})
    goals = other_goals(scene, script, run, space)
    assert len(goals) > 0
    columns = scene.arm_columns
    pose = run[0].after.pose_of(scene.tool(run[0].after), run[0].end)
    for goal in goals:
        full = run[0].end.copy()
        full[columns] = goal
        np.testing.assert_allclose(run[0].after.pose_of(scene.tool(run[0].after), full), pose, atol=1e-5)
        assert np.abs(goal - run[0].end[columns]).max() > 0.05
    assert np.all(space.margins(standing(goals)).lower_m >= 0.0)
    # no more than inverse kinematics has
    chain = Chain.of(scene.tree, WORLD, scene.tool(scene.tree), joints=scene.arm_joints, held=scene.position)
    assert len(goals) < len(solutions(chain, pose))


def test_a_pinned_joint_leaves_the_branch_to_the_script(flown):
    scene, script, run, space = flown()
    joint = scene.arm_joints[0].split("/")[1]
    pinned = run[0].move.model_copy(update={"pin": {joint: 0.5}})
    assert len(other_goals(scene, script, [replace(run[0], move=pinned)], space)) == 0


def test_a_stretch_ends_on_the_other_branch_where_that_has_more_room(flown):
    """A ball is put 3 cm beyond what is required from the script's elbow; the carry goes on from the other branch."""
    back = {"to_joints": START, "name": "back"}
    scene, script, run, space = flown({"hold": "5 s"}, back)
    (other, *_) = other_goals(scene, script, run, space)
    full = run[0].end.copy()
    full[scene.arm_columns] = other
    tree = scene.tree
    arm = [body for body in tree.bodies if body.name.startswith("arm/")]
    places = [[tree.pose_of(body.link, q) @ body.pose for body in arm] for q in (run[0].end, full)]
    apart = [np.linalg.norm(a[:3, 3] - b[:3, 3]) for a, b in zip(*places, strict=True)]
    body, at = arm[int(np.argmax(apart))], places[0][int(np.argmax(apart))]
    side = at[:3, 3] - places[1][int(np.argmax(apart))][:3, 3]
    side /= np.linalg.norm(side)
    reach = 0.05 + 0.1 + 0.03
    low, high = 0.0, 3.0
    for _ in range(40):  # how far the ball must be
        far = (low + high) / 2
        ball = poses.translation(at[:3, 3] + far * side)
        low, high = (far, high) if distance(Sphere(0.05), ball, body.shape, at).lower_m < reach - 0.05 else (low, far)
    balls = [Body("ball", "yard", Sphere(0.05), poses.translation(at[:3, 3] + high * side))]
    found = find_routes(flown({"hold": "5 s"}, back, bodies=balls)[0], seed=1)
    assert [stretch.first for stretch in found] == [0, 2]
    assert found[0].other_branch, [stretch.row() for stretch in found]
    assert found[0].outcome.endswith("other branch")
    assert found[0].route_m > found[0].script_m + 0.01
    # the second stretch starts where the first ends now
    np.testing.assert_allclose(found[1].way.points[0], found[0].way.points[-1], atol=1e-6)
