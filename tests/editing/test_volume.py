"""Where a waypoint may be: what is said of each position is what a session finds that brings the waypoint there."""

import numpy as np
import pytest

from armcarry.editing.volume import NO_REACH, PASSES, TOO_NEAR
from armcarry.errors import InputError

OUT, CLOSE = (0, 6), (0, 1)


def test_what_is_said_of_a_position_is_what_bringing_it_there_gives(session):
    seen = []
    found = session.free_volume(CLOSE, 0.3, 0.3, tell=seen.append)
    assert [len(one.verdicts) for one in seen] == [1, 2, 3, 4, 5, 6, 7]
    assert found.frame == "platform/rack_a_stand"
    assert found.points_m[0] == pytest.approx(session.waypoint(CLOSE)[:3, 3])
    assert {PASSES, TOO_NEAR} <= set(found.verdicts)
    assert session.script.done == 0, "nothing is changed by looking"
    for k in (found.best, found.verdicts.index(TOO_NEAR)):
        answer = session.place(CLOSE, found.points_m[k])
        behind = [move.margin_m for move in answer.moves if move.written in (CLOSE, (0, 2))]
        assert min(behind) == pytest.approx(found.margin_m[k], abs=1.5e-3)
        session.undo()
    assert found.margin_m[found.best] == max(found.margin_m[found.passes])
    assert "best at" in str(found) and "by clearance not" in str(found)


def test_what_is_out_of_reach_is_no_part_of_it(session):
    found = session.free_volume(OUT, 30.0, 30.0)
    assert found.verdicts.count(NO_REACH) >= 5
    assert np.all(np.isneginf(found.margin_m[[verdict == NO_REACH for verdict in found.verdicts]]))


def test_joints_that_come_too_near_their_ends_are_no_part_of_it(session):
    rules = session.answer.record.scene.loaded.rules
    object.__setattr__(rules.margins, "joint_position", 3.0)
    try:
        (verdict,) = session.free_volume(OUT, 0.0).verdicts
    finally:
        object.__setattr__(rules.margins, "joint_position", 0.0872665)
    assert verdict == "joint margin"


@pytest.mark.parametrize(("at", "ball", "words"), [
    ((0, 5), (0.3, 0.1), "'clear_of_rack' leads nowhere"),
    (OUT, (0.3, 0.0), "not a volume to look in; found 'radius 0.3 m, step 0 m'"),
    (OUT, (3.0, 0.1), "too many positions to try; found 'radius 3 m, step 0.1 m'"),
])  # fmt: skip
def test_what_is_no_volume_is_refused(session, at, ball, words):
    with pytest.raises(InputError, match=words):
        session.free_volume(at, *ball)
