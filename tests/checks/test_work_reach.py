"""Reach and sight of work points at a stop, and what hardware in the hands hides."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import held_view, work_reach
from armcarry.files.loaded import Assumption, InputFile
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Sphere
from armcarry.motion.curve import Motion
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.record.stops import stops
from armcarry.scene.assumed import is_assumed
from armcarry.scene.view import cone_directions
from armcarry.timeline.run import Phase


def _move(number, kind, start_s, end_s):
    return MoveSpan("there", number, "", kind, start_s, end_s, "rider", words=f"{kind} words")


ARRIVE = (_move(1, "to_worksite", 0.0, 10.0), _move(2, "hold", 10.0, 20.0), _move(3, "posture", 20.0, 25.0))


def _stopped(scene, moves=ARRIVE, lean_rad=0.0):
    """Standing at the site from the start; the trunk leans from 20 to 25 s."""
    table = np.zeros((2, 2, len(scene.position)))
    table[:, 0] = scene.position
    table[1, 1, scene.tree.column("ev1/hips")] = lean_rad / 5
    motion = Motion(scene.tree.joints, np.array([0.0, 20.0, 25.0]), table)
    return Record(scene, (Phase(0.0, 25.0, scene.tree),), motion, moves)


@pytest.fixture
def at_site(rider_scene):
    """Build a scene whose stand is where the plate is at the start; points given in the plate's frame."""

    def build(points, stand_shift=None, **options):
        scene = rider_scene({})
        plate = scene.tree.pose_of("restraint/plate", scene.position)
        points = {name: plate @ poses.translation(xyz) for name, xyz in points.items()}
        stand = plate if stand_shift is None else plate @ stand_shift
        return rider_scene(points, stand=stand, **options)

    return build


# -- stops -------------------------------------------------------------------------------------------------


def test_a_stop_lasts_to_the_next_move_of_the_arm(at_site):
    moves = (*ARRIVE, _move(4, "line", 25.0, 25.0))
    (first, second) = stops(_stopped(at_site({}), moves))
    assert (first.worksite, first.start_s, first.end_s, first.times_s) == ("site", 10.0, 25.0, (9.999, 19.999, 24.999))
    assert first.title == "there move 1 (to_worksite words)"
    assert second.times_s == (25.0,)  # the line ends on the stand too


def test_away_from_the_stand_there_is_no_stop(at_site):
    scene = at_site({"work": (0.5, 0.0, 1.35)}, stand_shift=poses.translation((0.06, 0.0, 0.0)))
    assert stops(_stopped(scene)) == ()
    assert work_reach.check(_stopped(scene)) == ()
    turned = at_site({"work": (0.5, 0.0, 1.35)}, stand_shift=poses.rotation_about((0, 0, 1), 0.11))
    assert stops(_stopped(turned)) == ()


# -- reach -------------------------------------------------------------------------------------------------


def test_the_margin_is_that_of_the_sketch(at_site):
    # shoulders at (0, +-0.2, 1.4) and the visor at (0.2, 0, 1.65) over the plate
    (finding,) = work_reach.check(_stopped(at_site({"work": (0.55, 0.0, 1.4)})))
    reach = 0.70 - np.hypot(0.55, 0.2)
    angle = np.arctan2(0.25, 0.35)
    sight = np.hypot(0.35, 0.25) * np.sin(np.radians(60.0) - angle)
    assert finding.verdict is Verdict.PASS
    assert finding.value == pytest.approx(min(reach, sight), abs=1e-9)
    assert finding.message == (
        f"work of site is {reach:.3f} m inside two-hand reach of ev1 (plain) and {sight:.3f} m inside the visor's "
        "view at 0:10.0, the best instant of the stop"
    )
    assert (finding.subject, finding.other, finding.start_s, finding.end_s) == ("ev1", "work", 10.0, 25.0)


def test_the_best_instant_of_the_stop_counts(at_site):
    scene = at_site({"low": (0.55, 0.0, 1.0)}, hands="one")
    (upright,) = work_reach.check(_stopped(scene))
    (leaning,) = work_reach.check(_stopped(scene, lean_rad=np.radians(20.0)))
    assert upright.verdict is Verdict.FAIL
    assert leaning.verdict is Verdict.PASS
    assert "at 0:25.0, the best instant" in leaning.message


def test_a_point_too_far_says_how_far(at_site):
    near, far = work_reach.check(_stopped(at_site({"near": (0.5, 0.0, 1.4), "far": (0.95, 0.0, 1.5)})))
    assert near.verdict is Verdict.PASS
    short = np.linalg.norm((0.95, 0.2, 0.1)) - 0.70
    assert far.verdict is Verdict.FAIL
    assert far.value == pytest.approx(-short)
    assert f"far of site is {short:.3f} m outside two-hand reach of ev1" in far.message
    assert far.remedy == "search the restraint settings and postures for site, or stand nearer to far"


def test_one_hand_is_enough_where_the_worksite_asks_for_one(at_site):
    point = {"aside": (0.6, 0.5, 1.5)}
    (two,) = work_reach.check(_stopped(at_site(point)))
    (one,) = work_reach.check(_stopped(at_site(point, hands="one")))
    assert two.verdict is Verdict.FAIL
    assert one.verdict is Verdict.PASS
    assert "inside one-hand reach" in one.message


def test_a_worksite_without_work_points_is_not_assessed(at_site):
    (finding,) = work_reach.check(_stopped(at_site({})))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "site has no work points, so what ev1 reaches there is not judged"
    assert finding.remedy == "name the work points of site in the platform's document"


def test_an_assumed_reach_is_said_to_be_one(at_site):
    scene = at_site({"work": (0.5, 0.0, 1.4)})
    member = scene.loaded.crew["ev1"]
    given = {
        "inputs": (InputFile("models/crew/suit/suit.yaml", member.path, b""),),
        "assumptions": (Assumption("models/crew/suit/suit.yaml", "sizes.plain.reach.one_hand", "0.75 m"),),
    }
    object.__setattr__(scene, "loaded", SimpleNamespace(**{**vars(scene.loaded), **given}))
    (finding,) = work_reach.check(_stopped(scene))
    assert finding.message.endswith("the best instant of the stop; the suited reach is an assumption")
    assert is_assumed(scene.loaded, member.path, "sizes.plain.reach")
    assert not is_assumed(scene.loaded, member.path, "sizes.plain.rea")
    assert not is_assumed(scene.loaded, member.path, "corridor")


# -- hardware in the hands -----------------------------------------------------------------------------------


def test_directions_over_a_cone_share_its_solid_angle_evenly():
    rays = cone_directions(np.radians(50.0), 4000)
    np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1.0)
    assert np.arccos(rays[:, 0]).max() <= np.radians(50.0)
    for inner in (10.0, 25.0, 40.0):
        share = (1 - np.cos(np.radians(inner))) / (1 - np.cos(np.radians(50.0)))
        assert np.mean(np.arccos(rays[:, 0]) < np.radians(inner)) == pytest.approx(share, abs=1e-3)
    np.testing.assert_allclose(rays[:, 1:].mean(axis=0), 0.0, atol=2e-3)


def test_a_ball_before_the_eye_hides_the_share_of_its_cone(at_site):
    # the hands' frame is at (0.45, 0, 1.3) over the plate, the visor at (0.2, 0, 1.65)
    ball = Body("ball", "base", Sphere(0.15), poses.translation((0.45, 0.0, 0.35)))
    scene = at_site({}, held=[ball])
    _, links = _stopped(scene).link_poses(0.0)
    share = held_view.hidden_share(scene.tree, links, "ev1/visor", np.radians(60.0), "load")
    hidden = np.arcsin(0.15 / 0.70)  # 0.7 m ahead of the visor
    assert share == pytest.approx((1 - np.cos(hidden)) / (1 - np.cos(np.radians(60.0))), abs=0.004)


def test_held_hardware_before_a_work_point_hides_it(at_site):
    points = {"behind": (0.65, 0.0, 1.35), "over": (0.55, 0.0, 1.62)}
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.translation((0.0, 0.0, 0.05)))
    (finding,) = held_view.check(_stopped(at_site(points, held=[board])))
    assert finding.verdict is Verdict.FAIL
    assert finding.message.endswith("of the view at site and, as long as the stop lasts, behind")
    assert finding.message.startswith("load in the hands of ev1 hides ")
    assert (finding.value, finding.limit, finding.unit) == (1.0, 0.0, "work points")
    assert finding.remedy == "hold load lower or to the side, seat it first, or let another crewmember or camera watch"


def test_held_hardware_below_the_line_of_sight_hides_nothing(at_site):
    board = Body("board", "base", Box((0.02, 0.4, 0.1)), poses.translation((0.0, 0.0, -0.3)))
    (finding,) = held_view.check(_stopped(at_site({"work": (0.6, 0.0, 1.5)}, held=[board])))
    assert finding.verdict is Verdict.PASS
    assert finding.message.endswith("of the view at site but none of its 1 work points throughout the stop")


def test_a_point_on_the_face_of_what_is_held_is_seen(at_site):
    case = Body("case", "base", Box((0.3, 0.3, 0.3)), poses.translation((0.3, 0.0, 0.1)))
    (finding,) = held_view.check(_stopped(at_site({"face": (0.60, 0.0, 1.4)}, held=[case])))
    assert finding.verdict is Verdict.PASS


def _left(scene, at_s, moves):
    """The load is left far below at a time."""
    left = scene.tree.attach("load", "world", poses.translation((0.0, 0.0, -9.0)))
    return Record(scene, (Phase(0.0, at_s, scene.tree), Phase(at_s, 25.0, left)), _stopped(scene).motion, moves)


@pytest.mark.parametrize("at_s", [10.0, 20.0])
def test_what_is_let_go_hides_nothing_any_more(at_site, at_s):
    """Also when it is let go at once on arrival, or as the last thing before the arm leaves."""
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.translation((0.0, 0.0, 0.05)))
    scene = at_site({"behind": (0.65, 0.0, 1.35)}, held=[board])
    before = [_move(2, "hold", 10.0, 20.0)] if at_s > 10 else []
    moves = (ARRIVE[0], *before, _move(3, "detach", at_s, at_s))
    (finding,) = held_view.check(_left(scene, at_s, moves))
    assert finding.verdict is Verdict.PASS
    assert finding.message.endswith("but none of its 1 work points throughout the stop")
    (still,) = held_view.check(_stopped(scene, moves[:-1]))
    assert still.verdict is Verdict.FAIL


def test_hardware_carried_past_no_work_is_not_assessed(at_site):
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.identity())
    (finding,) = held_view.check(_stopped(at_site({}, held=[board])))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message.startswith("load in the hands of ev1 hides ")
    assert finding.message.endswith("of the view at 0:00.0; no stop with work points says what must be seen")
    assert finding.remedy == "stop at a worksite that names its work points"


def test_empty_hands_need_no_finding(at_site):
    assert held_view.check(_stopped(at_site({"work": (0.5, 0.0, 1.4)}))) == ()
