"""What goes on between steps: ways that take turns, stays, who does what, and what flown orders teach of them."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import pytest

from armcarry.planning.left_open import settle
from armcarry.record.finding import Finding, Verdict
from armcarry.scene.build import build_scene
from armcarry.scheduling.best import best_day, worked_out
from armcarry.scheduling.day import DayProblem
from armcarry.scheduling.learning import learned_from
from armcarry.scheduling.meeting import NOTHING_LEARNED, Doing, Learned, Meeting
from armcarry.scheduling.problem import Apart, Between, InTurn, Job, Order, Problem, SameWay, Solved, Way
from armcarry.scheduling.solve import solve
from armcarry.scheduling.ways import Travel
from armcarry.scheduling.write import Going, Rearranged

DAY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"


def _two(statements=(), between=()):
    """Return two workers, each with a job of 1 s, a change of 10 s and another job of 1 s."""
    jobs = tuple(Job(name, (Way(1.0, (who,)),)) for who, names in (("one", "ab"), ("two", "cd")) for name in names)
    orders = (Order("one", {("a", "b"): 10.0}, {"a": 0.0}), Order("two", {("c", "d"): 10.0}, {"c": 0.0}))
    return Problem(jobs, statements, orders=orders, between=between)


CHANGES = (Between("one goes", "one", "a", "b", 10.0), Between("two goes", "two", "c", "d", 10.0))


def test_changes_that_take_turns_come_one_after_another_and_nothing_else_waits():
    assert solve(_two()).end_s == pytest.approx(12.0, abs=0.01)
    found = solve(_two((InTurn(("one goes", "two goes"), "the door"),), CHANGES))
    first, then = found.between
    assert found.optimal and [found.end_s, found.bound_s] == pytest.approx([22.0, 22.0], abs=0.05)
    assert then.start_s >= first.end_s and then.end_s - then.start_s == pytest.approx(10.0)
    assert max(found.at("a").end_s, found.at("c").end_s) == pytest.approx(1.0)
    assert "the door" in {one.why for one in found.chain}


def test_what_is_apart_from_a_change_waits_for_it_and_from_a_stay_for_all_of_it():
    ends = {}
    for what in ("change", "stay"):
        one = Between("one goes", "one", "a", "b", 10.0, what)
        found = solve(_two((Apart("one goes", "d"), Apart("a", "c")), (one,)))
        ends[what] = found.at("d")
    # two's last job is done before one sets off, or after it has come, or after all is over
    assert ends["change"].start_s >= 11.0 - 1e-6 and ends["stay"].start_s >= 12.0 - 1e-6


def test_a_stay_without_a_change_begins_with_the_job_before_it():
    jobs = tuple(Job(name, (Way(2.0, (who,)),)) for name, who in (("a", "one"), ("b", "one"), ("x", "two")))
    order = Order("one", {("a", "b"): 0.0}, {"a": 0.0})
    stay = Between("one stays", "one", "a", "b", what="stay")
    found = solve(Problem(jobs, (Apart("one stays", "x"),), orders=(order,), between=(stay,)))
    assert found.at("x").start_s >= 4.0 - 1e-6 or found.at("a").start_s >= 2.0 - 1e-6
    assert found.end_s == pytest.approx(6.0, abs=0.01)


def test_what_one_of_two_may_not_do_then_the_other_may():
    either = Job("x", (Way(4.0, ("one",)), Way(4.0, ("two",))))
    long = Job("long", (Way(4.0, ("three",)),))
    met = Between("x by one", "one", "x", "x", what="job")
    orders = tuple(Order(who, {}, {"x": 0.0}) for who in ("one", "two"))
    found = solve(Problem((either, long), (Apart("x by one", "long"),), (SameWay(("x",)),), orders, between=(met,)))
    assert isinstance(found, Solved) and found.at("x").way == 1 and found.end_s == pytest.approx(4.0, abs=0.01)


@pytest.fixture(scope="module")
def before():
    return worked_out(build_scene(settle(DAY)))


def test_what_met_is_kept_apart_by_links_that_the_script_gets(before):
    free = best_day(DAY, before=before)
    lamp = free.after.schedule.slot("far_lamp")
    beside = next(slot.name for slot in free.after.schedule.of("ev1")
                  if slot.start_s < lamp.end_s - 1.0 and lamp.start_s < slot.end_s - 1.0)  # fmt: skip
    met = Meeting(Doing(step=beside), Doing(step="far_lamp"))
    kept = best_day(DAY, before=before, learned=Learned(meetings=(met,)))
    one, other = (kept.after.schedule.slot(name) for name in (beside, "far_lamp"))
    assert one.end_s <= other.start_s + 1e-6 or other.end_s <= one.start_s + 1e-6
    assert kept.agrees and kept.bound_s >= free.bound_s - 0.5


def test_a_way_that_met_something_is_meant_wherever_it_is_put_in_and_as_a_step_of_the_day(before):
    travel = Travel(before.scene)
    travel.learn(before)

    def named(start, goal):
        met = Meeting(Doing(who="ev2", start=start, goal=goal), Doing(step="look"))
        problem = DayProblem(before, travel, learned=Learned(meetings=(met,))).problem
        apart = {one.one for one in problem.statements_of(Apart) if one.other == "look"}
        return [one for one in problem.between if one.name in apart]

    walk = before.walks["to_far"][0]
    assert {(one.then, one.what) for one in named(walk.start, walk.goal)} == {("to_far", "job")}
    back = named("platform/keel_port_8_from", "platform/keel_port_6_from")
    assert {(one.first, one.then, one.what) for one in back} >= {
        ("far_lamp", "report", "change"), ("far_lamp", "photos", "change"), ("far_lamp", "to_middle", "job")
    }  # fmt: skip
    assert {one.first for one in back} == {"far_lamp"}


def test_who_is_unfit_for_a_step_does_not_take_it_over(before):
    unfit = frozenset((name, "ev1") for name in ("to_near", "near_clamp"))
    free, kept = (best_day(DAY, before=before, learned=learned) for learned in (None, Learned(unfit=unfit)))
    assert free.change.handed and not kept.change.handed
    assert kept.after.schedule.end_s >= free.after.schedule.end_s


def _failure(subject, other, time_s):
    return Finding("clearance", Verdict.FAIL, subject, "too near", other, time_s, time_s)


def _taught(plan, subject, other, time_s, change=None):
    phase = SimpleNamespace(tree=plan.scene.tree, start_s=0.0, end_s=1e9)
    record = SimpleNamespace(plan=plan, scene=plan.scene, phases=[phase])
    return learned_from(record, [_failure(subject, other, time_s)], change or Rearranged(()))


def test_two_that_move_are_not_at_once_what_they_were_at(before):
    slot = before.schedule.slot("near_clamp")
    learned = _taught(before, "arm/boom", "ev2/boot_left", slot.start_s + 1.0)
    assert learned.meetings and not learned.blocked
    assert {met.other for met in learned.meetings} == {Doing(step="near_clamp", who="ev2")}
    assert _taught(before, "platform/rack", "platform/keel", 5.0) == NOTHING_LEARNED


def test_a_way_that_is_not_free_is_not_gone_and_what_was_handed_over_left_to_the_other(before):
    slot, walk = before.schedule.slot("to_near"), before.walks["to_near"][0]
    change = Rearranged((), {"near_clamp": ("ev1", "ev2")}, (Going("ev2", walk.goal, "near_clamp", "to_near"),))
    learned = _taught(before, "ev2/boot_left", "platform/keel", 0.5 * (slot.start_s + slot.end_s), change)
    assert learned.blocked == {("ev2", walk.start, walk.goal)} and not learned.meetings
    clamp = before.schedule.slot("near_clamp")
    learned = _taught(before, "ev2/boot_left", "platform/keel", clamp.start_s + 1.0, change)
    assert learned.unfit == {("near_clamp", "ev2")} and not learned.blocked


def test_what_is_learned_adds_up_and_the_same_is_known_once():
    one, said = Meeting(Doing(step="a"), Doing(step="b"), "x"), Meeting(Doing(step="a"), Doing(step="b"), "y")
    both = Learned(meetings=(one,)).and_also(Learned(meetings=(said,), blocked=frozenset({("ev1", "p", "q")})))
    assert both.meetings == (one,) and both.blocked == {("ev1", "p", "q")}
    assert both.bar((("ev1", "", "a"),)).barred == ((("ev1", "", "a"),),)
