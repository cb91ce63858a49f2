"""A body led between two walls a known distance apart."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks.corridor import check
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.record.finding import Verdict
from armcarry.record.record import Record
from armcarry.timeline.run import Phase


def _plate(rider_scene):
    scene = rider_scene({})
    return scene.tree.pose_of("restraint/plate", scene.position)


def _led(scene, metres, joint="free_x", seconds=40.0):
    """The rider led straight along one axis of the plate, the arm standing still."""
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    table[0, 1, scene.tree.column(f"ev1/{joint}")] = metres / seconds
    motion = Motion(scene.tree.joints, np.array([0.0, seconds]), table)
    return Record(scene, (Phase(0.0, seconds, scene.tree),), motion, ())


def _walls(plate, left_m, right_m, x_m=2.0, size=(0.6, 0.2, 3.0), yaw=0.0):
    turn = poses.from_xyz_rpy((x_m, 0.0, 1.0), (0.0, 0.0, yaw))
    return [
        Body("wall_left", "yard", Box(size), plate @ turn @ poses.translation((0, left_m + size[1] / 2, 0))),
        Body("wall_right", "yard", Box(size), plate @ turn @ poses.translation((0, -right_m - size[1] / 2, 0))),
    ]


@pytest.mark.parametrize(("left", "right"), [(0.7, 0.7), (0.9, 0.35), (0.4, 0.5), (0.3, 0.6)])
def test_the_width_between_two_walls_is_their_gap(rider_scene, left, right):
    plate = _plate(rider_scene)
    (finding,) = check(_led(rider_scene({}, _walls(plate, left, right)), 4.0))
    assert finding.value == pytest.approx(left + right, abs=2e-6)
    assert finding.verdict is (Verdict.PASS if left + right >= 1.1 else Verdict.FAIL)
    assert {"platform/wall_left", "platform/wall_right"} >= {finding.other}
    assert 10.0 <= finding.start_s <= 30.0  # while the trunk passes x = 2 m at 0.1 m/s


def test_who_is_put_elsewhere_at_once_has_not_gone_there(rider_scene):
    plate = _plate(rider_scene)
    led = _led(rider_scene({}, _walls(plate, 0.45, 0.5, x_m=30.0)), 4.0)
    inside = led.scene.position.copy()
    inside[led.scene.tree.column("ev1/free_x")] = 30.0  # between the walls from then on
    table = np.concatenate([led.motion.coefficients, np.stack([inside, 0.0 * inside])[None]])
    motion = Motion(led.motion.joints, np.array([0.0, 40.0, 60.0]), table)
    (finding,) = check(replace(led, phases=(*led.phases, Phase(40.0, 60.0, led.scene.tree)), motion=motion))
    assert (finding.verdict, finding.other) == (Verdict.PASS, "")


def test_the_message_names_the_place_and_the_need(rider_scene):
    plate = _plate(rider_scene)
    (finding,) = check(_led(rider_scene({}, _walls(plate, 0.45, 0.5)), 4.0))
    assert finding.message.startswith("the way of ev1 is 0.950 m wide at its narrowest at 0:")
    assert finding.message.endswith(
        ", by platform/wall_left and platform/wall_right, looked at every 0.15 m; the body needs 1.100 m"
    )
    assert finding.remedy == "lead ev1 around platform/wall_left, or turn the body along the way"
    assert (finding.limit, finding.unit, finding.subject) == (1.1, "m", "ev1")


def test_a_thin_pair_of_posts_between_two_looks_is_found(rider_scene):
    """Posts thinner than the spacing of the looks: the body is long enough along its way to meet them."""
    plate = _plate(rider_scene)
    for x in np.arange(1.9, 2.1, 0.03):
        posts = [
            Body(name, "yard", Cylinder(0.02, 3.0), plate @ poses.translation((x, y, 1.0)))
            for name, y in (("post_left", 0.42), ("post_right", -0.42))
        ]
        (finding,) = check(_led(rider_scene({}, posts), 4.0))
        assert finding.value == pytest.approx(0.8, abs=2e-3)


def test_open_space_is_wide(rider_scene):
    (finding,) = check(_led(rider_scene({}), 4.0))
    assert finding.verdict is Verdict.PASS
    assert finding.message.startswith("the way of ev1 is more than 2.20 m wide throughout, looked at every 0.15 m; ")
    assert (finding.other, finding.remedy, finding.value) == ("", "", 2.2)


def test_one_wall_alone_is_no_corridor(rider_scene):
    plate = _plate(rider_scene)
    (finding,) = check(_led(rider_scene({}, _walls(plate, 0.35, 9.0)), 4.0))
    assert finding.verdict is Verdict.PASS


def test_walls_across_the_way_are_clearance_not_width(rider_scene):
    plate = _plate(rider_scene)
    wall = Body("end", "yard", Box((0.2, 4.0, 4.0)), plate @ poses.translation((3.0, 0.0, 0.0)))
    (finding,) = check(_led(rider_scene({}, [wall]), 2.0))
    assert finding.verdict is Verdict.PASS


def test_who_does_not_travel_needs_no_corridor(rider_scene):
    plate = _plate(rider_scene)
    assert check(_led(rider_scene({}, _walls(plate, 0.3, 0.3, x_m=0.0)), 0.0)) == ()
    turned = check(_led(rider_scene({}, _walls(plate, 0.3, 0.3, x_m=0.0)), 0.2, "free_yaw"))
    assert turned == ()


def _walked(rider_scene, bodies, seconds=40.0, at="platform/spot"):
    """A free worker led straight along x through bodies about the spot; the rider stands."""
    spot = poses.translation((0.0, 9.0, 0.0))
    placed = [replace(body, pose=spot @ body.pose) for body in bodies]
    scene = rider_scene({}, placed, frames={"spot": spot}, worker_at=at)
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    table[0, 1, scene.tree.column("ev2/free_x")] = 4.0 / seconds
    motion = Motion(scene.tree.joints, np.array([0.0, seconds]), table)
    return Record(scene, (Phase(0.0, seconds, scene.tree),), motion, ())


@pytest.mark.parametrize(("left", "right"), [(0.7, 0.7), (0.4, 0.5)])
def test_a_free_worker_needs_the_corridor_too(rider_scene, left, right):
    (finding,) = check(_walked(rider_scene, _walls(poses.identity(), left, right)))
    assert finding.value == pytest.approx(left + right, abs=2e-6)
    assert (finding.subject, finding.verdict) == ("ev2", Verdict.PASS if left + right >= 1.1 else Verdict.FAIL)


def test_a_workers_arms_hold_on_beside_the_way_and_a_riders_do_not(rider_scene):
    """A ball where the left glove passes: nearer to the glove than to the trunk, on one side of the way alone."""
    ball = Body("ball", "yard", Sphere(0.05), poses.translation((2.45, 0.3, 1.3)))
    wall = Body("wall_right", "yard", Box((0.6, 0.2, 3.0)), poses.translation((2.0, -0.6, 1.0)))
    (worker,) = check(_walked(rider_scene, [ball, wall]))
    plate = _plate(rider_scene)
    bodies = [replace(body, pose=plate @ body.pose) for body in (ball, wall)]
    (rider,) = check(_led(rider_scene({}, bodies), 4.0))
    assert worker.value == pytest.approx(0.75, abs=0.01)  # trunk to trunk: ball at 0.25 m, wall at 0.5 m
    assert rider.value == pytest.approx(worker.value, abs=0.3)


def test_the_narrowest_of_several_phases_is_told_once(rider_scene):
    plate = _plate(rider_scene)
    record = _led(rider_scene({}, _walls(plate, 0.45, 0.5)), 4.0)
    (tree,) = {phase.tree for phase in record.phases}
    cut = (Phase(0.0, 12.0, tree), Phase(12.0, 28.0, tree), Phase(28.0, 40.0, tree))
    (whole,), (parts,) = check(record), check(replace(record, phases=cut))
    assert parts.value == pytest.approx(whole.value, abs=1e-6)
    assert 12.0 <= parts.start_s <= 28.0
    inside = replace(record, phases=(Phase(0.0, 40.0, tree.attach("ev1", "platform/stand", np.eye(4))),))
    assert check(inside) != ()
