"""One arc looked at sharply: against distances measured along it."""

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.whatif.faults import Side
from armcarry.whatif.late_stop import braking_arcs
from armcarry.whatif.witness import witness


@pytest.fixture
def braking(rider_scene, moving_record):
    """Brake before a ball at a bearing; the second pair of the side is that of the hand and the ball."""

    def build(bearing_rad, rate=0.3, radius_m=0.1):
        bare = rider_scene({})
        tip = bare.tree.pose_of(bare.tool(bare.tree), bare.position)[:3, 3]
        turn = poses.rotation_about((0, 0, 1), bearing_rad)
        ball = Body("ball", "yard", Sphere(radius_m), turn @ poses.translation(tip))
        scene = rider_scene({}, (ball,))
        record = moving_record(scene, {"arm/j1": [rate]}, 1.0)
        names = [body.name for body in scene.tree.bodies]
        pairs = np.array([(names.index(name), names.index("platform/ball")) for name in ("arm/boom_2", "arm/hand")])
        side = Side.of(record, record.phases[0], pairs)
        arc = braking_arcs(side, np.array([0.0]), np.array([0.2]))
        at = np.linspace(0.0, arc.until[0], 4001)
        q = arc.motion(0, scene.tree.joints).at(at)
        links = forward(scene.tree, q, [body.link for body in scene.tree.bodies])
        placed = links @ np.stack([body.pose for body in scene.tree.bodies])
        found = distances([body.shape for body in scene.tree.bodies], placed, pairs[[1]])
        return side, arc, at, found

    return build


def test_the_nearest_approach_is_told_with_when_and_where(braking):
    side, arc, at, found = braking(0.4)
    gaps = found.upper_m[:, 0]
    k = int(gaps.argmin())
    assert 0 < k < len(at) - 1 and gaps[k] > 0.01
    seen = witness(side, 1, arc)
    assert seen.distance_m == pytest.approx(gaps[k], abs=1e-3)
    assert seen.at == pytest.approx(at[k], abs=0.05)
    assert np.isnan(seen.contact_at)
    columns = side.record.scene.arm_columns
    there = arc.motion(0, side.tree.joints).at(seen.at)[columns]
    assert seen.joints == pytest.approx(there) and abs(there - side.record.motion.at(0.0)[columns]).max() > 1e-3
    assert seen.detail(0.1, 0.2, 3.0).joints == seen.joints
    assert np.linalg.norm(np.subtract(seen.point_a, seen.point_b)) == pytest.approx(seen.distance_m, abs=1e-6)
    assert np.linalg.norm(np.subtract(seen.point_a, found.point_a[k, 0])) < 0.05
    assert all(type(value) is float for value in (*seen.point_a, *seen.point_b))
    other = witness(side, 0, arc)
    assert other.distance_m != pytest.approx(seen.distance_m, abs=1e-3)


def test_the_first_contact_is_told(braking):
    side, arc, at, found = braking(0.2, rate=0.6, radius_m=0.35)
    touching = found.upper_m[:, 0] <= 1e-9
    assert touching.any() and not touching[0]
    seen = witness(side, 1, arc)
    assert seen.distance_m == 0.0
    assert seen.contact_at == pytest.approx(at[int(touching.argmax())], abs=0.01)


@pytest.mark.parametrize("away_m", [1.0, 4.0, 40.0])
def test_two_far_apart_are_measured_too(away_m, rider_scene, turning_record):
    post = Body("post", "yard", Sphere(0.1), poses.translation((0.0, 0.0, -away_m)))
    record = turning_record(rider_scene({}, [post]))
    tree = record.phases[0].tree
    names = [body.name for body in tree.bodies]
    side = Side.of(record, record.phases[0], np.array([[names.index("arm/hand"), names.index("platform/post")]]))
    seen = witness(side, 0, braking_arcs(side, np.array([10.0]), np.array([10.1])))
    assert np.isfinite([seen.distance_m, seen.at, *seen.point_a, *seen.point_b]).all()
    assert seen.distance_m == pytest.approx(np.linalg.norm(np.subtract(seen.point_a, seen.point_b)), abs=1e-5)
    assert seen.distance_m >= away_m - 0.5
