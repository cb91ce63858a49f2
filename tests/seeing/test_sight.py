"""What is proven of a cell of time holds at each of its instants, not at its middle alone."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.seeing.sight import watch

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
