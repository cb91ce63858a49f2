"""How long the schedule of a day of 500 steps takes, beside CP-SAT on the same network; how short days become."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np
import pytest

from armcarry.scheduling.proven import best_proven
from armcarry.timeline.network import build
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, Limit, Task
from shared_day import shared_out

MAY_VARY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"


def long_day(steps=500, actors=4, optional=12):
    rng = np.random.default_rng(500)
    tasks = []
    for k in range(steps):
        recent = range(max(0, k - 30), k)
        after = tuple(f"s{j}" for j in rng.choice(recent, size=min(len(recent), 2), replace=False)) if k else ()
        low = float(rng.uniform(60, 600))
        priority = 1 + k % 3 if k % (steps // optional) == 5 else 0
        tasks.append(
            Task(f"s{k}", (f"ev{k % actors}",), Duration(low, 1.2 * low, 2.0 * low), after, priority=priority)
        )
    return tasks


def best(function, repeats=5):
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        result = function()
        times.append(time.perf_counter() - start)
    return min(times), result


@pytest.mark.bench
def test_schedule_of_500_steps_beside_cp_sat(capsys):
    cp_model = pytest.importorskip("ortools.sat.python.cp_model")
    tasks = long_day()
    network = build(tasks)

    def peer():
        # the earliest end on a network that is given, to the second; no actors, slack, limits or dropping
        model = cp_model.CpModel()
        lasts = [round(task.duration.likely_s) for task in tasks]
        starts = [model.new_int_var(0, sum(lasts), "") for _ in tasks]
        end = model.new_int_var(0, sum(lasts), "")
        for node, start in enumerate(starts):
            model.add(end >= start + lasts[node])
            for edge in network.edges_into[node]:
                model.add(start >= starts[edge.of] + lasts[edge.by])
        model.minimize(end)
        solver = cp_model.CpSolver()
        solver.parameters.num_workers = 1
        assert solver.solve(model) == cp_model.OPTIMAL
        return solver.objective_value

    plain_s, plain = best(lambda: schedule(tasks))
    full_s, full = best(lambda: schedule(tasks, [Limit("cut_off", 0.97 * plain.end_s)]))
    peer_s, peer_end = best(peer, 3)
    assert peer_end == pytest.approx(plain.end_s, abs=0.5 * len(tasks))  # it counts whole seconds
    with capsys.disabled():
        print(f"\n500 steps, 4 actors: schedule with slack {plain_s * 1e3:.1f} ms; with dropping "
              f"({len(full.dropped)} of 12 left out) {full_s * 1e3:.1f} ms; CP-SAT, earliest end alone "
              f"{peer_s * 1e3:.1f} ms; ratio {peer_s / plain_s:.2f} and {peer_s / full_s:.2f}")
    assert full_s < 0.5  # run by hand with -m bench, never in the normal suite


@pytest.mark.bench
def test_days_beside_the_bound_that_is_proven_for_them_and_as_they_are_written(tmp_path, capsys):
    pytest.importorskip("ortools")
    shared = tmp_path / "day.yaml"
    shared_out(shared)
    for name, path in (("day_that_may_vary", MAY_VARY), ("day_at_tern_yard, hand work shared out", shared)):
        start_s = time.process_time()
        found = best_proven(path)
        took_s, best = time.process_time() - start_s, found.best
        written_s, ends_s = best.before.schedule.end_s, best.after.schedule.end_s
        with capsys.disabled():
            print(f"\n{name}: as written {written_s / 60:.2f} min, best that passes every check {ends_s / 60:.2f} min "
                  f"(ratio {ends_s / written_s:.4f}), no order ends before {best.bound_s / 60:.2f} min (gap "
                  f"{100 * (ends_s / best.bound_s - 1):.2f} %); {found.refused} orders refused, {took_s:.0f} s")
        assert found.against == () and best.bound_s <= ends_s + 0.5 and ends_s <= written_s + 0.5
