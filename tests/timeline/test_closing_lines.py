"""Lines that close: a square flown round ends where it began, and what the spare joint did is said."""

from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from armcarry.files.documents.carries import Carry, Line
from armcarry.files.load import load_scenario
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import Clock
from armcarry.timeline.moves import plan_carries
from armcarry.timeline.planned import Way

SCRIPT = (Path(__file__).parent / "short_day.yaml").read_text(encoding="utf-8")
SIDES = (["0.6 m", "0 m", "0 m"], ["0 m", "0.6 m", "0 m"], ["-0.6 m", "0 m", "0 m"], ["0 m", "-0.6 m", "0 m"])


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("square") / "short.yaml"
    path.write_text(SCRIPT)
    return build_scene(load_scenario(path))


def square(scene, **keys):
    """Fly a square with a hold in the middle; return the way and where the arm began and ended."""
    moves = [{"line": {"frame": "world", "by": side, **keys}} for side in SIDES]
    moves.insert(2, {"hold": "5 s"})
    carry = Carry.model_validate({"name": "round", "moves": moves})
    way, shortfall = plan_carries(scene, (carry,), Way(scene.tree, scene.position))
    assert shortfall is None, shortfall.reason
    return way, np.abs(way.position - scene.position).max()


def test_a_square_of_lines_that_close_ends_at_the_joint_positions_where_it_began(scene):
    plain, drifted = square(scene)
    assert drifted > 1e-4  # each line near its own start: the spare joint drifts
    assert [move.path.spare for move in plain.moves if move.path] == ["kept near where the line began"] * 4
    closed, left = square(scene, closes=True)
    assert left < 1e-8
    clock = Clock(scene, scene.tree, scene.position)
    for move in closed.moves:
        clock.add(move)
    assert [span.spare for span in clock.run().moves] == [
        *["kept near where the lines that close began"] * 2, "", *["kept near where the lines that close began"] * 2,
    ]  # fmt: skip


def test_a_line_that_may_turn_about_anything_ends_with_no_rotation():
    with pytest.raises(ValidationError, match=r"that may turn about any axis .free: any. ends with no rotation"):
        Line.model_validate({"frame": "world", "by": SIDES[0], "free": "any", "rotation": ["0 deg", "0 deg", "0 deg"]})
