"""Angles of view and projection against published values."""

import numpy as np
import pytest

from armcarry.scene import camera


@pytest.mark.parametrize(
    ("side_mm", "focal_mm", "angle_deg"),
    # closed form; a 50 mm lens before a 36 x 24 mm frame is listed by lens makers with 46.8 deg across the corners
    [(36, 50, 39.598), (36, 35, 54.432), (36, 28, 65.470), (36, 24, 73.740), (24, 50, 26.991), (43.2666, 50, 46.793)],
)
def test_angle_of_view_of_a_lens(side_mm, focal_mm, angle_deg):
    found = np.degrees(camera.angle_of_view_rad(side_mm / 1000, focal_mm / 1000))
    assert found == pytest.approx(angle_deg, abs=6e-4)


def test_the_diagonal_of_a_view_is_that_of_its_frame():
    view = camera.View(camera.angle_of_view_rad(0.036, 0.050), camera.angle_of_view_rad(0.024, 0.050))
    assert np.degrees(view.diagonal_rad) == pytest.approx(46.793, abs=6e-4)


def test_the_sample_camera_of_gltf():
    # glTF 2.0, section Cameras: yfov 0.660593, aspect ratio 1.5; the same as a 35 mm lens before 36 x 24 mm
    yfov, aspect = 0.660593, 1.5
    horizontal = camera.horizontal_from_vertical_rad(yfov, aspect)
    assert np.degrees(yfov) == pytest.approx(37.8492, abs=1e-4)
    assert np.degrees(horizontal) == pytest.approx(54.4321, abs=1e-3)
    assert horizontal == pytest.approx(camera.angle_of_view_rad(0.036, 0.035), abs=1e-5)
    matrix = camera.projection(yfov, aspect, 0.01, 100.0)
    assert matrix[1, 1] == pytest.approx(2.916675, abs=2e-6)
    assert matrix[0, 0] == pytest.approx(1.944450, abs=2e-6)


def test_the_projections_of_gltf():
    # glTF 2.0, section Cameras: third and fourth row of the infinite projection; near and far plane go to -1 and 1
    infinite = camera.projection(0.660593, 1.5, 0.01)
    np.testing.assert_array_equal(infinite[2:], [[0, 0, -1, -0.02], [0, 0, -1, 0]])
    finite = camera.projection(0.660593, 1.5, 0.01, 100.0)
    for distance, depth in ((0.01, -1.0), (100.0, 1.0)):
        clip = finite @ [0.0, 0.0, -distance, 1.0]
        assert clip[2] / clip[3] == pytest.approx(depth)
