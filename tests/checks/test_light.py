"""The sun in visors and cameras and on the work: against directions worked out by hand, and the words."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import light
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.record.finding import Verdict
from armcarry.scene.camera import View, head_pose
from armcarry.seeing.glare import Glare, Hindered, beyond_view_rad, clear_delay_s, dazzle, glare, hindered
from armcarry.seeing.sight import sightings
from armcarry.seeing.sunlight import Sun, cut_s
from armcarry.seeing.worklight import WorkLight, light_on

VIEW = {"horizontal_view": "60 deg", "vertical_view": "40 deg", "pan": ["-170 deg", "170 deg"]}


def _environment(holds="inertial", rotation=(0.0, 0.0, 0.0), argument=0.0, **limits):
    """Describe the March equinox of 2031: the sun on the equator's x axis, to about half a degree."""
    return {
        "start": "2031-03-20T19:41:00Z",
        "orbit": {"altitude": "410 km", "inclination": "50 deg", "node": "0 deg", "argument": f"{argument} deg"},
        "attitude": {"holds": holds, "rotation": [f"{angle} deg" for angle in rotation]},
        "sun_limits": limits,
    }


def _facing(sun, visor):
    """Return the fixed-axis rotation (3, 3) that turns a direction of the platform to the equator's x axis."""
    axis = np.cross(visor, sun)
    angle = np.arctan2(np.linalg.norm(axis), visor @ sun)
    return poses.rotation_about(axis / np.linalg.norm(axis), angle)


@pytest.fixture
def lit(rider_scene, turning_record):
    """Build a run whose sun stands off_deg beside the visor's axis at the start; the platform is fixed to the stars."""

    def build(off_deg=0.0, bodies=(), run=None, points=None, stand=None, cameras=None, **limits):
        scene = rider_scene({})
        visor = scene.tree.pose_of("ev1/visor", scene.position)
        towards = visor[:3, :3] @ (np.cos(np.radians(off_deg)), np.sin(np.radians(off_deg)), 0.0)
        rotation = np.degrees(poses.rpy(_facing(np.array([1.0, 0.0, 0.0]), towards)))
        frames = {name: visor @ poses.translation(at) for name, at in (cameras or {}).items()}
        platform = {"cameras": {name: {"frame": name, **VIEW} for name in frames}}
        shades = [
            Body(f"shade_{k}", "yard", Box(size), visor @ poses.translation(at)) for k, (at, size) in enumerate(bodies)
        ]
        scene = rider_scene(
            {name: visor @ pose for name, pose in (points or {}).items()},
            shades,
            stand=stand, frames=frames, platform=platform,
            script={"environment": _environment(rotation=rotation, **limits)},
        )
        return turning_record(scene, **(run or {"rate_rad_s": 0.0}))

    return build


def test_the_sun_straight_ahead_is_in_the_visor(lit):
    record = lit()
    visor = next(finding for finding in light.check(record) if finding.other == "visor")
    assert visor.verdict is Verdict.FAIL
    assert visor.value < np.radians(1.0)
    assert (visor.subject, visor.start_s, visor.end_s) == ("ev1", 0.0, 60.0)
    assert (visor.limit, visor.unit) == (pytest.approx(np.radians(30.0)), "rad")
    assert visor.message.startswith(
        "the sun stands in the visor of ev1 for 0:01:00.0, longest from 0:00:00.0 to 0:01:00.0, "
        "0.0 deg from the axis at 0:"
    )
    assert visor.message.endswith("30.0 deg are asked for (shade looked at every 2 s)")
    assert visor.remedy.startswith("start ")
    assert visor.remedy.endswith(
        " later, turn the plate away from the sun, or have ev1 lower the visor's shade from 0:00:00.0"
    )


def test_the_sun_beside_the_visor_passes(lit):
    visor = next(finding for finding in light.check(lit(45.0)) if finding.other == "visor")
    assert visor.verdict is Verdict.PASS
    assert visor.value == pytest.approx(np.radians(45.0), abs=np.radians(0.6))
    assert (visor.subject, visor.limit, visor.unit) == ("ev1", pytest.approx(np.radians(30.0)), "rad")
    assert visor.message.startswith(
        "the sun never shines within 30.0 deg of the axis of the visor of ev1, at no instant; nearest 44.9 deg"
    )
    assert next(f for f in light.check(lit(45.0, visor="50 deg")) if f.other == "visor").verdict is Verdict.FAIL


def test_a_body_before_the_sun_shades_the_visor(lit):
    visor = next(f for f in light.check(lit(bodies=[((3.0, 0.0, 0.0), (0.2, 2.0, 2.0))])) if f.other == "visor")
    assert visor.verdict is Verdict.PASS
    assert visor.message == (
        "the sun never shines within 30.0 deg of the axis of the visor of ev1; for 0:01:00.0 bodies shade it there "
        "(looked at every 2 s)"
    )


def test_glare_begins_and_ends_when_the_angle_says(lit):
    # the arm turns through 68 deg while the sun stands; its axis is not that of the visor, so angles are sampled
    record = lit(run={"rate_rad_s": 0.03, "turning_s": 40.0})
    found = glare(Sun(record), "ev1")
    times = np.linspace(0.0, record.duration_s, 6001)
    axis = record.link_path("ev1/visor", times)[:, :3, 0]
    angle = np.arccos(np.clip(np.sum(axis * Sun(record).sky.sun_direction(times), axis=1), -1, 1))
    within = np.zeros(len(times), dtype=bool)
    for start, end in found.stretches:
        within |= (times >= start) & (times <= end)
    assert np.all(within[angle <= np.radians(30.0)])  # none is missed
    assert angle[within].max() < np.radians(31.5)  # and little is added
    assert found.nearest_rad == pytest.approx(angle.min(), abs=0.03)  # half a cell of 2 s at 0.03 rad/s


def test_night_within_a_run_parts_what_stands_in_the_visor(lit):
    record = lit(run={"rate_rad_s": 0.0, "standing_s": 7200.0})
    sun = Sun(record)
    assert sum(span.light == "night" for span in sun.spans) >= 1
    times = np.arange(1.0, record.duration_s, 7.0)
    within = np.any([(times >= start) & (times <= end) for start, end in glare(sun, "ev1").stretches], axis=0)
    np.testing.assert_array_equal(within, sun.up(times))


def test_without_an_environment_nothing_hinders_sight(rider_scene, turning_record):
    assert hindered(turning_record(rider_scene({}))) == Hindered((), ())


def test_no_glare_by_night(rider_scene, turning_record):
    record = turning_record(rider_scene({}, script={"environment": _environment(argument=180.0)}))
    findings = light.check(record)
    assert findings[0].message.startswith("night 0:00:00.0 to 0:01:00.0; the sun stands ")
    assert findings[0].value == pytest.approx(60.0)
    visor = next(finding for finding in findings if finding.other == "visor")
    assert (visor.verdict, visor.message) == (Verdict.PASS, "the sun is down all the time ev1 is outside")
    assert (visor.value, visor.limit, visor.unit) == (None, pytest.approx(np.radians(30.0)), "rad")


def test_nights_are_summed_and_many_spans_are_cut_short():
    lights = ["day", "night"] * 4 + ["day"]
    spans = tuple(SimpleNamespace(light=name, start_s=10.0 * k, end_s=10.0 * k + 4.0) for k, name in enumerate(lights))
    orbit = SimpleNamespace(beta_rad=lambda time_s: 0.1 + time_s)
    sun = SimpleNamespace(spans=spans, record=SimpleNamespace(duration_s=90.0), sky=SimpleNamespace(orbit=orbit))
    found = light._day(sun)
    assert (found.value, found.unit, found.start_s, found.end_s) == (16.0, "s of night", 0.0, 90.0)
    assert found.message.startswith("day 0:00:00.0 to 0:00:04.0, night 0:00:10.0 to 0:00:14.0, day 0:00:20.0")
    assert "day 0:01:00.0 to 0:01:04.0 and 2 more; the sun stands 6 deg out of the orbit" in found.message
    sun.spans = spans[:7]
    assert "more" not in light._day(sun).message
    stay = SimpleNamespace(start_s=12.0, end_s=31.0)
    assert light._overlap(sun, stay) == 3.0


def test_a_later_start_that_is_promised_keeps_the_sun_out(lit):
    sun = Sun(lit())
    delay = clear_delay_s(sun, "ev1")
    assert delay > 0
    times = np.linspace(0.0, 60.0, 601)
    axis = sun.record.link_path("ev1/visor", times)[:, :3, 0]
    angle = np.arccos(np.sum(axis * sun.sky.sun_direction(times + delay), axis=1))
    assert np.all((angle > np.radians(30.0)) | ~sun.up(times + delay))


# -- cameras -----------------------------------------------------------------------------------------------


def test_a_camera_that_looks_into_the_sun_is_lost(lit):
    # from behind the rider's back, looking the way the visor looks: the sun is straight ahead
    record = lit(cameras={"behind": (-6.0, 0.3, 0.0)})
    camera = next(f for f in light.check(record) if f.other == "cameras" and f.subject == "ev1")
    assert camera.verdict is Verdict.FAIL
    assert camera.value == pytest.approx(60.0)
    assert (camera.limit, camera.unit, camera.start_s, camera.end_s) == (0.0, "s", 0.0, 60.0)
    assert camera.message == (
        "for 0:01:00.0, longest from 0:00:00.0 to 0:01:00.0, the sun stands in every camera that sees ev1: "
        "platform/behind for 0:01:00.0 (looked at every 10 s)"
    )
    assert camera.remedy == (
        "add a camera that sees ev1 with the sun behind it, or start when the sun stands elsewhere"
    )


def test_a_second_camera_with_the_sun_behind_it_keeps_the_view(lit):
    record = lit(cameras={"behind": (-6.0, 0.3, 0.0), "left": (-0.5, 6.0, 0.0)})
    camera = next(f for f in light.check(record) if f.other == "cameras" and f.subject == "ev1")
    assert camera.verdict is Verdict.PASS
    assert camera.message == (
        "the sun stands in cameras that see ev1, platform/behind for 0:01:00.0, but never in all of them "
        "(looked at every 10 s)"
    )
    (rider,) = (item for item in dazzle(Sun(record), sightings(record)) if item.target == "ev1")
    assert rider.lost == ()
    assert rider.seen.all()


def test_no_camera_looks_into_the_sun(lit):
    record = lit(cameras={"left": (-0.5, 6.0, 0.0)})
    camera = next(f for f in light.check(record) if f.other == "cameras" and f.subject == "ev1")
    assert camera.message == "the sun stands in no camera that sees ev1 (looked at every 10 s)"
    assert (camera.value, camera.limit, camera.unit) == (0.0, 0.0, "s")


def test_cameras_the_sun_stands_in_are_told_the_longest_first():
    edges = np.array([0.0, 1.0, 3.0, 7.0, 15.0, 31.0])
    blinded = np.array([[k == e for e in range(4)] + [False] for k in range(5)])  # 1, 2, 4, 8 s, and never
    names = ("a", "b", "c", "d", "never")
    item = SimpleNamespace(edges_s=edges, blinded=blinded, lost=(), target="ev1")
    found = light._cameras(item, names)
    assert found.message == (
        "the sun stands in cameras that see ev1, d for 0:00:08.0, c for 0:00:04.0, b for 0:00:02.0 and 1 more, but "
        "never in all of them (looked at every 10 s)"
    )
    assert (found.subject, found.other, found.value, found.limit, found.unit) == ("ev1", "cameras", 0.0, 0.0, "s")
    item.lost = ((0.0, 1.0), (3.0, 7.0), (20.0, 21.0))
    lost = light._cameras(item, names)
    assert lost.message.startswith("for 0:00:06.0, longest from 0:00:03.0 to 0:00:07.0, the sun stands in every ")
    assert (lost.value, lost.start_s, lost.end_s) == (6.0, 3.0, 7.0)
    item.blinded, item.lost = blinded[:, [0, 1, 2, 4]], ()
    assert " more" not in light._cameras(item, ("a", "b", "c", "never")).message


def test_a_pass_of_a_visor_is_told_when_the_sun_is_nearest():
    sun = SimpleNamespace(limits=SimpleNamespace(visor=0.5))
    found = light._visor(sun, Glare("ev1", (), 0.9, 12.5, 0.0))
    assert (found.start_s, found.end_s, found.value, found.verdict) == (12.5, 12.5, 0.9, Verdict.PASS)


def test_the_longest_stretch_of_the_sun_in_a_visor_is_told(monkeypatch):
    sun = SimpleNamespace(limits=SimpleNamespace(visor=0.5))
    monkeypatch.setattr(light, "clear_delay_s", lambda *_: None)
    found = light._visor(sun, Glare("ev1", ((0.0, 2.0), (10.0, 30.0), (40.0, 44.0)), 0.25, 12.5, 0.0))
    assert found.message.startswith(
        "the sun stands in the visor of ev1 for 0:00:26.0, longest from 0:00:10.0 to 0:00:30.0, 14.3 deg from the axis "
        "at 0:00:12.5; "
    )
    assert (found.start_s, found.end_s, found.value, found.limit, found.unit) == (10.0, 30.0, 0.25, 0.5, "rad")
    assert found.remedy.startswith("turn the plate away from the sun, or ")  # no later start keeps it out


@pytest.mark.parametrize(("needed", "shares", "verdict", "limit"), [
    (True, (1.0, 1.0), Verdict.PASS, 1.0), (True, (1.0, 0.4), Verdict.FAIL, 1.0),
    (False, (1.0, 0.4), Verdict.PASS, None),
])  # fmt: skip
def test_the_work_point_with_the_least_light_is_told(monkeypatch, needed, shares, verdict, limit):
    asked = []
    lights = [WorkLight(name, lit, "") for name, lit in zip(("left", "right"), shares, strict=True)]
    monkeypatch.setattr(light, "light_on", lambda *words: asked.append(words[1:]) or lights)
    site = SimpleNamespace(work_points={"left": "a", "right": "b"})
    platform = SimpleNamespace(document=SimpleNamespace(worksites={"bay": site}))
    record = SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(platform=platform)))
    sun = SimpleNamespace(record=record, spans=(), limits=SimpleNamespace(work_needs_light=needed))
    found = light._site(sun, SimpleNamespace(worksite="bay", start_s=5.0, end_s=25.0), "ev1")
    assert asked == [({"left": "platform/a", "right": "platform/b"}, 5.0, 25.0)]
    assert (found.verdict, found.value, found.limit) == (verdict, min(shares), limit)
    assert (found.subject, found.other, found.unit) == ("ev1", "bay", "of the stay in sunlight")
    worst = "left" if shares[1] == 1.0 else "right"
    words = f"; the sun lights {worst} for {min(shares) * 100:.0f} % of the stay, least of all"
    assert found.message.endswith(words + ("; work must be lit" if verdict is Verdict.FAIL else ""))


def test_how_far_a_direction_is_out_of_view():
    view, at = View(np.radians(60), np.radians(40)), poses.identity()
    for pan, tilt, beyond in ((50, 0, 20), (0, 35, 15), (0, 0, -20), (10, 5, -15), (180, 0, 150)):
        direction = head_pose(at, np.radians(pan), np.radians(tilt))[:3, 0]
        assert np.degrees(beyond_view_rad(view, at, direction)) == pytest.approx(beyond, abs=1e-9)


# -- work --------------------------------------------------------------------------------------------------


def _facing_sun(at, turned=np.pi):
    """Return a work point's pose in the visor's frame: +x towards the sun straight ahead, or turned from it."""
    return poses.translation(at) @ poses.rotation_about((0.0, 0.0, 1.0), turned)


POINTS = {"lit": _facing_sun((1.0, 3.0, 0.0), 0.0), "turned": _facing_sun((1.0, 3.0, 0.0)),
          "dark": _facing_sun((1.0, -3.0, 0.0), 0.0)}
SHADE = ((4.0, -3.0, 0.0), (0.2, 1.0, 1.0))


def test_light_on_work_points(lit):
    record = lit(points=POINTS, bodies=[SHADE])
    found = {item.point: item for item in light_on(Sun(record), {k: f"platform/{k}" for k in POINTS}, 0.0, 60.0)}
    assert {name: item.lit for name, item in found.items()} == {"lit": 1.0, "turned": 0.0, "dark": 0.0}
    assert found["dark"].shaded_by == "platform/shade_0"
    assert found["turned"].shaded_by == ""


def test_a_worksite_without_light_fails_only_where_it_is_needed(lit, rider_scene):
    scene = rider_scene({})
    plate = scene.tree.pose_of("restraint/plate", scene.position)
    for needed, verdict in (("false", Verdict.PASS), ("true", Verdict.FAIL)):
        record = lit(points={"dark": POINTS["dark"]}, bodies=[SHADE], stand=plate, work_needs_light=needed)
        site = next(finding for finding in light.check(record) if finding.other == "site")
        assert site.verdict is verdict
        assert (site.subject, site.start_s, site.end_s) == ("ev1", pytest.approx(40.0), pytest.approx(60.0))
        wanted = (0.0, 1.0 if verdict is Verdict.FAIL else None, "of the stay in sunlight")
        assert (site.value, site.limit, site.unit) == wanted
        assert site.message.startswith(
            "work at site from 0:00:40.0 to 0:01:00.0: night for 0:00:00.0; the sun lights dark for 0 % of the stay, "
            "least of all, shaded by platform/shade_0"
        )
        assert site.message.endswith("; work must be lit") == (verdict is Verdict.FAIL)
        wanted = "bring a lamp to site, or start when the sun lights it" if verdict is Verdict.FAIL else ""
        assert site.remedy == wanted


def test_a_worksite_without_work_points_is_not_assessed(lit, rider_scene):
    scene = rider_scene({})
    record = lit(stand=scene.tree.pose_of("restraint/plate", scene.position))
    site = next(finding for finding in light.check(record) if finding.other == "site")
    assert site.verdict is Verdict.NOT_ASSESSED
    assert site.message == "site has no work points, so its light is not judged"
    assert site.remedy == "name the work points of site in the platform's document"


# -- all ---------------------------------------------------------------------------------------------------


def test_without_an_environment_nothing_is_assessed(rider_scene, turning_record):
    record = turning_record(rider_scene({}))
    (finding,) = light.check(record)
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "the scenario does not say when it is and how the platform flies"
    assert finding.remedy == "give the scenario an environment: start, orbit, attitude"
    with pytest.raises(ValueError, match="the scenario has no environment"):
        Sun(record)


@pytest.mark.parametrize("holds", ["local", "inertial"])
def test_the_sun_turns_no_faster_than_its_bound(rider_scene, turning_record, holds):
    sun = Sun(turning_record(rider_scene({}, script={"environment": _environment(holds)})))
    times = np.linspace(0.0, 6000.0, 60001)
    towards = sun.sky.sun_direction(times)
    rate = np.linalg.norm(np.diff(towards, axis=0), axis=1) / 0.1
    assert rate.max() <= sun.turn_rate_rad_s
    assert sun.turn_rate_rad_s < (1.2e-3 if holds == "local" else 2e-6)


def test_cutting_time():
    assert cut_s(0.0, 10.0, 4.0) == [(0.0, 10 / 3), (10 / 3, 20 / 3), (20 / 3, 10.0)]
    assert cut_s(5.0, 5.0, 4.0) == [(5.0, 5.0)]
