"""Moves that cannot be made are told, each; else all of them are said to be possible."""

from dataclasses import replace

import pytest

from armcarry.checks import reach
from armcarry.record.finding import Verdict
from armcarry.timeline.run import Shortfall


@pytest.fixture
def judged(rider_scene, moving_record):
    return lambda *shortfalls: reach.check(moving_record(rider_scene({}), {}, shortfalls=shortfalls))


def test_all_moves_can_be_made(judged):
    (found,) = judged()
    assert (found.verdict, found.message) == (Verdict.PASS, "all 1 moves can be made")
    assert (found.subject, found.start_s, found.end_s) == ("arm", 0.0, 10.0)


def test_what_the_spare_joint_did_is_said_where_it_is_not_the_plain_way(rider_scene, moving_record):
    record = moving_record(rider_scene({}), {})
    (move,) = record.moves
    closing = "kept near where the lines that close began"
    ways = ("arm/j2 held", "kept near where the line began", "arm/j2 held", "", closing)
    moves = tuple(replace(move, name=f"side_{k}", spare=way) for k, way in enumerate(ways))
    (found,) = reach.check(replace(record, moves=moves))
    assert found.message == (
        "all 5 moves can be made; spare joint j2 held in side_0, side_2; kept near where the lines that close began in "
        "side_4"
    )


def test_each_move_that_cannot_be_made_fails(judged):
    first, second = judged(
        Shortfall("round", 2, "to the far post", "platform/post", 0.4, 0.2, "0.4 m too far", "move the base", 8.0),
        Shortfall("round", 3, "back", "platform/rack", 0.0, 0.3, "turned too far", "turn it", 9.0),
    )
    assert first.verdict is second.verdict is Verdict.FAIL
    assert first.message == "to the far post cannot be made: 0.4 m too far"
    assert (first.subject, first.other, first.start_s, first.end_s) == ("to the far post", "platform/post", 8.0, 8.0)
    assert (first.value, first.limit, first.unit, first.remedy) == (0.4, 0.0, "m", "move the base")
    assert second.message == "back cannot be made: turned too far"
