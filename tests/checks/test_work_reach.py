"""Reach and sight of work points at a stop."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import work_reach
from armcarry.files.loaded import Assumption, InputFile
from armcarry.geometry import poses
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.record.stops import stops
from armcarry.scene.assumed import is_assumed

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
    assert work_reach.check(stopped(scene)) == ()
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
        f"{rounded_down(sight):.3f} m inside the visor's view at 0:00:10.0, the best instant of the stop"
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
    object.__setattr__(scene, "loaded", SimpleNamespace(**{**vars(scene.loaded), **given}))
    (finding,) = work_reach.check(stopped(scene))
    assert finding.message.endswith("the best instant of the stop; the suited reach is an assumption")
    assert is_assumed(scene.loaded, member.path, "sizes.plain.reach")
    assert not is_assumed(scene.loaded, member.path, "sizes.plain.rea")
    assert not is_assumed(scene.loaded, member.path, "corridor")
