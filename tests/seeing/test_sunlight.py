"""Shade is looked at instant by instant, in batches or not, and light on work phase by phase."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.record.record import Record
from armcarry.seeing import sunlight
from armcarry.seeing.sight import Watch
from armcarry.seeing.sunlight import Sun
from armcarry.seeing.worklight import light_on
from armcarry.timeline.run import Phase

#: the sun stands still in the platform's frame
ENVIRONMENT = {
    "start": "2031-03-20T19:41:00Z",
    "orbit": {"altitude": "410 km", "inclination": "50 deg", "node": "0 deg", "argument": "0 deg"},
    "attitude": {"holds": "inertial", "rotation": ["20 deg", "-30 deg", "10 deg"]},
}
HERE = np.array([30.0, 5.0, 2.0])


@pytest.fixture
def sunny(rider_scene, turning_record):
    """Build a run with balls at places given along the sun's direction from HERE, and aside of it."""

    def build(balls=(), points=None, phases=None):
        script = {"environment": ENVIRONMENT}
        towards = Sun(turning_record(rider_scene({}, script=script))).sky.sun_direction(np.zeros(1))[0]
        aside = np.cross(towards, (0.0, 0.0, 1.0)) / np.linalg.norm(np.cross(towards, (0.0, 0.0, 1.0)))
        bodies = [
            Body(name, "yard", Sphere(radius), poses.translation(HERE + along * towards + off * aside))
            for name, along, off, radius in balls
        ]
        frames = {}
        for name, off in (points or {}).items():
            pose = poses.translation(HERE + off * aside)
            pose[:3, :3] = np.column_stack([towards, aside, np.cross(towards, aside)])  # +x towards the sun
            frames[name] = pose
        record = turning_record(rider_scene({}, bodies, frames=frames, script=script), rate_rad_s=0.0)
        if phases:
            record = Record(record.scene, tuple(Phase(*span, record.scene.tree) for span in phases), record.motion, ())
        return record, towards, aside

    return build


def _shaders(record, times, points, passed=(), **more):
    names = [body.name for body in record.bodies]
    mask = np.isin(names, passed)
    found = Sun(record).shaders(Watch(record, record.phases[0], ()), times, points, mask, **more)
    assert found.shape == (len(times), len(names)) and found.dtype == bool
    return {name: found[:, k].tolist() for k, name in enumerate(names) if found[:, k].any()}


@pytest.mark.parametrize("count", [1, 7, 25, 26, 40])
def test_each_instant_is_looked_at_from_its_own_place_also_in_many_batches(sunny, monkeypatch, count):
    monkeypatch.setattr(sunlight, "_BATCH", 6)
    record, _, aside = sunny([("near", 4.0, 0.0, 0.5), ("other", 9.0, 3.0, 0.5)])
    off = np.arange(count) % 3  # in the shade of the first, of none, of the second
    points = HERE + np.array([0.0, 1.5, 3.0])[off][:, None] * aside
    found = _shaders(record, np.linspace(0.0, 50.0, count), points)
    expected = {"platform/near": (off == 0).tolist(), "platform/other": (off == 2).tolist()}
    assert found == {name: flags for name, flags in expected.items() if any(flags)}


def test_a_body_as_far_away_as_any_still_shades(sunny):
    # the line enters the ball 0.28 m before its middle, which is farther than every other body
    record, *_ = sunny([("far", 400.0, 0.48, 0.5)])
    assert _shaders(record, np.zeros(1), HERE[None]) == {"platform/far": [True]}


def test_a_body_beside_the_line_does_not_shade(sunny):
    record, *_ = sunny([("beside", 4.0, 0.6, 0.5)])
    assert _shaders(record, np.zeros(1), HERE[None]) == {}


@pytest.mark.parametrize("batch", [1, 500])
def test_what_is_passed_and_what_lies_on_the_point_does_not_shade(sunny, monkeypatch, batch):
    monkeypatch.setattr(sunlight, "_BATCH", batch)
    record, *_ = sunny([("own", 0.1, 0.0, 0.3), ("near", 4.0, 0.0, 0.5)])
    times, points = np.zeros(3), np.repeat(HERE[None], 3, axis=0)
    assert set(_shaders(record, times, points)) == {"platform/own", "platform/near"}
    assert set(_shaders(record, times, points, passed=["platform/own"])) == {"platform/near"}
    assert set(_shaders(record, times, points, skip_m=0.5)) == {"platform/near"}


def test_light_is_summed_over_phases_and_each_point_keeps_its_own_shade(sunny):
    spans = ((0.0, 20.0), (20.0, 20.0), (20.0, 60.0))
    record, *_ = sunny([("near", 4.0, 0.0, 0.5)], {"dark": 0.0, "lit": 2.0}, spans)
    found = light_on(Sun(record), {"dark": "platform/dark", "lit": "platform/lit"}, 0.0, 60.0)
    assert [(item.point, item.lit, item.shaded_by) for item in found] == [
        ("dark", 0.0, "platform/near"), ("lit", 1.0, "")
    ]
    (part,) = light_on(Sun(record), {"lit": "platform/lit"}, 15.0, 25.0)  # looked at once, at 20 s: in one phase alone
    assert part.lit == 1.0


def test_what_a_work_point_lies_on_does_not_shade_it(sunny):
    for deep, lit in ((0.04, 1.0), (0.06, 0.0)):  # so far below the face of a ball
        record, *_ = sunny([("own", deep - 0.5, 0.0, 0.5)], {"on": 0.0})
        (item,) = light_on(Sun(record), {"on": "platform/on"}, 0.0, 20.0)
        assert (item.lit, item.shaded_by) == (lit, "" if lit else "platform/own")


def test_the_body_that_shades_most_is_named(sunny, rider_scene):
    record, *_ = sunny([("first", 4.0, 0.0, 0.5), ("second", 9.0, 0.0, 0.5)], {"dark": 0.0})
    (item,) = light_on(Sun(record), {"dark": "platform/dark"}, 0.0, 60.0)
    assert item.shaded_by in ("platform/first", "platform/second") and item.lit == 0.0


def test_light_on_what_moves_is_that_of_each_instant_of_the_stay(rider_scene, turning_record):
    """A point on the arm turns from the sun and back, a ball shades it for a while."""
    script = {"environment": ENVIRONMENT}
    scene = rider_scene({}, script=script)
    record = turning_record(scene, rate_rad_s=0.05, turning_s=50.0, standing_s=10.0)
    towards = Sun(record).sky.sun_direction(np.zeros(1))[0]
    where = record.link_path("ev1/visor", np.array([31.0]))[0, :3, 3]
    ball = Body("ball", "yard", Sphere(0.9), poses.translation(where + 3.0 * towards))
    record = turning_record(rider_scene({}, (ball,), script=script), rate_rad_s=0.05, turning_s=50.0, standing_s=10.0)
    sun, lit, shaders = Sun(record), set(), set()
    for start, end in ((0.0, 60.0), (20.0, 60.0), (25.0, 45.0), (41.0, 60.0)):
        times = np.array([(a + b) / 2 for a, b in sunlight.cut_s(start, end, 10.0)])
        pose = record.link_path("ev1/visor", times)
        nobody = np.zeros(len(record.bodies), dtype=bool)
        shade = sun.shaders(Watch(record, record.phases[0], ()), times, pose[:, :3, 3], nobody, 0.05)
        faces = pose[:, :3, 0] @ towards > 0
        (item,) = light_on(sun, {"visor": "ev1/visor"}, start, end)
        cut = [Phase(*span, record.scene.tree) for span in ((0.0, 45.0), (45.0, 60.0))]  # shade sums over phases
        again = Sun(Record(record.scene, tuple(cut), record.motion, ()))
        assert light_on(again, {"visor": "ev1/visor"}, start, end) == (item,)
        assert item.lit == pytest.approx(np.mean(faces & ~shade.any(axis=1)))
        counts = shade[faces].sum(axis=0)
        name = record.bodies[int(counts.argmax())].name if counts.any() else ""
        assert item.shaded_by == name
        lit.add(item.lit)
        shaders.add(name)
    assert len(lit) > 2 and "platform/ball" in shaders
