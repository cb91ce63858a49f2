"""The demo world holds together: routes, worksites, hands, reach."""

import numpy as np
import pytest

from armcarry.clearance.distance import distance
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.motion.inverse import solutions
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.scene.reach import hand_margins, sight_margin_m
from armcarry.scene.tree import Tree
from armcarry.timeline.handrails import RailRoute, find_route, rails_of

STATES = {"radiator_port": "stowed", "radiator_star": "deployed", "solar_wing": "sloped"}
#: worksite -> trolley station in m, restraint pitch and yaw in degrees, from which the arm puts the boots there
REACHED_FROM = {
    "rack_a": (11.0, 90, 0), "rack_b": (7.0, 90, 0), "bay_7": (11.0, 90, 0), "bay_10": (9.0, 90, 90),
    "bay_3": (-8.0, 0, -90), "mast_top": (-12.0, 90, 90), "rail_bow": (8.0, 0, 90), "rail_stern": (-6.0, 45, -90),
    "den_top": (4.0, 45, 0), "bay_5": (-9.0, 90, 0), "loft_side": (12.0, 45, 90), "porch": (-2.0, 90, 0),
}


def rider_at(world, site, posture, size="medium"):
    """Return a tree of platform and rider at a worksite, and its joint vector."""
    tree = Tree().place("platform", world.platform_model)
    tree = tree.place("ev1", world.bodies[size], f"platform/{world.platform.worksites[site].stand}")
    joints = {f"ev1/{joint}": value for joint, value in world.crew.postures[posture].items()}
    return tree, world.position(tree, joints | world.appendages(STATES))


def test_the_platform_has_what_a_day_needs(demo_world):
    platform, model = demo_world.platform, demo_world.platform_model
    assert len(model.bodies) >= 200
    bays = {body.name.split("_")[2] for body in model.bodies if body.name.startswith("keel_bay_")}
    assert len(bays) == 12
    middles = [body.pose[0, 3] for body in model.bodies if "longeron" in body.name]
    assert max(middles) - min(middles) == pytest.approx(45.0 - 3.75, abs=1e-6)  # one bay of 3.75 m each end
    assert len(platform.worksites) == 12
    assert {"trolley", "quay"} == set(platform.mounts)
    assert len(platform.carts) == 2
    assert set(platform.appendages) == {"radiator_port", "radiator_star", "solar_wing"}


def test_hands_reach_every_worksite_from_the_hatch_along_handrails(demo_world):
    tree = Tree().place("platform", demo_world.platform_model)
    q = demo_world.position(tree, demo_world.appendages(STATES))
    rails = rails_of(demo_world.platform, tree, q)
    hatch = tree.pose_of(f"platform/{demo_world.platform.airlock}", q)[:3, 3]
    for name, site in demo_world.platform.worksites.items():
        stand = tree.pose_of(f"platform/{site.stand}", q)
        goal = poses.apply(stand, np.array([0.4, 0.0, 1.2]))  # where the hands are
        route = find_route(rails, hatch, goal, gap_m=0.05, reach_m=2.2)
        assert isinstance(route, RailRoute), f"{name}: {route}"
        assert route.widest_gap_m <= 0.05
        assert route.length_m < 60.0


@pytest.mark.parametrize("size", ["small", "medium", "large"])
def test_gloves_meet_where_held_hardware_hangs(demo_world, size):
    tree = Tree().place("ev1", demo_world.bodies[size])
    q = demo_world.position(
        tree, {f"ev1/{joint}": value for joint, value in demo_world.crew.postures["carry"].items()}
    )
    left, right, hands = forward(tree, q, ["ev1/left_glove", "ev1/right_glove", "ev1/hands"])
    np.testing.assert_allclose((left[:3, 3] + right[:3, 3]) / 2, hands[:3, 3], atol=1e-5)
    np.testing.assert_allclose(hands[:3, :3], np.eye(3), atol=1e-6)  # the body stands upright in this posture


@pytest.mark.parametrize("site", REACHED_FROM)
def test_every_work_point_is_in_reach_and_in_sight(demo_world, site):
    crew, work = demo_world.crew, demo_world.platform.worksites[site]
    best = {}
    for posture in crew.postures:
        tree, q = rider_at(demo_world, site, posture)
        chest, visor, *shoulders = forward(tree, q, [f"ev1/{crew.chest}", f"ev1/{crew.visor}",
                                                     *(f"ev1/{name}" for name in crew.shoulders)])
        points = forward(tree, q, [f"platform/{name}" for name in work.work_points.values()])[:, :3, 3]
        margins = hand_margins(crew.sizes["medium"].reach, chest, np.array([s[:3, 3] for s in shoulders]), points)
        hands = margins.two_hand_m if work.hands == "two" else margins.one_hand_m
        sight = sight_margin_m(visor, points, crew.view_half_angle)
        best[posture] = min(float(hands.min()), float(sight.min()))
    assert max(best.values()) > 0.0, best


@pytest.mark.parametrize("site", REACHED_FROM)
def test_no_rider_stands_in_structure(demo_world, site):
    tree, q = rider_at(demo_world, site, "carry")
    placed = dict(zip(tree.links, forward(tree, q), strict=True))
    near = []
    for body in (body for body in tree.bodies if body.name.startswith("ev1/")):
        pose = placed[body.link] @ body.pose
        for other in (other for other in tree.bodies if other.name.startswith("platform/")):
            place = placed[other.link] @ other.pose
            found = distance(body.shape, pose, other.shape, place)
            near.append((found.lower_m, body.name, other.name))
    least = min(near)
    gloves = ("ev1/glove_left", "ev1/glove_right")
    assert least[0] > 0.05, least
    clear_of_hands = min(row for row in near if row[1] not in gloves and "forearm" not in row[1])
    assert clear_of_hands[0] > 0.3, clear_of_hands


@pytest.mark.parametrize("site", REACHED_FROM)
def test_the_arm_brings_the_boots_to_every_worksite(demo_world, site):
    station, pitch, yaw = REACHED_FROM[site]
    tree = Tree().place("platform", demo_world.platform_model)
    tree = tree.place("arm", demo_world.arm_model, "platform/trolley_mount")
    tree = tree.place("restraint", demo_world.restraint_model, "arm/tip")
    settings = {"platform/trolley_slide": station, "restraint/foot_pitch": np.radians(pitch),
                "restraint/foot_yaw": np.radians(yaw)}
    q = demo_world.position(tree, settings | demo_world.appendages(STATES))
    joints = [f"arm/{name}" for name in demo_world.arm.joints]
    chain = Chain.of(tree, "arm/base", "restraint/plate", joints, q)
    base = tree.pose_of("arm/base", q)
    stand = tree.pose_of(f"platform/{demo_world.platform.worksites[site].stand}", q)
    found = solutions(chain, poses.inverse(base) @ stand, seeds=24)
    margins = np.array([chain.margins(row).min() for row in found])
    singular = smallest_singular_value(chain, found, length_m=demo_world.arm.characteristic_length)
    assert np.any((margins > np.radians(15.0)) & (singular > 0.25)), (np.degrees(margins), singular)
