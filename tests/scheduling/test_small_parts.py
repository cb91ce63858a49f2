"""Small rules of scheduling, each by itself: what holds, what is left, who is on the way last, an ordinary day."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import pytest

from armcarry.record.finding import Verdict
from armcarry.scheduling.day import DayProblem
from armcarry.scheduling.flown import Proof
from armcarry.scheduling.problem import Impossible, Job, Order, Problem, Solved, Supply, Way
from armcarry.scheduling.replan import _margins
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.solve import solve
from armcarry.scheduling.turn import NOTHING_WRONG
from armcarry.scheduling.way_on import WayOn
from armcarry.scheduling.ways import Travel
from armcarry.timeline.drawn import Drawn
from armcarry.timeline.task import Limit
from short_days import flown

DAY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"
GOOD = Proof(Verdict.PASS, Verdict.PASS, "", (), 0, (), (), (), 100.0)


@pytest.mark.parametrize(("changed", "holds"), [
    ({}, True), ({"way_home": Verdict.NOT_ASSESSED}, True), ({"known": 3}, True),
    ({"clearance": Verdict.FAIL}, False), ({"clearance": Verdict.NOT_ASSESSED}, False),
    ({"way_home": Verdict.FAIL}, False), ({"failed": ("too near",)}, False), ({"unsafe": ("left",)}, False),
])  # fmt: skip
def test_a_proof_holds_where_clearances_are_proven_and_nothing_fails_or_is_left_unsafe(changed, holds):
    assert replace(GOOD, **changed).holds is holds
    assert WayOn("on", proof=replace(GOOD, **changed)).holds is holds


@pytest.mark.parametrize(("changed", "holds"), [
    ({"margins_s": {"cut_off": 0.0}}, True), ({"margins_s": {"cut_off": 5.0, "air": -0.1}}, False),
    ({"why_not": "it cannot be"}, False), ({"still": ("seat",)}, False), ({"proof": None}, False),
])  # fmt: skip
def test_a_way_holds_where_every_limit_is_kept_and_nothing_is_asked_of_who_is_unable(changed, holds):
    assert replace(WayOn("on", proof=GOOD), **changed).holds is holds


def test_what_is_left_counts_the_last_step_of_those_a_limit_counts_and_what_was_used_before():
    air = Drawn("air", "ev1", 0.0, 0.5, 1.0, {"hard": 2.0, "before": 1.0})
    limits = (Limit("cut_off", 1000.0), Limit("mine", 300.0, ("ev1",), "out"),
              Limit("air of ev1", 400.0, ("ev1",), drawn=air))  # fmt: skip
    rest = SimpleNamespace(plan=SimpleNamespace(limits=limits), turn=SimpleNamespace(at_s=100.0),
                           so_far=lambda who: [("before", 0.0, 60.0)])  # fmt: skip
    does = {"ev1": [("hard", 100.0, 200.0), ("soft", 220.0, 240.0)], "ev2": [("other", 150.0, 900.0)]}
    left = _margins(rest, does, {"out": 20.0})
    # air: 60 at 1, 40 at rest, 100 at 2, 40 at rest: 60 + 20 + 200 + 20
    assert left == {"cut_off": 100.0, "mine": 300.0 - 220.0, "air of ev1": pytest.approx(100.0)}


def test_the_way_behind_somebodys_last_job_counts_for_the_end_and_decides_which_is_last():
    jobs = tuple(Job(name, (Way(10.0, ("one",)),)) for name in "ab")
    order = Order("one", {("a", "b"): 0.0, ("b", "a"): 0.0}, {"a": 0.0, "b": 0.0}, last_s={"a": 50.0, "b": 5.0})
    solved = solve(Problem(jobs, orders=(order,)))
    assert isinstance(solved, Solved)
    assert (solved.orders["one"], solved.end_s) == (("a", "b"), 25.0)
    other = Job("c", (Way(12.0, ("two",)),))
    far = Order("two", {}, {"c": 0.0}, last_s={"c": 30.0})
    solved = solve(Problem((*jobs, other), orders=(order, far)))
    assert isinstance(solved, Solved)
    assert solved.end_s == 42.0  # the other is on the way longest


@pytest.mark.parametrize(("holds", "can"), [(44.9, False), (45.1, True)])
def test_the_way_behind_the_last_job_and_what_a_job_takes_longer_are_used_up_too(holds, can):
    jobs = (Job("a", (Way(10.0, ("one",)),)), Job("b", (Way(10.0, ("one",)),)))
    order = Order("one", {("a", "b"): 0.0}, {"a": 0.0}, {("a", "b"): 5.0}, last_s={"b": 20.0})
    supply = Supply("one", holds, {"b": 1.0 + 1.0 / 2.0}, 0.75)
    # 45 s at 0.75, of which 15 of b at 1.5: 33.75 + 11.25
    assert isinstance(solve(Problem(jobs, (supply,), orders=(order,))), Solved) is can


def test_from_the_start_of_a_day_that_goes_as_written_all_is_to_come_and_takes_what_it_took():
    plan = flown(DAY).plan
    rest = Rest(plan, Travel(plan.scene))
    assert rest.turn == NOTHING_WRONG and rest.turn.at_s == 0.0
    assert not rest.over and not rest.broken and not rest.still
    assert set(rest.tasks) >= plan.schedule.tasks_done()
    likely = {task.name: task.duration.likely_s for task in plan.tasks}
    said = [name for name in rest.tasks if plan.step(name).kind in ("note", "inspect")]
    assert len(said) >= 4 and all(rest.takes_s(name) == pytest.approx(likely[name]) for name in said)
    assert rest.used_s(Limit("air", 9.0, ("ev1",), drawn=Drawn("air", "ev1", 0.0, 0.5, 1.0))) == 0.0


#: what is changed in the day -> the lines that cannot hold together, by what they say
CONTRADICTIONS = {
    "a step between two": (
        {"name: far_lamp,": "earliest: '1:00',", "name: report,": "latest: '0:50',"},
        {"far_lamp: not before 1:00:00.0", "report: ends by 0:50:00.0", "report comes after far_lamp"}),
    "a window and a link": (
        {"name: near_clamp,": "earliest: '0:40',"},
        {"near_clamp: not before 0:40:00.0", "middle_seal needs relay", "middle_seal comes after near_clamp"}),
    "the cut-off and a window": (
        {"cut_off: \"1:30\"": "cut_off: '0:30'", "start: \"0:00\", end: \"0:12\"": "start: '0:30', end: '0:40'"},
        {"middle_seal needs relay", "cut off: at most 0:30:00.0"}),
}  # fmt: skip


@pytest.mark.parametrize("kind", [
    pytest.param(kind, marks=() if kind == "a step between two" else pytest.mark.long) for kind in CONTRADICTIONS
])  # fmt: skip
def test_what_contradicts_is_told_in_the_smallest_set_with_lines(tmp_path, kind):
    changes, expected = CONTRADICTIONS[kind]
    text = DAY.read_text(encoding="utf-8")
    for old, new in changes.items():
        assert old in text
        text = text.replace(old, f"{old} {new}" if old.startswith("name") else new)
    if "link" in kind:  # the seal is looked at once the clamp is free
        text = text.replace("name: middle_seal,", "name: middle_seal, after: [near_clamp],")
    path = tmp_path / "against.yaml"
    path.write_text(text, encoding="utf-8")
    plan = flown(path).plan
    travel = Travel(plan.scene)
    travel.learn(plan)
    problem = DayProblem(plan, travel, "shortest").problem
    found = solve(problem)
    assert isinstance(found, Impossible) and found.proven
    said = {}
    for one in found.together:
        file, line, words = one.said.split(":", 2)
        said[words.strip()] = int(line)
        assert file == "against.yaml"
    assert set(said) == expected
    lines = text.splitlines()
    for words, line in said.items():
        named = "cut_off" if words.startswith("cut off") else words.partition(" ")[0].rstrip(":")
        assert named in lines[line - 1], (words, line)
    for gone in found.together:  # without any one of them the rest can be
        fewer = tuple(one for one in problem.statements if one is not gone)
        assert isinstance(solve(replace(problem, statements=fewer)), Solved), gone
