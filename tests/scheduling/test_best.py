"""The best order of a day: as proven, as written into the file, as worked out again, and what cannot be."""

from __future__ import annotations

import json
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError, InputErrors
from armcarry.planning.left_open import settle
from armcarry.scene.build import build_scene
from armcarry.scheduling.best import best_day, worked_out

GOAL = ("--for", "shortest", "--seed", "1", "--work", "40")
DAY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"


@pytest.fixture(scope="module")
def before():
    return worked_out(build_scene(settle(DAY)))


@pytest.fixture(scope="module")
def best(before):
    return best_day(DAY, before=before)


def changed(folder, *changes):
    text = DAY.read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    path = folder / "day.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_best_order_is_what_was_solved_for_and_nothing_ends_earlier(best):
    ends_s = best.after.schedule.end_s
    assert best.agrees and best.solved.optimal
    assert ends_s == pytest.approx(best.solved.end_s, abs=0.5)
    assert best.bound_s <= ends_s <= best.bound_s + 0.5
    assert ends_s < best.before.schedule.end_s - 600.0


def test_nothing_is_broken_that_was_whole_and_everything_is_still_done(best):
    assert best.after.ledger.violations == best.before.ledger.violations
    assert best.after.conflicts == ()
    assert best.before.schedule.tasks_done() <= best.after.schedule.tasks_done()


def test_who_takes_something_over_does_all_of_its_block(best):
    assert best.change.handed == {"to_near": ("ev2", "ev1"), "near_clamp": ("ev2", "ev1")}
    assert {best.after.step(name).actors[0] for name in best.change.handed} == {"ev1"}


def test_what_needs_a_window_is_done_within_one(best):
    slot = best.after.schedule.slot("middle_seal")
    assert slot.end_s <= 720.0 or (slot.start_s >= 1800.0 and slot.end_s <= 3300.0)


def test_every_line_of_the_file_is_kept_and_moves_with_its_step(best):
    old, new = DAY.read_text(encoding="utf-8").splitlines(), best.text.splitlines()
    put_in = [line for line in new if line not in old]
    assert len(put_in) == len(best.change.handed) + len(best.change.goings)
    assert set(old) - set(new) == {line for line in old if "name: to_near," in line or "name: near_clamp," in line}
    at = new.index("    # the seal is looked at while it can be talked over")
    assert "name: middle_seal" in new[at + 1]


def test_the_same_file_and_seed_give_the_same_order(best, before):
    assert best_day(DAY, before=before).text == best.text


def test_the_best_order_cannot_be_made_better(best, tmp_path):
    path = tmp_path / "again.yaml"
    path.write_text(best.text, encoding="utf-8")
    again = best_day(path)
    assert again.after.schedule.end_s == pytest.approx(best.after.schedule.end_s, abs=0.5)


def test_for_worth_what_does_not_fit_is_left_out_by_name(tmp_path, before):
    path = changed(tmp_path, ('cut_off: "1:30"', 'cut_off: "0:30"'), ("worth: 2}", "worth: 2, start_by: \"0:00:30\"}"))
    found = best_day(path, "worth")
    assert found.change.left_out == ("photos",)
    assert "  left_out: [photos]\n  steps:" in found.text
    assert "photos" not in found.after.schedule.tasks_done()


def test_what_cannot_hold_together_is_told_with_its_lines_and_no_more(tmp_path):
    late, soon = 'name: far_lamp, earliest: "0:40",', 'name: report, latest: "0:44",'
    path = changed(tmp_path, ("name: far_lamp,", late), ("name: report,", soon))
    with pytest.raises(InputErrors) as caught:
        best_day(path)
    lines = path.read_text(encoding="utf-8").splitlines()
    told = [(problem.line, problem.problem) for problem in caught.value.problems]
    assert told[0] == (None, "these cannot hold together, each is needed for that")
    assert all(lines[line - 1].count("{name: ") == 1 for line, _ in told[1:])
    assert {words for _, words in told[1:]} == {
        "report comes after far_lamp", "far_lamp: not before 0:40:00.0", "report: ends by 0:44:00.0",
    }  # fmt: skip


def test_what_cannot_hold_whatever_else_is_given_up_is_told_alone(tmp_path):
    path = changed(tmp_path, ("name: near_clamp,", 'name: near_clamp, latest: "0:05",'))
    with pytest.raises(InputErrors) as caught:
        best_day(path)
    told = [problem.problem for problem in caught.value.problems]
    assert told == ["this cannot hold, whatever else is given up", "near_clamp: ends by 0:05:00.0"]


def test_a_rider_without_a_worksite_and_two_who_do_it_cannot_be_replaced(tmp_path):
    path = changed(tmp_path, ("{steps: [report], may_move: true}", "{steps: [get_off], either: [ev1, ev2]}"))
    with pytest.raises(InputError) as caught:
        best_day(path)
    assert "step 'get_off' cannot go to somebody else" in str(caught.value)
    assert "found 'done by ev1, riding'" in str(caught.value)
    assert "accepted: under either: steps of one crewmember, on foot or at a worksite" in str(caught.value)


def test_a_scenario_without_a_day_is_refused():
    with pytest.raises(InputError, match="the scenario has no day"):
        best_day(DAY.parent / "pump_box_to_bay_7.yaml")


def test_actors_that_are_not_on_a_line_cannot_be_changed(tmp_path):
    old = '- {name: near_clamp, title: "free the clamp", actors: [ev2],'
    path = changed(tmp_path, (old, '- {name: near_clamp, title: "free the clamp", actors:\n        [ev2],'))
    with pytest.raises(InputError) as caught:
        best_day(path)
    assert "step 'near_clamp' goes to ev1, but who does it is not written on a line" in str(caught.value)
    assert f"{path}:" in str(caught.value) and "accepted: actors: [ev2]" in str(caught.value)


def test_without_the_solver_the_command_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setitem(sys.modules, "ortools.sat.python", None)
    done = CliRunner().invoke(app, ["schedule", str(DAY), "--out", str(tmp_path / "new.yaml")])
    assert "type: pip install 'armcarry[plan]'" in str(done.exception)
    assert list(tmp_path.iterdir()) == []


def test_the_command_writes_the_order_and_what_was_found(tmp_path):
    out = tmp_path / "new.yaml"
    done = CliRunner().invoke(app, ["schedule", str(DAY), "--out", str(out), *GOAL, "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads((tmp_path / "new.schedule.json").read_text())
    printed = json.loads(done.stdout)
    assert printed.pop("written") == [str(out), str(tmp_path / "new.schedule.json")]
    assert printed == told
    assert told["optimal"] and told["agrees"] and told["against"] == []
    assert told["bound_s"] <= told["after_s"] < told["before_s"]
    assert told["binds"][0]["why"] == "the start"
