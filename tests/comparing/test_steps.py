"""Two runs step by step: every kind of change is told, and a step that only begins later has not changed."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.asked.relaxed import Relaxed
from armcarry.comparing.laid import Laid
from armcarry.comparing.nearer import pair_differences
from armcarry.comparing.runs import compare
from armcarry.comparing.steps import step_differences
from armcarry.motion.curve import Motion
from armcarry.record.finding import Cause, Finding, Verdict
from armcarry.views import gl
from armcarry.views.compared import SHOWN, compared
from armcarry.views.compared_page import write_comparison


def held_longer(record, by_s):
    """Return the run with its first hold longer by some seconds and everything behind it later."""
    first = record.moves[0]
    joints, at = record.motion.joints, record.motion.at(0.0)
    motion = Motion.hold(joints, at, 0.0, by_s).then(record.motion)
    moves = (replace(first, end_s=first.end_s + by_s),
             *(replace(m, start_s=m.start_s + by_s, end_s=m.end_s + by_s) for m in record.moves[1:]))
    phases = tuple(replace(p, start_s=p.start_s + by_s * (k > 0), end_s=p.end_s + by_s)
                   for k, p in enumerate(record.phases))
    return replace(record, motion=motion, moves=moves, phases=phases, kept=None)


def test_a_run_has_no_step_that_differs_from_itself(short_run):
    record, findings = short_run
    assert step_differences(record, record, (findings, findings)) == ()


def test_a_step_that_only_begins_later_has_not_changed(short_run):
    record, _ = short_run
    result = compare(record, held_longer(record, 40.0))
    (step,) = result.steps
    assert step.changes == ("longer",) and step.words == ("takes 0:00:42.0, was 0:00:02.0",)
    # laid step beside step nothing is apart, where by the clock alone the arm is elsewhere
    assert result.align == "steps" and result.tip.distance_m < 1e-6
    assert max(joint.deviation for joint in result.joints) < 1e-9
    by_clock = compare(record, held_longer(record, 40.0), align="start")
    assert by_clock.tip.distance_m > 0.05


def test_steps_that_come_in_and_go_are_told(short_run):
    record, _ = short_run
    less = replace(record, moves=tuple(move for move in record.moves if move.name != "up"))
    (gone,) = step_differences(record, less)
    assert gone.changes == ("removed",) and gone.second_s is None and "up" in gone.title
    (came,) = step_differences(less, record)
    assert came.changes == ("added",) and came.first_s is None


def test_another_way_is_told_whatever_the_time_it_takes(short_run):
    record, _ = short_run
    up = next(move for move in record.moves if move.name == "up")
    column = int(record.scene.arm_columns[0])
    table, breaks = record.motion.coefficients.copy(), record.motion.breaks_s
    pieces = (breaks[:-1] >= up.start_s) & (breaks[1:] <= up.end_s)
    assert pieces.any()
    table[pieces, 0, column] += 0.02
    other = replace(record, motion=Motion(record.motion.joints, breaks, table))
    found = {step.name: step for step in step_differences(record, other)}
    assert [name for name, step in found.items() if "other way" in step.changes] == ["short/up"]
    assert found["short/up"].apart_m > 0.05 and "from the first way" in found["short/up"].words[0]


def with_day(record, *slots):
    """Return a record with a plan of slots: name, actors, start, end."""
    made = replace(record)
    steps = [SimpleNamespace(name=n, actors=a, start_s=s, end_s=e) for n, a, s, e in slots]
    made.__dict__["plan"] = SimpleNamespace(
        schedule=SimpleNamespace(slots=steps), step=lambda name: SimpleNamespace(title=f"the {name}"))
    return made


def test_a_step_done_in_another_order_by_its_actor_is_moved(short_run):
    record, _ = short_run
    two, three = ("ev2",), ("ev3",)
    first = with_day(record, ("a", two, 0, 1), ("b", two, 1, 2), ("c", two, 2, 3), ("d", three, 0, 1))
    second = with_day(record, ("b", two, 0, 1), ("c", two, 1, 2), ("a", two, 2, 3), ("d", three, 2, 3))
    (step,) = step_differences(first, second)
    assert (step.name, step.changes, step.words) == ("a", ("moved",), ("now after 'the c'",))


def test_another_allowance_and_a_changed_verdict_are_told_at_their_step(short_run):
    record, _ = short_run
    up = next(move for move in record.moves if move.name == "up")
    grant = Relaxed("ev1/*", "platform/*", 0.2, up.start_s, up.end_s, "because")
    more, less = replace(record, relaxed=(grant,)), replace(record, relaxed=(replace(grant, required_m=0.3),))
    (step,) = step_differences(more, less)
    assert step.changes == ("other allowance",) and step.words == ("ev1/* to platform/*: 0.300 m, was 0.200 m",)
    assert step_differences(more, replace(record, relaxed=(replace(grant, place="rack_a"),)))[0].words[0].endswith(
        "none, was 0.200 m")
    bad = Finding("runaway", Verdict.FAIL, "arm", message="m", remedy="r", cause=Cause("move", "up"))
    (step,) = step_differences(record, record, ((), (bad,)))
    assert step.changes == ("verdict worse",) and step.words == ("runaway: fail, was pass",)
    (step,) = step_differences(record, record, ((bad,), ()))
    assert step.changes == ("verdict better",)


def test_runs_without_a_step_in_common_are_no_two_versions(short_run):
    record, _ = short_run
    other = replace(record, moves=tuple(replace(move, carry="other", kind="hold") for move in record.moves[:1]))
    other = replace(other, moves=(replace(other.moves[0], kind="posture"),))
    assert step_differences(record, other) == ()
    result = compare(record, other)
    assert result.align == "start" and compared(result)[0][0].startswith("The two have no step in common")


def test_a_step_that_does_the_same_under_another_name_is_renamed(short_run):
    record, _ = short_run
    other = replace(record, moves=tuple(replace(move, carry="other") for move in record.moves))
    found = step_differences(record, other)
    assert len(found) == len(record.moves) and {step.changes for step in found} == {("renamed",)}
    assert found[0].words[0].startswith("now called 'other: ")
    assert compare(record, other).align == "steps"


def test_a_clock_laid_at_steps_runs_evenly_between_and_keeps_the_motion():
    laid = Laid.at([(0.0, 0.0), (10.0, 30.0), (20.0, 40.0), (25.0, 40.0), (24.0, 20.0)])
    # five seconds of the first that the second has not are a millisecond of it; what is out of order is left out
    assert laid.to_first([0.0, 15.0, 30.0, 35.0, 45.0]) == pytest.approx([0.0, 5.0, 10.0, 15.0, 29.999])
    assert laid.to_second([20.0, 25.0]) == pytest.approx([40.0, 40.001])
    times = np.linspace(-5.0, 30.0, 71)
    assert laid.to_first(laid.to_second(times)) == pytest.approx(times)
    motion = Motion(("a",), np.array([0.0, 25.0, 40.0]), np.random.default_rng(1).normal(size=(2, 4, 1)) * 1e-3)
    moved = laid.motion(motion)
    inside = np.linspace(moved.start_s + 0.013, moved.end_s - 0.007, 301)  # off the breaks, where it jumps
    assert moved.at(inside) == pytest.approx(motion.at(laid.to_second(inside)), abs=1e-9)


def test_the_worst_new_clearance_comes_first_even_where_one_run_alone_has_the_pair(short_run):
    record, _ = short_run
    row = next(r for r in record.pairs if r.status == "proven" and r.required_m and r.margin_m > 0.05)
    nearer = replace(row, lower_m=row.required_m - 0.02, upper_m=row.required_m - 0.0195)
    new = replace(row, body_a="platform/new", lower_m=0.159, upper_m=0.1595, required_m=1.2)
    calm = replace(row, body_a="platform/calm", lower_m=row.required_m + 1.0, upper_m=row.required_m + 1.0005)
    far = replace(row, body_a="platform/far", status="farther", upper_m=np.inf)
    other = replace(record, pairs=(*(nearer if r is row else r for r in record.pairs), new, calm, far))
    found = pair_differences(record, other)
    names = [({pair.body_a, pair.body_b} - {row.body_b, row.body_a}, pair.only_in) for pair in found]
    assert names == [({"platform/new"}, "second"), (set(), ""), ({"platform/calm"}, "second")]
    assert found[0].newly_fails and found[0].second_margin_m == pytest.approx(0.159 - 1.2)
    back = pair_differences(other, record)
    assert {pair.only_in for pair in back} == {"", "first"} and not any(pair.newly_fails for pair in back)


def test_tables_say_how_many_more_there_are_and_show_all_when_asked(short_run):
    record, _ = short_run
    row = next(r for r in record.pairs if r.status == "proven" and r.required_m)
    many = tuple(replace(row, body_a=f"platform/new_{k:02d}") for k in range(SHOWN + 5))
    result = compare(record, replace(record, pairs=(*record.pairs, *many)))
    title, headings, rows = next(table for table in compared(result) if table[0].startswith("Least clearance"))
    assert len(rows) == SHOWN + 1 and rows[-1][0] == "and 5 more; --all shows every row"
    assert all(len(each) == len(headings) for each in rows) and f"{SHOWN + 5} are measured in one run alone" in title
    every = next(table for table in compared(result, every=True) if table[0] == title)
    assert len(every[2]) == SHOWN + 5


def test_the_page_holds_every_row_and_both_ways(short_run, tmp_path):
    record, _ = short_run
    other = held_longer(record, 40.0)
    written = write_comparison(record, other, compare(record, other), tmp_path / "two")
    html = written[0].read_text(encoding="utf-8")
    assert "takes 0:00:42.0, was 0:00:02.0" in html and "Steps that differ: 1 beside" in html
    if gl.problem() is None:
        assert [path.name for path in written] == ["compare.html", "compare.png"]
        assert 'alt="Both ways of the arm' in html
    else:
        assert "No picture: " in html
