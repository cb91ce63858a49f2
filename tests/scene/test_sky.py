"""The sky over a run: day and night, and the sun's direction in the platform's frame."""

import itertools

import numpy as np
import pytest

from armcarry.files.documents.environment import Environment
from armcarry.scene import light
from armcarry.scene.sky import sky_of
from measures import night_share


def _environment(**changes):
    values = {
        "start": "2031-03-21T09:30:00Z",
        "orbit": {"altitude": "400 km", "inclination": "51.6 deg", "node": "40 deg", "argument": "10 deg"},
    }
    return Environment.model_validate({**values, **changes})


TIMES = np.linspace(0.0, 12000.0, 41)


def test_the_local_frame_is_right_handed_and_flies_along_x():
    orbit = sky_of(_environment()).orbit
    turn = orbit.R_equator_local(TIMES)
    np.testing.assert_allclose(np.swapaxes(turn, -1, -2) @ turn, np.broadcast_to(np.eye(3), turn.shape), atol=1e-14)
    np.testing.assert_allclose(np.linalg.det(turn), 1.0, atol=1e-14)
    step = 0.5
    velocity = (orbit.position_m(TIMES + step) - orbit.position_m(TIMES - step)) / (2 * step)
    speed = np.linalg.norm(velocity, axis=-1)
    # the node's drift tilts the track out of the frame's plane by node rate over orbit rate, under 1e-3
    np.testing.assert_allclose(velocity / speed[:, None], turn[..., 0], atol=1e-3)
    height = np.linalg.norm(orbit.position_m(TIMES), axis=-1) - light.EARTH_RADIUS_M
    np.testing.assert_allclose(height, 400e3, atol=1e-6)


def test_at_the_start_the_argument_is_that_of_the_file():
    orbit = sky_of(_environment()).orbit
    x, y, z = orbit.position_m(0.0) / orbit.radius_m
    # textbook rotation from the orbit's plane (argument 10 deg) to the equator
    u, i, node = np.radians([10.0, 51.6, 40.0])
    assert x == pytest.approx(np.cos(node) * np.cos(u) - np.sin(node) * np.sin(u) * np.cos(i))
    assert y == pytest.approx(np.sin(node) * np.cos(u) + np.cos(node) * np.sin(u) * np.cos(i))
    assert z == pytest.approx(np.sin(u) * np.sin(i))


def test_a_platform_held_to_the_local_frame_sees_the_earth_below_and_the_sun_go_round():
    sky = sky_of(_environment())
    down = -sky.orbit.R_equator_local(TIMES)[..., :, 2]
    earth = np.einsum("tji,tj->ti", sky.at(TIMES).R_equator_platform, down)
    np.testing.assert_allclose(earth, np.broadcast_to([0.0, 0.0, -1.0], (41, 3)), atol=1e-12)
    sun = sky.sun_direction(TIMES)
    np.testing.assert_allclose(np.linalg.norm(sun, axis=-1), 1.0, atol=1e-12)
    # its angle to the orbit's normal (y) is a right angle less beta; parallax of the orbit is under 5e-5 rad
    np.testing.assert_allclose(np.arcsin(sun[:, 1]), sky.orbit.beta_rad(TIMES), atol=5e-5)


def test_turning_the_platform_turns_the_sun_the_other_way():
    plain = sky_of(_environment()).sun_direction(TIMES)
    yawed = sky_of(_environment(attitude={"rotation": ["0 deg", "0 deg", "90 deg"]})).sun_direction(TIMES)
    np.testing.assert_allclose(yawed, np.stack([plain[:, 1], -plain[:, 0], plain[:, 2]], axis=-1), atol=1e-12)


def test_a_platform_held_to_the_stars_sees_the_sun_stand():
    sky = sky_of(_environment(attitude={"holds": "inertial"}))
    sun = sky.sun_direction(TIMES)
    # 1 deg of the year's turn a day
    assert np.max(light.angle_between_rad(sun, sun[0])) < np.radians(1.05) * 12000 / 86400
    expected = light.sun_position_m(sky.orbit.epoch_julian_days)
    assert light.angle_between_rad(sun[0], expected) < 5e-5


def test_spans_cover_the_run_in_order_and_last_as_the_formula_says():
    sky = sky_of(_environment())
    end = 3 * sky.orbit.period_s
    spans = sky.spans(0.0, end)
    assert spans[0].start_s == 0.0
    assert spans[-1].end_s == end
    for before, after in itertools.pairwise(spans):
        assert before.end_s == after.start_s
        assert {before.light, after.light} in ({"day", "twilight"}, {"twilight", "night"})
    nights = [
        (after.start_s + after.end_s - before.start_s - before.end_s) / 2
        for before, night, after in zip(spans, spans[1:], spans[2:], strict=False)
        if night.light == "night" and before.light == after.light == "twilight"
    ]
    assert len(nights) >= 2
    # from the middle of one twilight to the middle of the next is the cylinder's night; the cone differs by seconds
    share = float(night_share(sky.orbit.radius_m, sky.orbit.beta_rad(0.0)))
    for night in nights:
        assert night == pytest.approx(share * sky.orbit.period_s, abs=8.0)
    for span in spans:
        middle = float(sky.sun_share((span.start_s + span.end_s) / 2))
        assert {"day": middle == 1.0, "night": middle == 0.0, "twilight": 0.0 < middle < 1.0}[span.light]


def test_the_suns_disc_goes_down_smoothly():
    sky = sky_of(_environment())
    twilight = next(span for span in sky.spans(0.0, sky.orbit.period_s) if span.light == "twilight")
    times = np.linspace(twilight.start_s - 1, twilight.end_s + 1, 200)
    share = sky.sun_share(times)
    drop = np.diff(share)
    assert np.all(drop <= 1e-12) or np.all(drop >= -1e-12)
    # mid-way half the disc shows, but for the Earth's curved edge
    assert float(sky.sun_share((twilight.start_s + twilight.end_s) / 2)) == pytest.approx(0.5, abs=0.01)


def test_a_far_small_earth_hides_a_part_of_the_sun():
    # from far out the Earth's disc is smaller than the sun's and in front of it: a ring is left
    position = np.array([2.0e9, 0.0, 0.0])
    sun = np.array([-light.ASTRONOMICAL_UNIT_M, 0.0, 0.0])
    earth = np.arcsin(light.EARTH_RADIUS_M / 2.0e9)
    disc = np.arcsin(light.SUN_RADIUS_M / (light.ASTRONOMICAL_UNIT_M + 2.0e9))
    assert light.sun_share(position, sun) == pytest.approx(1 - (earth / disc) ** 2)


def test_an_instant_without_offset_is_refused():
    from datetime import datetime

    with pytest.raises(ValueError, match="an instant needs its offset from UTC"):
        light.julian_date(datetime(2031, 3, 21))
