"""The chance of a day in which it is decided on the way what there is time for, by hand and against plain walks."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from armcarry.timeline.drawn import Drawn
from armcarry.timeline.policy import costs, days_of, sampled_days
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, Limit, Task

CUT_OFF = (Limit("cut_off", 100.0),)


def _task(name, likely_s, spread_s=0.0, who="ev1", **more):
    return Task(name, (who,), Duration(likely_s - spread_s, likely_s, likely_s + spread_s), **more)


def _every(*choices):
    """Return (steps, N) times: every choice of each step with every one of the others, all alike likely."""
    return np.array(list(product(*choices)), dtype=float).T


def test_a_step_is_begun_where_the_likely_rest_fits_and_hindsight_is_not_used():
    """By hand: ``extra`` is begun where ``first`` took 40 or 50, as 50 + 20 + 30 is 100; that is 2 of 3 days.

    Of the days in which it is begun those end in time whose ``last`` makes up for it: after 40 all but 20 + 45 of
    30 or 45 more (40 + 20 + 30 = 90, + 45 = 105), after 50 those of 30 (100) and not of 45 (115). After 60 it is not
    begun: 60 + 30 = 90 is in time, 60 + 45 = 105 is not. Nobody knows 45 before it is over.
    """
    tasks = [_task("first", 50.0, 10.0), _task("extra", 20.0, priority=1), _task("last", 30.0, 15.0)]
    days = days_of(tasks, CUT_OFF, _every([40.0, 50.0, 60.0], [20.0], [30.0, 45.0]))
    assert days.done["extra"].tolist() == [True, True, True, True, False, False]
    assert days.in_time.tolist() == [True, False, True, False, True, False]
    assert (days.chance, days.chance_of("extra"), days.chance_of("last")) == (0.5, pytest.approx(4 / 6), 0.5)
    assert days.ends_s.tolist() == [90.0, 105.0, 100.0, 115.0, 90.0, 105.0]


def test_what_is_under_way_elsewhere_counts_with_its_likely_time_or_as_long_as_it_has_lasted():
    tasks = [_task("slow", 60.0, 30.0, "ev2"), _task("first", 40.0, 30.0), _task("extra", 20.0, priority=1),
             _task("home", 10.0, after=("slow",))]  # fmt: skip
    limit = (Limit("cut_off", 95.0),)
    days = days_of(tasks, limit, _every([30.0, 90.0], [10.0, 70.0], [20.0], [10.0]))
    # at 70 slow has either ended at 30, or has lasted 70: home by 100 either way, with extra or without it by 80
    assert days.done["extra"].tolist() == [True, False, True, False]
    assert days.ends_s.tolist() == [40.0, 80.0, 100.0, 100.0]
    assert days.in_time.tolist() == [True, True, False, False]


def test_of_two_the_one_that_is_left_out_first_does_not_keep_the_other_out():
    tasks = [_task("nice", 20.0, priority=2), _task("good", 20.0, priority=1), _task("last", 70.0)]
    days = days_of(tasks, CUT_OFF, _every([20.0], [20.0], [70.0]))
    assert (days.chance_of("nice"), days.chance_of("good"), days.chance) == (0.0, 1.0, 1.0)
    late = [_task("good", 20.0, priority=1, start_by_s=5.0), _task("nice", 10.0, priority=2, start_by_s=5.0)]
    days = days_of(late, CUT_OFF, _every([20.0], [10.0]))
    assert (days.chance_of("good"), days.chance_of("nice")) == (1.0, 0.0)


def test_a_fallback_stands_in_on_the_days_that_leave_the_step_out():
    tasks = [_task("first", 50.0, 10.0), _task("snaps", 40.0, priority=1, fallback="lace"), _task("lace", 10.0)]
    days = days_of(tasks, CUT_OFF, _every([50.0, 70.0], [40.0], [10.0]))
    assert (days.done["snaps"].tolist(), days.done["lace"].tolist()) == ([True, False], [False, True])
    assert days.ends_s.tolist() == [90.0, 80.0]


def test_how_long_a_fallback_will_take_is_not_known_either():
    tasks = [_task("first", 50.0), _task("snaps", 55.0, priority=1, fallback="lace"), _task("lace", 20.0, 10.0)]
    days = days_of(tasks, CUT_OFF, _every([50.0], [55.0], [10.0, 80.0]))
    assert days.done["snaps"].tolist() == [False, False]  # 5 late against 70 in time, as far as anybody knows
    assert days.in_time.tolist() == [True, False]


def test_tanks_and_limits_from_a_step_are_limits_too():
    air = Limit("air of ev1", 100.0, ("ev1",), drawn=Drawn("air", "ev1", 0.0, 0.5, 1.0, {"hard": 2.0}))
    tasks = [_task("wait", 20.0, 20.0), _task("hard", 40.0), _task("extra", 20.0, priority=1)]
    days = days_of(tasks, (air,), _every([10.0, 40.0], [40.0], [20.0]))
    assert days.done["extra"].tolist() == [True, False]  # 5 + 80 + 10 used, and 20 + 80 with nothing left for it
    assert days.in_time.tolist() == [True, True]
    since = (Limit("out", 60.0, ("ev1",), "hard"),)
    assert days_of(tasks, since, _every([40.0], [40.0], [20.0])).chance == 1.0


def test_with_nothing_to_decide_days_are_those_of_the_schedule():
    rng = np.random.default_rng(3)
    tasks = [Task(f"s{k}", (f"ev{k % 3}",), Duration(*sorted(rng.uniform(10.0, 90.0, 3))),
                  after=(f"s{k - 2}",) if k > 2 and k % 2 else ()) for k in range(9)]  # fmt: skip
    lengths = np.array([rng.uniform(task.duration.least_s, task.duration.most_s, 20) for task in tasks])
    days = days_of(tasks, (), lengths)
    ends_s = []
    for column in lengths.T:
        exact = [replace(task, duration=Duration.exactly(took)) for task, took in zip(tasks, column, strict=True)]
        ends_s.append(schedule(exact).end_s)
    assert days.ends_s == pytest.approx(ends_s)


def test_the_least_certain_step_costs_most_and_one_without_spread_nothing():
    tasks = [_task("sure", 30.0), _task("rough", 40.0, 25.0), _task("fair", 20.0, 10.0)]
    limits = (Limit("cut_off", 95.0),)
    found = costs(tasks, limits)
    assert list(found) == ["rough", "fair"] and found["rough"] > 2 * found["fair"] > 0.0
    before = sampled_days(tasks, limits, samples=4_000)
    sure = [tasks[0], _task("rough", 40.0), tasks[2]]
    assert before.chance + found["rough"] == pytest.approx(sampled_days(sure, limits, samples=4_000).chance, abs=0.02)
    assert np.array_equal(before.ends_s, sampled_days(tasks, limits, samples=4_000).ends_s)
