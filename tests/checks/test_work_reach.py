"""Reach and sight of work points at a stop."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import work_reach
from armcarry.files.loaded import Assumption, InputFile
from armcarry.geometry import poses
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.scene.assumed import is_assumed
from armcarry.timeline.run import Shortfall
from armcarry.working.stays import stays
from armcarry.working.stops import stops

# -- stops -------------------------------------------------------------------------------------------------


def test_a_stop_lasts_to_the_next_move_of_the_arm(at_site, stopped, site_move):
    moves = (*stopped(at_site({})).moves, site_move(4, "line", 25.0, 25.0))
    (first, second) = stops(stopped(at_site({}), moves))
    assert (first.worksite, first.start_s, first.end_s, first.times_s) == ("site", 10.0, 25.0, (9.999, 19.999, 24.999))
    assert first.title == "there move 1 (to_worksite words)"
    assert second.times_s == (25.0,)  # the line ends on the stand too


def test_away_from_the_stand_there_is_no_stop(at_site, stopped):
    scene = at_site({"work": (0.5, 0.0, 1.35)}, stand_shift=poses.translation((0.06, 0.0, 0.0)))
    assert stops(stopped(scene)) == ()
    turned = at_site({"work": (0.5, 0.0, 1.35)}, stand_shift=poses.rotation_about((0, 0, 1), 0.11))
    assert stops(stopped(turned)) == ()


# -- reach -------------------------------------------------------------------------------------------------


def test_the_margin_is_that_of_the_sketch(at_site, stopped):
    # shoulders at (0, +-0.2, 1.4) and the visor at (0.2, 0, 1.65) over the plate
    (finding,) = work_reach.check(stopped(at_site({"work": (0.55, 0.0, 1.4)})))
    reach = 0.70 - np.hypot(0.55, 0.2)
    angle = np.arctan2(0.25, 0.35)
    sight = np.hypot(0.35, 0.25) * np.sin(np.radians(60.0) - angle)
    assert finding.verdict is Verdict.PASS
    assert finding.value == pytest.approx(min(reach, sight), abs=1e-9)
    assert finding.message == (
        f"work of site is {rounded_down(reach):.3f} m inside two-hand reach of ev1 (plain) and "
        f"{rounded_down(sight):.3f} m inside the visor's view at 0:00:10.0, the best instant of the stay"
    )
    assert (finding.subject, finding.other, finding.start_s, finding.end_s) == ("ev1", "work", 10.0, 25.0)


def test_the_best_instant_of_the_stop_counts(at_site, stopped):
    scene = at_site({"low": (0.55, 0.0, 1.0)}, hands="one")
    (upright,) = work_reach.check(stopped(scene))
    (leaning,) = work_reach.check(stopped(scene, lean_rad=np.radians(20.0)))
    assert upright.verdict is Verdict.FAIL
    assert leaning.verdict is Verdict.PASS
    assert "at 0:00:25.0, the best instant" in leaning.message


def test_a_point_too_far_says_how_far(at_site, stopped):
    near, far = work_reach.check(stopped(at_site({"near": (0.5, 0.0, 1.4), "far": (0.95, 0.0, 1.5)})))
    assert near.verdict is Verdict.PASS
    short = np.linalg.norm((0.95, 0.2, 0.1)) - 0.70
    assert far.verdict is Verdict.FAIL
    assert far.value == pytest.approx(-short)
    assert f"far of site is {short:.3f} m outside two-hand reach of ev1" in far.message
    assert far.remedy == "search the restraint settings and postures for site, or stand nearer to far"


def test_one_hand_is_enough_where_the_worksite_asks_for_one(at_site, stopped):
    point = {"aside": (0.6, 0.5, 1.5)}
    (two,) = work_reach.check(stopped(at_site(point)))
    (one,) = work_reach.check(stopped(at_site(point, hands="one")))
    assert two.verdict is Verdict.FAIL
    assert one.verdict is Verdict.PASS
    assert "inside one-hand reach" in one.message


def test_a_worksite_without_work_points_is_not_assessed(at_site, stopped):
    (finding,) = work_reach.check(stopped(at_site({})))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "site has no work points, so what ev1 reaches there is not judged"
    assert finding.remedy == "name the work points of site in the platform's document"


def test_an_assumed_reach_is_said_to_be_one(at_site, stopped):
    scene = at_site({"work": (0.5, 0.0, 1.4)})
    member = scene.loaded.crew["ev1"]
    given = {
        "inputs": (InputFile("models/crew/suit/suit.yaml", member.path, b""),),
        "assumptions": (Assumption("models/crew/suit/suit.yaml", "sizes.plain.reach.one_hand", "0.75 m"),),
    }
    given = {"restraints": scene.loaded.restraints, **given}
    object.__setattr__(scene, "loaded", SimpleNamespace(**{**vars(scene.loaded), **given}))
    (finding,) = work_reach.check(stopped(scene))
    assert finding.message.endswith("the best instant of the stay; the suited reach is an assumption")
    assert is_assumed(scene.loaded, member.path, "sizes.plain.reach")
    assert not is_assumed(scene.loaded, member.path, "sizes.plain.rea")
    assert not is_assumed(scene.loaded, member.path, "corridor")


# -- nobody is left out --------------------------------------------------------------------------------------


def test_a_plate_beside_the_stand_is_judged_where_it_is(at_site, stopped):
    beside = poses.translation((0.06, 0.0, 0.0))
    (near,) = work_reach.check(stopped(at_site({"work": (0.55, 0.0, 1.4)}, stand_shift=beside)))
    assert near.verdict is Verdict.PASS
    assert "the best instant of the stay, the plate 0.060 m and 0.0 deg from the stand" in near.message
    (far,) = work_reach.check(stopped(at_site({"work": (0.95, 0.0, 1.5)}, stand_shift=beside)))
    assert far.verdict is Verdict.FAIL
    assert far.value == pytest.approx(0.70 - np.linalg.norm((0.95, 0.2, 0.1)))


def test_a_plate_half_a_metre_off_or_turned_away_is_not_at_the_stand(at_site, stopped):
    points = {"work": (0.55, 0.0, 1.4)}
    for shift, told in (
        (poses.translation((0.499, 0.0, 0.0)), 1), (poses.translation((0.501, 0.0, 0.0)), 0),
        (poses.rotation_about((0, 0, 1), 0.79), 1), (poses.rotation_about((0, 0, 1), 0.81), 0),
    ):
        assert len(work_reach.check(stopped(at_site(points, stand_shift=shift)))) == told


def test_passing_near_a_stand_without_resting_is_no_stay(at_site, stopped, site_move):
    scene = at_site({"work": (0.55, 0.0, 1.4)}, stand_shift=poses.translation((0.06, 0.0, 0.0)))
    moves = (site_move(1, "line", 0.0, 10.0), site_move(2, "line", 10.0, 25.0))
    assert work_reach.check(stopped(scene, moves)) == ()


def test_waiting_near_a_stand_counts_only_where_the_rider_never_stops_on_it(at_site, stopped, site_move):
    scene = at_site({"work": (0.55, 0.0, 1.4)})
    record = stopped(scene, (site_move(1, "to_worksite", 0.0, 10.0), site_move(2, "hold", 10.0, 25.0)))
    assert [stay.worksite for stay in stays(record)] == ["site"]


def _with_day(steps, **options):
    return {"script": {"day": {"steps": steps}}, **options}


NOTE = {"name": "work", "actors": ["ev1"], "at": "site", "note": "work", "takes": "20 s"}


def test_a_step_of_a_day_says_where_its_rider_works(at_site, stopped):
    """Wherever the plate is: far from the stand the points are out of reach, and that is told."""
    away = poses.translation((2.0, 0.0, 0.0))
    (found,) = work_reach.check(stopped(at_site({"work": (2.5, 0.0, 1.4)}, stand_shift=away, **_with_day([NOTE]))))
    assert (found.verdict, found.subject) == (Verdict.FAIL, "ev1")
    assert ", the plate 2.000 m and 0.0 deg from the stand" in found.message
    assert (found.start_s, found.end_s) == (0.0, 20.0)


def test_a_free_worker_is_judged_with_the_body_they_have(at_site, stopped):
    """Boots on the stand itself; the rider is far from it and does nothing there."""
    away = poses.translation((2.0, 0.0, 0.0))
    step = {**NOTE, "actors": ["ev2"]}
    points = {"near": (2.55, 0.0, 1.4), "far": (2.95, 0.0, 1.5)}
    scene = at_site(points, stand_shift=away, worker_at="platform/stand", **_with_day([step]))
    near, far = work_reach.check(stopped(scene))
    assert near.subject == far.subject == "ev2"
    assert near.value == pytest.approx(min(0.70 - np.hypot(0.55, 0.2), near.value))
    assert far.value == pytest.approx(0.70 - np.linalg.norm((0.95, 0.2, 0.1)))
    assert (near.verdict, far.verdict) == (Verdict.PASS, Verdict.FAIL)
    assert "plate" not in far.message


def test_without_a_day_a_worker_whom_the_scenario_stands_there_works_there(at_site, stopped):
    away = poses.translation((2.0, 0.0, 0.0))
    scene = at_site({"near": (2.55, 0.0, 1.4)}, stand_shift=away, worker_at="platform/stand")
    (found,) = work_reach.check(stopped(scene))
    assert (found.subject, found.verdict, found.start_s, found.end_s) == ("ev2", Verdict.PASS, 0.0, 25.0)


def test_steps_at_one_worksite_are_one_stay_and_hands_work_where_one_went(at_site, stopped):
    steps = [
        {**NOTE, "name": "first", "actors": ["ev2"], "takes": "5 s"},
        {**NOTE, "name": "second", "actors": ["ev2"], "takes": "5 s"},
        {"name": "rest", "actors": ["ev2"], "note": "nothing of the kind", "takes": "5 s"},
    ]
    away = poses.translation((2.0, 0.0, 0.0))
    scene = at_site({"near": (2.55, 0.0, 1.4)}, stand_shift=away, worker_at="platform/stand", **_with_day(steps))
    (stay,) = stays(stopped(scene))
    assert (stay.crew, stay.worksite, stay.start_s, stay.end_s) == ("ev2", "site", 0.0, 10.0)
    assert stay.times_s == pytest.approx((4.999, 9.999))


def test_a_worksite_the_run_does_not_come_to_is_not_assessed(at_site, stopped):
    carry = {"name": "there", "moves": [{"hold": "1 s"}, {"to_worksite": "site"}]}
    away = poses.translation((2.0, 0.0, 0.0))
    scene = at_site({"work": (2.5, 0.0, 1.4)}, stand_shift=away, script={"carries": [carry]})
    record = stopped(scene)
    short = Shortfall("there", 2, "to the site", "site", 0.4, 0.0, "too far", "nearer", 25.0)
    moves = tuple(move for move in record.moves if move.number == 1)
    (found,) = work_reach.check(replace(record, moves=moves, shortfalls=(short,)))
    assert found.verdict is Verdict.NOT_ASSESSED
    assert found.message == "the run ends before ev1 comes to site, so what ev1 reaches there is not judged"
    assert found.remedy == "see the finding of reach on to the site"
