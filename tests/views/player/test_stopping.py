import numpy as np
import pytest

from armcarry.views import gl
from armcarry.views.daylight import Level
from armcarry.views.player.stopping import stop
from armcarry.views.stage import Stage
from armcarry.whatif.faults import Side
from armcarry.whatif.late_stop import stopped


def test_it_stands_where_the_reaction_and_the_brakes_bring_it(small_run):
    record, _ = small_run
    reaction, columns = record.scene.loaded.arm.document.reaction_time, record.scene.arm_columns
    moved = 0
    for time_s in np.linspace(record.motion.start_s, record.motion.end_s, 40):
        phase = record.phase_at(time_s)
        begun = min(time_s + reaction, phase.end_s)
        position = np.array(record.motion.at(begun, side="left"))
        rate = np.array(record.motion.at(begun, order=1, side="left"))[columns]
        brakes = Side.of(record, phase).brakes
        step_s = 1e-4  # small steps: each joint loses brakes * step of its rate until it stands
        while rate.any():
            slower = np.sign(rate) * np.maximum(np.abs(rate) - brakes * step_s, 0.0)
            position[columns] += (rate + slower) / 2 * step_s
            rate = slower
        assert np.allclose(stopped(record, time_s), position, atol=2e-5)
        moved += not np.allclose(position, record.motion.at(time_s), atol=1e-4)
    assert 3 < moved < 40


@pytest.mark.skipif(gl.problem() is not None, reason="no OpenGL here")
def test_the_ghost_is_there_while_something_would_run_on(small_run):
    record, _ = small_run
    rests = ("hold", "attach", "detach")
    moving = next(move for move in record.moves if move.kind not in rests and move.end_s > move.start_s)
    hold = next(move for move in record.moves if move.kind == "hold" and move.end_s - move.start_s > 10)
    with Stage(record, (64, 36), Level.PLAIN) as stage:
        layer = stop(record, stage.scene)
        layer.follow((moving.start_s + moving.end_s) / 2)
        assert any(actor.GetVisibility() for actor in layer.solid)
        tip = [group.link for group in stage.scene.groups if group.moves].index(record.leaders[record.scene.arm_tip])
        where = layer.solid[tip].GetUserMatrix()
        tree = record.phase_at(moving.start_s).tree
        rest = stopped(record, (moving.start_s + moving.end_s) / 2)
        wanted = tree.pose_of(record.leaders[record.scene.arm_tip], rest)
        assert np.allclose([[where.GetElement(i, j) for j in range(4)] for i in range(4)], wanted, atol=1e-9)
        layer.follow((hold.start_s + hold.end_s) / 2)
        assert not any(actor.GetVisibility() for actor in layer.solid)
