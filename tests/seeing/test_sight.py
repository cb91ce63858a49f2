"""What is proven of a cell of time holds at each of its instants, not at its middle alone."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.motion.curve import Motion
from armcarry.record.record import MoveSpan, Record
from armcarry.seeing.sight import COARSE_S, LONG_S, sightings, watch
from armcarry.timeline.run import Phase

VIEW = {"frame": "eye", "horizontal_view": "30 deg", "vertical_view": "40 deg", "pan": ["-20 deg", "20 deg"],
        "tilt": ["-80 deg", "80 deg"]}  # fmt: skip


@pytest.fixture(params=[False, True], ids=["out of view", "behind a wall"])
def phase(rider_scene, turning_record, request):
    """A camera past which the arm swings its rider: out of its view, or behind a wall."""
    chest = rider_scene({}).tree.pose_of("ev1/chest", rider_scene({}).position)[:3, 3]
    eye = poses.translation(np.add(chest, (0.0, 7.0, 1.0))) @ poses.rotation_about((0, 0, 1), -np.pi / 2)
    wall = [Body("wall", "yard", Box((0.5, 0.2, 3.0)), poses.translation(np.add(chest, (-0.2, 4.0, 0.5))))]
    scene = rider_scene({}, wall if request.param else [], frames={"eye": eye}, platform={"cameras": {"eye": VIEW}})
    record = turning_record(scene, rate_rad_s=0.04, turning_s=40.0)
    return watch(record, record.phases[0])


def test_what_is_seen_throughout_a_cell_is_seen_at_its_every_instant(phase):
    rng = np.random.default_rng(1)
    starts = rng.uniform(0.0, 36.0, 60)
    ends = starts + rng.uniform(0.2, 8.0, 60)
    seen, glimpsed, _ = phase._cells(starts, ends)
    hidden_later = 0
    for row, (start, end) in enumerate(zip(starts, ends, strict=True)):
        times = np.linspace(start, end, 41)
        sees = phase._cells(times, times)[1]  # in cells without length nothing moves
        assert np.all(sees | ~seen[row])
        hidden_later += int(np.sum(glimpsed[row] & ~sees.all(axis=0)))
    assert seen.any() and hidden_later > 0


def test_what_a_wall_stands_before_is_not_glimpsed(phase):
    """A line from the camera to the target that goes through the wall, looked at point by point."""
    names = [body.name for body in phase.bodies]
    times = np.linspace(0.0, 36.0, 73)
    glimpsed = phase._cells(times, times)[1]
    (camera,), behind = phase.cameras, np.zeros((len(times), len(phase.targets)), dtype=bool)
    if "platform/wall" in names:
        wall = phase.bodies[names.index("platform/wall")]
        eye = phase.record.link_path(camera.link, times)[:, :3, 3]
        for t, target in enumerate(phase.targets):
            ends = phase.record.link_path(target.link, times)[:, :3, 3]
            points = eye[:, None] + np.linspace(0.0, 1.0, 500)[:, None] * (ends - eye)[:, None]
            local = points - wall.pose[:3, 3]  # on the platform's root, and not turned
            behind[:, t] = np.all(np.abs(local) < np.array(wall.shape.size_m) / 2 - 0.01, axis=2).any(axis=1)
        assert 0 < behind.sum() < behind.size
    assert not glimpsed[:, 0][behind].any()
    assert glimpsed[:, 0][~behind].any()


def test_what_is_needed_for_one_phase_alone_is_let_go_of_when_it_is_seen_through(phase):
    names = {target.name: k for k, target in enumerate(phase.targets)}
    first = phase.run(names)
    assert not phase.drift._known and not phase.drift._pairs and "ways" not in vars(phase)
    assert all(np.array_equal(one, other) for one, other in zip(first, phase.run(names), strict=True))


# -- cells of time and who is there --------------------------------------------------------------------------


@pytest.fixture
def cut(rider_scene):
    """Build a watch of 100 s: the arm turns from 10 to 30 s, a free worker leans from 40 to 80 s."""
    spot = poses.translation((0.0, 9.0, 0.0))
    scene = rider_scene({}, frames={"eye": spot, "spot": spot}, platform={"cameras": {"eye": VIEW}},
                        worker_at="platform/spot")  # fmt: skip
    breaks = np.array([0.0, 10.0, 30.0, 40.0, 80.0, 100.0])
    table = np.zeros((5, 2, len(scene.position)))
    table[:, 0] = scene.position
    turns, leans = scene.tree.column("arm/j1"), scene.tree.column("ev2/hips")
    table[1, 1, turns], table[3, 1, leans] = 0.01, 0.005
    table[2:, 0, turns] += 0.2
    table[4:, 0, leans] += 0.2
    motion = Motion(scene.tree.joints, breaks, table)
    moves = tuple(MoveSpan("a", k, "", "hold", *span, "rider") for k, span in enumerate(
        ((0.0, 10.0), (10.0, 30.0), (30.0, 40.0), (40.0, 80.0), (80.0, 100.0))))  # fmt: skip
    return watch(Record(scene, (Phase(0.0, 100.0, scene.tree),), motion, moves), Phase(0.0, 100.0, scene.tree))


def test_time_is_cut_finely_where_the_arm_moves_coarsely_where_others_do_and_not_where_nothing_does(cut):
    starts, ends = cut._first_cells()
    assert starts[0] == 0.0 and ends[-1] == 100.0 and np.array_equal(starts[1:], ends[:-1])

    def lengths(a, b):
        return (ends - starts)[(starts >= a) & (ends <= b)].tolist()

    assert lengths(0.0, 10.0) == [10.0] and lengths(30.0, 40.0) == [10.0] and lengths(80.0, 100.0) == [20.0]
    assert lengths(10.0, 30.0) == pytest.approx([COARSE_S] * 5)
    assert lengths(40.0, 80.0) == pytest.approx([20.0, 20.0])  # no longer than LONG_S
    assert 20.0 <= LONG_S < 40.0


def test_a_rider_is_there_only_while_aboard(rider_scene, turning_record):
    eye = poses.translation((0.0, 9.0, 0.0))
    scene = rider_scene({}, frames={"eye": eye}, platform={"cameras": {"eye": VIEW}})
    off = scene.tree.attach("ev1", "platform/eye", poses.translation((5.0, 0.0, 0.0)))
    record = turning_record(scene, rate_rad_s=0.0)
    spans = ((0.0, 25.0, off), (25.0, 25.0, scene.tree), (25.0, 60.0, scene.tree))
    record = replace(record, phases=tuple(Phase(*span) for span in spans))
    found = sightings(record)
    rider, tip = found.targets.index("ev1"), 1 - found.targets.index("ev1")
    middles = (found.edges_s[1:] + found.edges_s[:-1]) / 2
    assert found.there[:, tip].all()
    assert np.array_equal(found.there[:, rider], middles > 25.0)
    assert found.unseen("ev1") == () or found.unseen("ev1")[0][0] >= 25.0
