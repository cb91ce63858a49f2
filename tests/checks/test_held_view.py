"""What hardware in a rider's hands hides of the work."""

import numpy as np
import pytest

from armcarry.checks import held_view
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Sphere
from armcarry.record.finding import Verdict
from armcarry.record.record import Phase, Record
from armcarry.scene.view import cone_directions


def test_directions_over_a_cone_share_its_solid_angle_evenly():
    rays = cone_directions(np.radians(50.0), 4000)
    np.testing.assert_allclose(np.linalg.norm(rays, axis=1), 1.0)
    assert np.arccos(rays[:, 0]).max() <= np.radians(50.0)
    for inner in (10.0, 25.0, 40.0):
        share = (1 - np.cos(np.radians(inner))) / (1 - np.cos(np.radians(50.0)))
        assert np.mean(np.arccos(rays[:, 0]) < np.radians(inner)) == pytest.approx(share, abs=1e-3)
    np.testing.assert_allclose(rays[:, 1:].mean(axis=0), 0.0, atol=2e-3)


def test_a_ball_before_the_eye_hides_the_share_of_its_cone(at_site, stopped):
    # the hands' frame is at (0.45, 0, 1.3) over the plate, the visor at (0.2, 0, 1.65)
    ball = Body("ball", "base", Sphere(0.15), poses.translation((0.45, 0.0, 0.35)))
    scene = at_site({}, held=[ball])
    _, links = stopped(scene).link_poses(0.0)
    share = held_view.hidden_share(scene.tree, links, "ev1/visor", np.radians(60.0), "load")
    hidden = np.arcsin(0.15 / 0.70)  # 0.7 m ahead of the visor
    assert share == pytest.approx((1 - np.cos(hidden)) / (1 - np.cos(np.radians(60.0))), abs=0.004)


def test_held_hardware_before_a_work_point_hides_it(at_site, stopped):
    points = {"behind": (0.65, 0.0, 1.35), "over": (0.55, 0.0, 1.62)}
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.translation((0.0, 0.0, 0.05)))
    (finding,) = held_view.check(stopped(at_site(points, held=[board])))
    assert finding.verdict is Verdict.FAIL
    assert finding.message.endswith("of the view at site and, as long as the stop lasts, behind")
    assert finding.message.startswith("load in the hands of ev1 hides ")
    assert (finding.value, finding.limit, finding.unit) == (1.0, 0.0, "work points")
    assert finding.remedy == "hold load lower or to the side, seat it first, or let another crewmember or camera watch"


def test_held_hardware_below_the_line_of_sight_hides_nothing(at_site, stopped):
    board = Body("board", "base", Box((0.02, 0.4, 0.1)), poses.translation((0.0, 0.0, -0.3)))
    (finding,) = held_view.check(stopped(at_site({"work": (0.6, 0.0, 1.5)}, held=[board])))
    assert finding.verdict is Verdict.PASS
    assert finding.message.endswith("of the view at site but none of its 1 work points throughout the stop")


def test_a_point_on_the_face_of_what_is_held_is_seen(at_site, stopped):
    case = Body("case", "base", Box((0.3, 0.3, 0.3)), poses.translation((0.3, 0.0, 0.1)))
    (finding,) = held_view.check(stopped(at_site({"face": (0.60, 0.0, 1.4)}, held=[case])))
    assert finding.verdict is Verdict.PASS


def _left(record, at_s, moves):
    """The load is left far below at a time."""
    tree = record.scene.tree
    left = tree.attach("load", "world", poses.translation((0.0, 0.0, -9.0)))
    return Record(record.scene, (Phase(0.0, at_s, tree), Phase(at_s, 25.0, left)), record.motion, moves)


@pytest.mark.parametrize("at_s", [10.0, 20.0])
def test_what_is_let_go_hides_nothing_any_more(at_site, at_s, stopped, site_move):
    """Also when it is let go at once on arrival, or as the last thing before the arm leaves."""
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.translation((0.0, 0.0, 0.05)))
    scene = at_site({"behind": (0.65, 0.0, 1.35)}, held=[board])
    before = [site_move(2, "hold", 10.0, 20.0)] if at_s > 10 else []
    moves = (stopped(scene).moves[0], *before, site_move(3, "detach", at_s, at_s))
    (finding,) = held_view.check(_left(stopped(scene), at_s, moves))
    assert finding.verdict is Verdict.PASS
    assert finding.message.endswith("but none of its 1 work points throughout the stop")
    (still,) = held_view.check(stopped(scene, moves[:-1]))
    assert still.verdict is Verdict.FAIL


def test_hardware_carried_past_no_work_is_not_assessed(at_site, stopped):
    board = Body("board", "base", Box((0.02, 0.4, 0.3)), poses.identity())
    (finding,) = held_view.check(stopped(at_site({}, held=[board])))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message.startswith("load in the hands of ev1 hides ")
    assert finding.message.endswith("of the view at 0:00:00.0; no stop with work points says what must be seen")
    assert finding.remedy == "stop at a worksite that names its work points"


def test_empty_hands_need_no_finding(at_site, stopped):
    assert held_view.check(stopped(at_site({"work": (0.5, 0.0, 1.4)}))) == ()
