"""Via points, pins, branches, and what stands where: each act does what it says, what cannot be is refused."""

import numpy as np
import pytest

from armcarry.errors import InputError

OUT = (0, 6)


def test_a_joint_is_held_while_a_move_is_made_and_let_go(session):
    held = session.joints(session.end_s((0, 5)))["shoulder_swing"]
    session.pin(OUT, "shoulder_swing", held)
    flown = session.flown(OUT)[0]
    column = session.answer.record.scene.tree.column("arm/shoulder_swing")
    positions = session.answer.record.motion.at(np.linspace(flown.start_s, flown.end_s, 9))[:, column]
    assert positions == pytest.approx(held, abs=1e-4)
    assert list(session.move(OUT)["pin"]) == ["shoulder_swing"]
    session.without_pin(OUT, "shoulder_swing")
    assert "pin" not in session.move(OUT)
    with pytest.raises(InputError, match="no such joint of the arm; found 'knee'"):
        session.pin(OUT, "knee")


def test_a_move_to_joints_rounds_via_points_and_may_end_on_another_branch(session):
    with pytest.raises(InputError, match="'out' has no via points; found 'line'; accepted: a move to joint positions"):
        session.via(OUT, {"wrist_turn": 0.3})
    with pytest.raises(InputError, match="'out' stays on its branch; found 'line'"):
        session.take_branch(OUT, session.branches(OUT)[0])
    end = session.joints(session.end_s(OUT))
    session.set_joints(OUT, end)
    session.via(OUT, {"wrist_turn": end["wrist_turn"] + 0.4})
    session.via(OUT, {"wrist_turn": end["wrist_turn"] + 0.2})
    session.via(OUT, {"wrist_turn": end["wrist_turn"] + 0.5}, number=0)
    flown, column = session.flown(OUT)[0], session.answer.record.scene.tree.column("arm/wrist_turn")
    _, high = session.answer.record.motion.between(flown.start_s, flown.end_s).extremes()
    assert high[column] == pytest.approx(end["wrist_turn"] + 0.5, abs=0.15), "it rounds the point"
    session.without_via(OUT, 0)
    assert len(session.move(OUT)["via"]) == 1
    session.without_via(OUT, 0)
    assert "via" not in session.move(OUT)
    with pytest.raises(InputError, match="no such via point; found '3'; accepted: 0 to 0"):
        session.via(OUT, {"wrist_turn": 0.3}, number=3)
    with pytest.raises(InputError, match="no such joint of the arm; found 'knee'"):
        session.via(OUT, {"knee": 0.3})
    pose, branches = session.tool_pose(session.end_s(OUT)), session.branches(OUT)
    assert [one.left_m for one in branches] == sorted((one.left_m for one in branches), reverse=True)
    session.take_branch(OUT, branches[0])
    assert session.tool_pose(session.end_s(OUT)) == pytest.approx(pose, abs=1e-3)
    now = session.joints(session.end_s(OUT))
    assert max(abs(now[name] - end[name]) for name in now) > np.radians(20.0)


def test_what_stands_where_is_told_as_the_script_says(session):
    stands = session.stands
    assert stands["station"] == pytest.approx(session.answer.record.scene.loaded.scenario.base.station)
    assert stands["appendages"]["radiator_port"] == "stowed"
    session.setting("pitch", np.radians(75.0))
    assert session.stands["settings"]["pitch"] == pytest.approx(np.radians(75.0))
