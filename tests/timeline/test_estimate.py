"""Sampled estimates against closed forms, and against the classic figure where paths merge."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.timeline.estimate import path_estimate
from armcarry.timeline.policy import sampled_days
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, Limit, Task


def chain(count, actor="ev1", name="s"):
    return [Task(f"{name}{k}", (actor,), Duration(600.0, 900.0, 1800.0)) for k in range(count)]


def test_one_chain_has_the_classic_mean_and_nearly_its_spread():
    tasks = chain(12)
    classic, _ = path_estimate(tasks)
    sampled = sampled_days(tasks, (), samples=40_000)
    # beta with a=1+4p, b=1+4(1-p): mean exact, variance a b / ((a+b)^2 (a+b+1)) w^2
    a, b = 1 + 4 * 0.25, 5 - 4 * 0.25
    variance = 12 * a * b / ((a + b) ** 2 * (a + b + 1)) * 1200.0**2
    assert sampled.mean_s == pytest.approx(classic.mean_s, abs=4 * np.sqrt(variance / 40_000))
    assert sampled.ends_s.std() == pytest.approx(np.sqrt(variance), rel=0.02)


def test_merging_paths_make_the_classic_figure_hopeful():
    # two equal independent chains: P(both by t) = P(one by t)^2, so 1/2 becomes near 1/4
    tasks = [*chain(10), *chain(10, "ev2", "t")]
    classic, _ = path_estimate(tasks)
    sampled = sampled_days(tasks, (), samples=40_000, seed=2)
    one = sampled_days(chain(10), (), samples=40_000, seed=3)
    assert classic.chance_by(classic.mean_s) == pytest.approx(0.5)
    assert sampled.chance_by(classic.mean_s) == pytest.approx(one.chance_by(classic.mean_s) ** 2, abs=0.015)
    assert sampled.chance_by(classic.mean_s) < 0.3


def test_the_same_seed_gives_the_same_days():
    tasks = chain(5)
    first = sampled_days(tasks, (), samples=100, seed=7)
    assert np.array_equal(first.ends_s, sampled_days(tasks, (), samples=100, seed=7).ends_s)
    assert not np.array_equal(first.ends_s, sampled_days(tasks, (), samples=100, seed=8).ends_s)


def test_every_sampled_day_agrees_with_the_schedule_of_its_durations():
    rng = np.random.default_rng(5)
    tasks = []
    for k in range(20):
        low = float(rng.uniform(0, 600))
        after = tuple(f"s{j}" for j in rng.choice(k, size=min(k, 2), replace=False)) if k else ()
        duration = Duration(low, low + float(rng.uniform(0, 300)), low + 900.0)
        tasks.append(Task(f"s{k}", (f"ev{k % 3}",), duration, after=after, not_before_s=float(rng.uniform(0, 900))))
    ends = []
    for seed in range(20):
        generator = np.random.default_rng(seed)
        exact = []
        for t in tasks:
            d = t.duration
            peak = (d.likely_s - d.least_s) / (d.most_s - d.least_s)
            draw = d.least_s + (d.most_s - d.least_s) * generator.beta(1 + 4 * peak, 5 - 4 * peak, 1)[0]
            exact.append(Task(t.name, t.actors, Duration.exactly(draw), t.after, not_before_s=t.not_before_s))
        ends.append((sampled_days(tasks, (), samples=1, seed=seed).ends_s[0], schedule(exact).end_s))
    sampled, direct = np.array(ends).T
    assert sampled == pytest.approx(direct, abs=1e-9)


def test_steps_left_out_take_no_time():
    tasks = [*chain(3), Task("survey", ("ev1",), Duration(600.0, 900.0, 1800.0), priority=1)]
    planned = schedule(tasks, [Limit("cut_off", 3000.0)])
    assert [d.name for d in planned.dropped] == ["survey"]
    sampled = sampled_days(tasks, [Limit("cut_off", 3000.0)], samples=500)
    assert sampled.ends_s.max() <= 3 * 1800.0 + 1800.0
    assert sampled.ends_s[~sampled.done["survey"]].max() <= 3 * 1800.0


def test_a_day_without_spread_is_certain():
    tasks = [Task("a", ("ev1",), Duration.exactly(60.0))]
    classic, _ = path_estimate(tasks)
    sampled = sampled_days(tasks, (), samples=10)
    for estimate in (classic, sampled):
        assert (estimate.chance_by(59.0), estimate.chance_by(60.0)) == (0.0, 1.0)
        assert estimate.percentile(0.9) == 60.0
