"""Cameras: what is in view, how heads turn, and how a picture projects."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.scene import camera
from armcarry.scene.camera import View
from measures import projection


def _some_poses(count, seed):
    random = np.random.default_rng(seed)
    return poses.from_quaternion_wxyz(random.normal(size=(count, 4)), random.uniform(-5, 5, size=(count, 3)))


WIDE = View(np.radians(60), np.radians(40))
HEAD = View(np.radians(60), np.radians(40), tuple(np.radians([-170, 170])), tuple(np.radians([-80, 80])))


@pytest.mark.parametrize(
    ("point", "inside"),
    [
        ((10, 0, 0), True),
        ((-10, 0, 0), False),
        ((10, 10 * np.tan(np.radians(29.9)), 0), True),
        ((10, 10 * np.tan(np.radians(30.1)), 0), False),
        ((10, -10 * np.tan(np.radians(30.1)), 0), False),
        ((10, 0, 10 * np.tan(np.radians(19.9))), True),
        ((10, 0, -10 * np.tan(np.radians(20.1))), False),
        ((0, 0, 0), False),
    ],
)
def test_a_fixed_camera_sees_its_rectangle(point, inside):
    assert bool(camera.look(WIDE, poses.identity(), point).inside) is inside


def test_a_fixed_camera_sees_what_the_projection_puts_on_the_picture():
    # the same points through the perspective matrix of glTF, an independent way to the same rectangle
    random = np.random.default_rng(3)
    eye = _some_poses(2000, 4)
    points = random.uniform(-10, 10, size=(2000, 3))
    aspect = np.tan(WIDE.horizontal_rad / 2) / np.tan(WIDE.vertical_rad / 2)
    local = poses.apply(poses.inverse(eye), points) @ camera.R_BODY_GLTF
    clip = np.concatenate([local, np.ones((2000, 1))], axis=1) @ projection(WIDE.vertical_rad, aspect, 0.01).T
    on_picture = (clip[:, 3] > 0) & (np.abs(clip[:, 0]) <= clip[:, 3]) & (np.abs(clip[:, 1]) <= clip[:, 3])
    seen = camera.look(WIDE, eye, points).inside
    assert 20 < seen.sum() < 500
    np.testing.assert_array_equal(seen, on_picture)


def test_the_head_turns_to_the_point():
    eye = _some_poses(500, 5)
    points = np.random.default_rng(6).uniform(-10, 10, size=(500, 3))
    sight = camera.look(HEAD, eye, points)
    free = (np.abs(sight.pan_rad) < HEAD.pan_rad[1]) & (np.abs(sight.tilt_rad) < HEAD.tilt_rad[1])
    assert 300 < free.sum() < 500
    turned = camera.head_pose(eye, sight.pan_rad, sight.tilt_rad)
    assert np.max(camera.direction_off_axis_rad(turned, points - eye[:, :3, 3])[free]) < 1e-7
    np.testing.assert_allclose(sight.range_m, np.linalg.norm(points - eye[:, :3, 3], axis=1))
    for angle, (low, high) in ((sight.pan_rad, HEAD.pan_rad), (sight.tilt_rad, HEAD.tilt_rad)):
        assert low <= angle.min() and angle.max() <= high


def test_no_other_turn_of_the_head_sees_a_point_called_out_of_view():
    # the head's whole range on a grid; only tilting past the vertical, which the limits forbid, could see more
    view = View(np.radians(30), np.radians(20), tuple(np.radians([-60, 60])), tuple(np.radians([-30, 20])))
    points = np.random.default_rng(7).uniform(-10, 10, size=(400, 3))
    said = camera.look(view, poses.identity(), points)
    pan, tilt = np.meshgrid(np.linspace(*view.pan_rad, 41), np.linspace(*view.tilt_rad, 31))
    heads = camera.head_pose(poses.identity(), pan.ravel(), tilt.ravel())
    fixed = View(view.horizontal_rad, view.vertical_rad)
    found = camera.look(fixed, heads[:, None], points).inside.any(axis=0)
    assert found.sum() > 20
    assert not np.any(found & ~said.inside)
    # and what it does see is seen by the turned head
    turned = camera.head_pose(poses.identity(), said.pan_rad, said.tilt_rad)
    np.testing.assert_array_equal(camera.look(fixed, turned, points).inside, said.inside)


def test_a_pan_range_across_the_back_reaches_the_back():
    view = View(0.2, 0.2, tuple(np.radians([90, 270])), (0.0, 0.0))
    sight = camera.look(view, poses.identity(), [(-5.0, -1.0, 0.0), (5.0, 0.0, 0.0)])
    assert sight.inside.tolist() == [True, False]
    assert sight.pan_rad[0] == pytest.approx(np.pi + np.arctan2(1, 5))


def test_how_far_a_point_is_out_of_view():
    point = (np.cos(np.radians(50)), np.sin(np.radians(50)), 0.0)
    sight = camera.look(WIDE, poses.identity(), point)
    assert np.degrees(sight.beyond_rad) == pytest.approx(20.0)


def test_a_direction_is_so_far_off_the_axis_of_an_eye():
    eye = poses.from_xyz_rpy((1, 2, 3), (0, 0, np.pi / 2))
    assert camera.direction_off_axis_rad(eye, (0, 1, 0)) == pytest.approx(0.0)
    assert camera.direction_off_axis_rad(eye, (1, 0, 0)) == pytest.approx(np.pi / 2)
    assert camera.direction_off_axis_rad(eye, (0, -1, 0)) == pytest.approx(np.pi)


def test_views_cross_best_at_a_right_angle():
    point = (0.0, 0.0, 0.0)
    assert np.degrees(camera.crossing_rad((5, 0, 0), (0, 2, 0), point)) == pytest.approx(90.0)
    assert np.degrees(camera.crossing_rad((5, 0, 0), (3, 0, 0), point)) == pytest.approx(0.0)
    assert np.degrees(camera.crossing_rad((5, 0, 0), (-3, 0, 0), point)) == pytest.approx(0.0)
    assert np.degrees(camera.crossing_rad((1, 0, 0), (-1, 1, 0), point)) == pytest.approx(45.0)


def test_the_frame_of_gltf_is_turned_into_ours():
    np.testing.assert_array_equal(camera.R_BODY_GLTF @ [0, 0, -1], [1, 0, 0])  # glTF: looks along -z, y up
    np.testing.assert_array_equal(camera.R_BODY_GLTF @ [0, 1, 0], [0, 0, 1])
    assert np.linalg.det(camera.R_BODY_GLTF) == pytest.approx(1.0)
