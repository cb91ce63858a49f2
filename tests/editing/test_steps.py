"""The day changed: steps dragged along the clock and to the other worker; conflicts and clearances follow."""

import numpy as np
import pytest

from armcarry.editing import Session
from armcarry.errors import InputError
from fresh import same_as_fresh
from short_days import HOUR


@pytest.fixture(scope="module")
def _opened(tmp_path_factory):
    path = tmp_path_factory.mktemp("day") / "hour.yaml"
    path.write_text(HOUR, encoding="utf-8")
    return Session(path)


@pytest.fixture
def day(_opened):
    yield _opened
    while _opened.script.done:
        _opened.undo()


def names(session):
    return [step.get("name") for step in session.script.data["day"]["steps"]]


def minutes(session, name):
    step = session.step(name)
    return step.start_s / 60.0, step.end_s / 60.0


def test_a_step_is_dragged_along_the_clock_and_back(day):
    assert minutes(day, "count") == pytest.approx((0, 8))
    answer = day.drag("look", 20 * 60.0)
    assert minutes(day, "look") == pytest.approx((20, 25)), "nothing is passed, so it is held until then"
    assert day.script.data["day"]["steps"][5]["earliest"] == "0:20"
    assert minutes(day, "note_down") == pytest.approx((25, 26))
    assert answer.title == "look from 0:20:00"
    day.drag("look", 200.0)
    assert names(day) == ["open", "to_rack_b", "fetch", None, "look", "count", "note_down"], "it passes"
    assert minutes(day, "look") == pytest.approx((0, 5))
    assert "earliest" not in day.script.data["day"]["steps"][4]
    with pytest.raises(InputError, match="'look' begins as early as what it waits for allows; found '0:00:00'"):
        day.drag("look", 0.0)
    day.drag("look", 60 * 30.0)
    assert names(day)[4:] == ["count", "look", "note_down"], "what waits for it by a link is not passed"
    day.begin("note_down", 1500.0)
    assert minutes(day, "note_down")[0] == pytest.approx(25)
    day.begin("note_down", None)
    assert minutes(day, "note_down")[0] == pytest.approx(13)
    day.order("note_down", "count")
    assert names(day)[4:] == ["note_down", "count", "look"]
    day.order("note_down", None)
    assert names(day)[-1] == "note_down"


def test_a_step_is_given_to_the_other_worker_and_conflicts_follow(day):
    assert not [one for one in day.answer.failing if one.check == "schedule"]
    answer = day.give("count", "ev2")
    step = day.script.data["day"]["steps"][4]
    assert (step["actors"], "takes_by" in step) == (["ev2"], False), "what ev1 takes by practice says nothing of ev2"
    assert minutes(day, "count") == pytest.approx((27, 37))
    assert answer.duration_s == pytest.approx(37 * 60)
    late = day.drag("count", 32 * 60.0)
    (found,) = [one for one in late.failing if one.check == "schedule" and one.other == "cut_off"]
    assert "0:02:00" in found.message
    day.drag("count", 0.0, "ev1", "ev2")
    assert (day.step("count").actors, names(day)[4]) == (("ev1",), "count")
    with pytest.raises(InputError, match="'count' cannot be given to 'arm'; found 'done by ev1'; accepted: one of ev2"):
        day.give("count", "arm")
    with pytest.raises(InputError, match="no such step on the clock; found 'nap'; accepted: open, to_rack_b"):
        day.begin("nap", 0.0)


def test_what_was_proven_of_the_day_is_not_proven_again_and_the_answer_is_that_of_a_fresh_rehearsal(day, tmp_path):
    first = day.answer
    assert (first.left, first.steps[1].actors) == (0, ("ev2",))
    day.at_once = 1
    try:
        part = day.drag("to_rack_b", 4 * 60.0)
        assert (part.proven, part.left > 0) == (1, True)
        assert part.passes is None
        assert part.record.duration_s == part.duration_s == pytest.approx(31 * 60)
        assert np.isnan(part.way.margin_m[:-1]).any(), "what is not proven has no margin"
        assert len(part.steps) == len(first.steps), "all of the day is on the clock at once"
        whole = day.wait()
        assert whole.left == 0
        assert not np.isnan(whole.way.margin_m[:-1]).any()
        assert whole.change_s == part.change_s == pytest.approx(4 * 60)
        same_as_fresh(day, tmp_path / "fresh.yaml")
        back = day.undo()
        assert (back.proven, back.left, back.duration_s) == (0, 0, first.duration_s)
    finally:
        day.at_once = None


def test_a_day_by_intent_is_written_out_before_its_steps_are_moved(tmp_path):
    path = tmp_path / "hour.yaml"
    go = "    - {go: {who: ev2, to: rack_b}}\n"
    count = "    - {name: count, actors: [ev1], inspect: tools, takes: 10 min}\n"
    path.write_text(HOUR.split("    - {name: to_rack_b")[0] + go + count, encoding="utf-8")
    session = Session(path)
    (going,) = [one for one in session.answer.steps if one.number is None]
    assert session.step("count").number == 2
    with pytest.raises(InputError, match="followed from one by intent, so it is not moved by itself; accepted: a day"):
        session.begin(going.name, 60.0)
    before = session.answer.duration_s
    assert session.spell_out().duration_s == pytest.approx(before, abs=1e-6)
    assert session.spell_out().title == session.answer.title, "there is nothing more to write out"
    session.begin(going.name, 120.0)
    assert session.step(going.name).start_s == pytest.approx(120.0)
