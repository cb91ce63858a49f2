from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Sphere
from armcarry.scene.sky import sky_of
from armcarry.views import gl, palette
from armcarry.views.actors import surface_actor
from armcarry.views.backdrop import backdrop
from armcarry.views.composed import composed, drawn
from armcarry.views.daylight import Daylight, Lamps, daylight
from armcarry.views.meshes import joined, triangles

needs_gl = pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
SIZE = (160, 90)
ALL = np.ones(SIZE[::-1], dtype=bool)
#: a ball of 0.5 m, 2 m over a floor, under a sun 37 deg off the vertical
BALL, HIGH, SUN = 0.5, 2.0, np.array([0.6, 0.0, 0.8])


def day(share=1.0, sun=SUN):
    return Daylight(sun, share, np.array([0.0, 0.0, -1.0]), 1.06, np.eye(3))


class Floor:
    """A ball over a floor, seen from above."""

    def __init__(self, times=1, colour="#C0C0C0"):
        import pyvista

        self.times = times
        self.plotter = pyvista.Plotter(off_screen=True, window_size=[times * side for side in SIZE], lighting="none")
        self.plotter.render_window.SetMultiSamples(0)
        self.lamps = Lamps(self.plotter)
        surface = joined([
            (triangles(Sphere(BALL), 24), poses.translation((0, 0, HIGH))),
            (triangles(Box((8.0, 8.0, 0.1))), poses.translation((0, 0, -0.05))),
        ])
        self.plotter.renderer.AddActor(surface_actor(surface, colour, material="fabric"))
        self.scene = SimpleNamespace(corners_m=lambda: surface.vertices_m.astype(np.float32)[surface.faces])
        camera = self.plotter.camera
        camera.SetPosition(0, 0, 12)
        camera.SetFocalPoint(0, 0, 0)
        camera.SetViewUp(0, 1, 0)
        camera.SetViewAngle(32)
        camera.is_set = True

    def whole(self, light):
        self.plotter.renderer.ResetCameraClippingRange()
        self.lamps.show(light)
        return composed(self.plotter, self.scene, self.lamps, light, self.times)

    def picture(self, light):
        return self.whole(light).astype(float).mean(axis=2)

    def at(self, x, y, z=0.0):
        scale = SIZE[1] / 2 / np.tan(np.radians(16)) / (12 - z)
        return int(SIZE[1] / 2 - y * scale), int(SIZE[0] / 2 + x * scale)


@pytest.fixture(scope="module")
def floor():
    made = Floor()
    yield made
    made.plotter.close()


@needs_gl
def test_the_shadow_falls_where_the_sun_puts_it(floor):
    picture = floor.picture(day())
    away = -HIGH * SUN[0] / SUN[2]  # 1.5 m off the point below the ball
    shadow, mirrored = picture[floor.at(away, 0)], picture[floor.at(-away, 0)]
    assert shadow < 0.6 * mirrored
    # 0.5 m across, 0.5 / 0.8 m along: lit just outside, dark just inside
    for x, y in ((0.0, 0.4), (0.0, -0.4), (0.45, 0.0), (-0.45, 0.0)):
        assert picture[floor.at(away + x, y)] < 0.6 * mirrored
    for x, y in ((0.0, 0.7), (0.0, -0.7), (-0.85, 0.0)):
        assert picture[floor.at(away + x, y)] > 0.9 * mirrored


@needs_gl
def test_the_side_away_from_the_sun_is_darker(floor):
    picture = floor.picture(day())
    lit, away = picture[floor.at(0.3, 0, HIGH)], picture[floor.at(-0.42, 0, HIGH)]
    assert away < 0.75 * lit


@needs_gl
def test_white_keeps_its_form_in_full_sun_and_colours_keep_their_hue():
    white, orange = Floor(colour="#FFFFFF"), Floor(colour="#E69F00")
    picture = white.picture(day())
    round_about = [picture[white.at(x, 0, HIGH + np.sqrt(BALL**2 - x**2))] for x in (-0.3, -0.15, 0.0, 0.15)]
    assert np.all(np.diff(round_about) > 4), round_about
    plain = drawn(white.plotter.render_window)[20:70, 50:110]
    assert picture.max() < 248 and plain.max() < 248
    for shown in (drawn(orange.plotter.render_window), orange.whole(day())):
        sunlit = shown[orange.at(2.0, 0)].astype(float)
        assert sunlit[1] / sunlit[0] == pytest.approx(0x9F / 0xE6, abs=0.03) and sunlit[2] < 0.05 * sunlit[0]
    for made in (white, orange):
        made.plotter.close()


@needs_gl
def test_night_is_darker_than_day_and_nothing_is_black(floor):
    by_day, by_night = floor.picture(day()), floor.picture(day(0.0))
    assert by_night.mean() < 0.6 * by_day.mean()
    ground = by_night[20:70, 50:110]
    assert ground.min() > 14 and by_day[20:70, 50:110].min() > 14
    # no sun, no shadow
    away = -HIGH * SUN[0] / SUN[2]
    assert by_night[floor.at(away, 0)] == pytest.approx(by_night[floor.at(-away, 0)], rel=0.12)


@needs_gl
@pytest.mark.parametrize("share", [1.0, 0.0])
def test_a_line_keeps_its_own_colour_in_every_light(floor, share):
    import pyvista

    line = floor.plotter.add_mesh(pyvista.Line((-3, 1.5, 0.1), (3, 1.5, 0.1)), color=palette.VERMILLION, line_width=5,
                                  lighting=False, render=False, reset_camera=False)
    light = day(share)
    floor.lamps.show(light)
    floor.plotter.renderer.ResetCameraClippingRange()
    picture = composed(floor.plotter, floor.scene, floor.lamps, light, 1, [line])
    floor.plotter.remove_actor(line, render=False)
    assert np.allclose(picture[floor.at(0, 1.5, 0.1)], 255 * np.array(palette.channels(palette.VERMILLION)), atol=2)


@needs_gl
def test_without_a_sky_there_is_light_too(floor):
    assert floor.picture(None)[20:70, 50:110].min() > 14


@needs_gl
def test_edges_are_smooth_at_twice_the_size(floor):
    twice = Floor(times=2)
    try:
        fine, still = floor.picture(day()), twice.picture(day())
    finally:
        twice.plotter.close()
    assert still.shape == fine.shape
    assert np.abs(still - fine).mean() < 6
    assert len(np.unique(still.round())) > len(np.unique(fine.round()))


def test_the_earth_is_where_it_is_and_dark_by_night():
    right, up = np.array([1.0, 0, 0]), np.array([0, 0, 1.0])
    ahead = np.array([0, 1.0, 0])
    side = backdrop(ALL, right, up, ahead, 0.6, day())
    # 1.06 radii away the limb lies 19.4 deg under the horizon, 0.59 of half this picture
    limb = int(SIZE[1] / 2 * (1 + np.tan(np.pi / 2 - np.arcsin(1 / 1.06)) / 0.6))
    assert side[limb + 4 :].mean() > 2 * side[: SIZE[1] // 2].mean()
    assert side[limb + 4 :, :, 2].mean() > 1.3 * side[limb + 4 :, :, 0].mean()  # blue
    night = backdrop(ALL, right, up, ahead, 0.6, day(0.0, sun=np.array([0.0, 0.0, -1.0])))
    assert night[limb + 4 :].mean() < 0.4 * side[limb + 4 :].mean()
    assert side.max() <= 255
    plain = backdrop(ALL, right, up, ahead, 0.6, None)
    assert np.allclose(plain, 255 * np.array(palette.channels(palette.ROOM)), atol=1)


def test_stars_stand_still_while_the_platform_turns():
    turn = poses.rotation_about((0.0, 0.0, 1.0), np.radians(20.0))[:3, :3]
    up = -np.array([0.0, 0.0, 1.0])  # the Earth is below, out of these pictures
    eye = np.eye(3)[0], np.cross(up, np.eye(3)[0])
    sky = day(0.0)
    turned = Daylight(sky.sun, 0.0, sky.earth, sky.away, turn.T)

    def seen(light, turned_by):
        right, across = turned_by @ eye[0], turned_by @ eye[1]
        return backdrop(ALL, right, across, np.cross(across, right), 0.3, light)

    # the platform turned one way and its camera with it shows other stars; turned back against it, the same
    assert np.array_equal(seen(sky, np.eye(3)), seen(turned, turn))
    assert not np.array_equal(seen(sky, np.eye(3)), seen(turned, np.eye(3)))


def test_the_light_is_that_of_the_day():
    scenario = load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml")
    record = SimpleNamespace(scene=SimpleNamespace(loaded=scenario))
    sky = sky_of(scenario.scenario.environment)
    for time_s in (0.0, 900.0, 2400.0):
        light = daylight(record, time_s)
        assert np.allclose(light.sun, sky.sun_direction(time_s)) and light.share == float(sky.sun_share(time_s))
        # the platform holds its side to the Earth: +z away from it
        assert np.allclose(light.earth, (0.0, 0.0, -1.0), atol=1e-12)
        assert light.away == pytest.approx((6378.137 + 630) / 6378.137)
    none = SimpleNamespace(scenario=SimpleNamespace(environment=None))
    assert daylight(SimpleNamespace(scene=SimpleNamespace(loaded=none)), 0.0) is None


@needs_gl
def test_what_is_seen_through_shows_before_the_sky():
    import pyvista

    floor = Floor()
    floor.plotter.set_background(palette.ROOM)
    bare = floor.whole(day())
    floor.plotter.add_mesh(pyvista.Sphere(radius=0.8, center=(-3.6, 0.0, 4.0)), color="#FFFFFF", opacity=0.3,
                           render=False, reset_camera=False)
    over = floor.whole(day())
    row, column = floor.at(-3.6, 0.0, 4.0)
    floor.plotter.close()
    assert over[row, column].astype(int).sum() > bare[row, column].astype(int).sum() + 30
    assert np.array_equal(over[2, -3], bare[2, -3])
