"""A session of changes: answers, refusals, steps back and forward, the journal, saving."""

import json
from dataclasses import replace

import numpy as np
import pytest

from armcarry.editing import Session
from armcarry.editing.session import JOURNAL
from armcarry.errors import InputError, RecordError

OUT, HOLD = (0, 6), (0, 5)


def test_a_change_is_answered_and_only_what_changed_is_planned(script):
    session = Session(script)
    first = session.answer
    assert first.planned == len(first.moves) == 7
    assert not first.failing
    assert first.tightest[0].change_m is None
    moved = session.shift(OUT, (0.0, 0.05, 0.0))
    assert session.script.data["carries"][0]["moves"][6]["line"]["to"] == ["-2.1 m", "-0.65 m", "0.3 m"]
    assert (moved.planned, moved.proven) == (1, 1)
    assert moved.change_s != 0.0
    assert [move.margin_m for move in moved.moves[:6]] == [move.margin_m for move in first.moves[:6]]
    again = session.undo()
    assert (again.planned, again.proven) == (0, 0)
    assert again.duration_s == first.duration_s
    assert [one.row for one in again.tightest] == [one.row for one in first.tightest]
    assert session.redo().duration_s == moved.duration_s
    assert session.redo().duration_s == moved.duration_s, "nothing is left to do again"


def test_what_changed_is_answered_first_and_the_moves_behind_it_follow(script):
    whole, session = Session(script), Session(script, at_once=1)
    assert (session.answer.left, session.answer.duration_s) == (0, whole.answer.duration_s)
    changed, part = whole.shift((0, 1), (0.0, 0.02, 0.0)), session.shift((0, 1), (0.0, 0.02, 0.0))
    assert part.planned == 1
    assert part.left == len(session.moves) - len(part.moves) > 0
    assert (part.passes, part.change_s) == (None, None)
    assert part.duration_s < changed.duration_s
    times = np.linspace(0.0, part.moves[1].end_s, 50)
    assert part.record.motion.at(times) == pytest.approx(changed.record.motion.at(times), abs=1e-9)
    assert part.moves[1].margin_m == pytest.approx(changed.moves[1].margin_m, abs=1e-3)
    done = session.wait()
    assert (done.left, done.number, done.title) == (0, part.number, part.title)
    assert done.planned == changed.planned
    assert done.duration_s == changed.duration_s
    assert done.change_s == changed.change_s
    assert session.go_on() is done, "nothing is left"


def test_what_is_remembered_is_no_work_and_is_answered_at_once(script):
    session = Session(script, at_once=1)
    before = session.answer
    session.shift((0, 1), (0.0, 0.02, 0.0))
    session.wait()
    back = session.shift((0, 1), (0.0, -0.02, 0.0))
    assert (back.left, back.planned, back.duration_s) == (0, 0, before.duration_s)
    slow = session.option((0, 1), "rate", 0.5)
    assert (slow.left, slow.planned) == (0, 0), "how fast it is made does not change the way of a move"
    assert slow.duration_s > before.duration_s + 1.0
    assert session.option((0, 1), "name", "nearer").moves[1].title == "nearer"
    session.option((0, 1), "rate", None)
    session.shift(OUT, (0.0, 0.0, 40.0))
    short = session.wait()
    assert [one.check for one in short.failing] == ["reach"]
    still = session.option((0, 1), "rate", 0.5)
    assert (still.left, still.planned) == (0, 0), "that a move cannot be made is remembered too"
    assert [one.message for one in still.failing] == [one.message for one in short.failing]


def test_what_is_granted_through_a_move_to_come_is_granted_as_far_as_the_answer_goes(script):
    session = Session(script, at_once=1)
    granted = {"bodies": ["arm/*", "platform/rack_a_*"], "required": "5 cm", "through": "out", "why": "a trial"}
    session.option((0, 0), "relax", [granted])
    session.wait()
    session.shift((0, 1), (0.0, 0.02, 0.0))
    answer = session.answer
    assert answer.left
    (item,) = [one for one in answer.record.relaxed if one.why == "a trial"]
    assert item.end_s == answer.duration_s > answer.moves[0].end_s
    assert replace(answer, later={"clearance": ()}, open=()).passes is None, "moves to come may fail"
    assert replace(answer, later={"clearance": ()}, open=(), left=0, failing=()).passes
    session.wait()
    (item,) = [one for one in session.answer.record.relaxed if one.why == "a trial"]
    assert item.end_s == session.end_s(OUT)


def test_a_change_that_cannot_be_further_on_is_taken_back_when_that_is_found(script, monkeypatch):
    session = Session(script, at_once=1)
    session.shift((0, 1), (0.0, 0.02, 0.0))
    assert session.answer.left
    of = session._rehearsal.of
    monkeypatch.setattr(session._rehearsal, "of", lambda data, at_once: refused() if at_once > 1 else of(data, at_once))
    with pytest.raises(InputError, match="no such hold"):
        session.go_on()
    assert session.script.done == 0
    assert session.answer.left == 0


def refused():
    raise InputError("no such hold")


def test_what_cannot_be_is_refused_with_its_line_and_nothing_changes(script, tmp_path):
    session = Session(script, journal=tmp_path / "kept")
    session.option(OUT, "rate", 0.5)
    session.undo()
    line = next(k for k, text in enumerate(script.read_text().splitlines(), 1) if "name: out," in text)
    with pytest.raises(InputError, match=rf"short.yaml:{line}: .*rate.*7"):
        session.option(OUT, "rate", 7.0)
    assert session.script.done == 0
    assert session.redo().title == "again: out: rate 0.5", "what was undone before is still there"
    with pytest.raises(InputError, match="'clear_of_rack' leads nowhere; found 'hold'; accepted: line, to_pose"):
        session.shift(HOLD, (1.0, 0.0, 0.0))
    with pytest.raises(InputError, match="no such move; found 'carry 0, move 99'"):
        session.remove((0, 99))
    with pytest.raises(InputError, match=r"no such key in the script; found 'base.place.at'; accepted: a key"):
        session.set("base.place.at", "1 m")
    with pytest.raises(InputError, match="no such joint of the arm; found 'knee'; accepted: shoulder_turn"):
        session.set_joints(OUT, {"knee": 0.1})
    with pytest.raises(InputError, match="'clear_of_rack' cannot be cut in two"):
        session.split(HOLD)
    session.close()
    assert len((tmp_path / "kept" / JOURNAL).read_text().splitlines()) == 4


def test_every_act_does_what_it_says(session):
    end = session.tool_pose(session.end_s(OUT))
    session.split(OUT)
    assert session.title((0, 7)) == "out"
    assert session.answer.moves[6].written == OUT
    assert session.answer.moves[7].written == (0, 7)
    assert session.tool_pose(session.end_s((0, 7))) == pytest.approx(end, abs=1e-4)
    session.remove(OUT)
    joints = session.joints(session.end_s(OUT))
    session.set_joints(OUT, {"wrist_turn": joints["wrist_turn"] - 0.2})
    assert session.kind(OUT) == "to_joints"
    assert session.joints(session.end_s(OUT))["wrist_turn"] == pytest.approx(joints["wrist_turn"] - 0.2, abs=1e-4)
    pose = session.tool_pose(session.end_s(OUT))
    session.straighten(OUT)
    assert session.kind(OUT) == "line"
    assert session.tool_pose(session.end_s(OUT)) == pytest.approx(pose, abs=1e-3)
    session.snap(OUT, 0.25)
    assert session.waypoint(OUT)[:3, 3] == pytest.approx([-2.0, -0.75, 0.25], abs=1e-6)
    assert abs(session.waypoint(OUT)[:3, :3]).round(6).sum() == 3.0, "turned to the axes of the worksite"
    before = session.waypoint(OUT)
    session.turn(OUT, (0.0, 0.0, 0.1))
    assert session.waypoint(OUT)[:3, 3] == pytest.approx(before[:3, 3], abs=1e-6)
    session.add((0, 7), {"hold": "12 s", "name": "rest"})
    assert session.answer.moves[-1].title == "rest"
    assert session.answer.moves[-1].end_s - session.answer.moves[-1].start_s == pytest.approx(12.0)
    session.appendage("radiator_port", "deployed")
    assert session.script.data["appendages"]["radiator_port"] == "deployed"
    session.station(11.1)
    assert session.answer.record.scene.loaded.scenario.base.station == pytest.approx(11.1)
    session.setting("pitch", 0.0)
    assert session.script.data["restraint"]["settings"]["pitch"] == "0 deg"
    while session.script.done:
        session.undo()
    assert session.tool_pose(session.end_s(OUT)) == pytest.approx(end, abs=1e-9)


def test_comments_and_order_are_kept_and_the_difference_is_what_was_changed(script):
    session = Session(script)
    session.option(OUT, "rate", 0.5)
    lines = [line for line in session.difference().splitlines() if line[:1] in "+-" and line[:3] not in ("+++", "---")]
    assert len(lines) == 2
    assert lines[1] == lines[0].replace("-", "+", 1)[:-1] + ", rate: 0.5}"
    assert session.changed
    session.save()
    assert not session.changed
    assert session.difference() == ""
    assert "# yaml-language-server" in script.read_text().splitlines()[0]
    assert Session(script).answer.duration_s == session.answer.duration_s


def test_what_others_changed_meanwhile_is_noticed_and_not_written_over(script):
    session = Session(script)
    session.option(OUT, "rate", 0.5)
    hidden = "# \u202ereads the other way\n"
    script.write_text(script.read_text().replace("Pump box from", "Pump case from") + hidden, encoding="utf-8")
    assert session.changed_by_others
    with pytest.raises(InputError, match=r"short.yaml: the file was changed by others since it was read"):
        session.save()
    assert "Pump case" in session.difference()
    assert "-# \\u202ereads" in session.difference()
    other = session.save(script.with_name("mine.yaml"))
    with pytest.raises(InputError, match=r"mine.yaml: there is such a file"):
        session.save(other)
    session.save(over=True)
    assert "Pump case" not in script.read_text()
    assert not session.changed_by_others


def test_a_killed_session_is_done_again_from_its_journal(script, tmp_path):
    kept = tmp_path / "kept"
    session = Session(script, journal=kept)
    session.option(OUT, "rate", 0.5)
    session.shift(OUT, (0.0, 0.05, 0.0))
    session.undo()
    session._journal.close()  # as the end of a process does
    path = kept / JOURNAL
    with path.open("a") as file:
        file.write('{"change":{"title":"cut o')  # the kill hit a write
    again = Session(script, journal=kept)
    assert again.resumed == 1
    assert again.script.data == session.script.data
    assert again.redo().title == "again: out: to -2.1 m, -0.65 m, 0.3 m"
    again.save()
    again.close()
    assert not path.exists(), "all is in the file"


def test_a_journal_of_another_state_or_a_damaged_one_is_refused(script, tmp_path):
    kept = tmp_path / "kept"
    session = Session(script, journal=kept)
    session.option(OUT, "rate", 0.5)
    session.close()
    text = (kept / JOURNAL).read_text()
    script.write_text(script.read_text() + "# more\n")
    with pytest.raises(InputError, match=r"session.jsonl: the journal belongs to another state of the script"):
        Session(script, journal=kept)
    script.write_text(json.loads(text.splitlines()[0])["text"])
    for broken, words in (
        ("nonsense\n", "1: a damaged line; found 'nonsense'"), ("{}\n", "1: not an editing session"),
        (text + '{"change": {"title": 3}}\n', "3: not a change of a script"),
        (text + '{"change": {"title": "x", "ops": [["set", ["no", "such"], 1]]}}\n', "3: no such key in the script"),
    ):
        (kept / JOURNAL).write_text(broken)
        with pytest.raises(InputError, match=words):
            Session(script, journal=kept)
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match=r"session.jsonl cannot be written"):
        Session(script, journal=tmp_path / "file")
