"""The solver: published instances, every order tried, what cannot hold together."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise, permutations

import pytest

from armcarry.scheduling.problem import (
    Apart,
    Impossible,
    Job,
    Limit,
    OneOf,
    Order,
    Problem,
    SameWay,
    Solved,
    Supply,
    Wait,
    Way,
    Windows,
)
from armcarry.scheduling.solve import Effort, solve

# Fisher and Thompson, "Probabilistic learning combinations of local job-shop scheduling rules", in Muth and Thompson
# (eds.), Industrial Scheduling, Prentice-Hall 1963, instance of 6 jobs and 6 machines (known as ft06 or mt06): a row a
# job, (machine, time) pairs in order; shortest makespan 55. Value from memory, as is the table.
FT06 = (
    ((2, 1), (0, 3), (1, 6), (3, 7), (5, 3), (4, 6)),
    ((1, 8), (2, 5), (4, 10), (5, 10), (0, 10), (3, 4)),
    ((2, 5), (3, 4), (5, 8), (0, 9), (1, 1), (4, 7)),
    ((1, 5), (0, 5), (2, 5), (3, 3), (4, 8), (5, 9)),
    ((2, 9), (1, 3), (4, 5), (5, 4), (0, 3), (3, 1)),
    ((1, 3), (3, 3), (5, 9), (0, 10), (4, 4), (2, 1)),
)
# Lawrence, "Resource constrained project scheduling: an experimental investigation of heuristic scheduling techniques
# (supplement)", Carnegie-Mellon University 1984, instance la01 of 10 jobs and 5 machines; shortest makespan 666. Value
# from memory, as is the table.
LA01 = (
    ((1, 21), (0, 53), (4, 95), (3, 55), (2, 34)),
    ((0, 21), (3, 52), (4, 16), (2, 26), (1, 71)),
    ((3, 39), (4, 98), (1, 42), (2, 31), (0, 12)),
    ((1, 77), (0, 55), (4, 79), (2, 66), (3, 77)),
    ((0, 83), (3, 34), (2, 64), (1, 19), (4, 37)),
    ((1, 54), (2, 43), (4, 79), (0, 92), (3, 62)),
    ((3, 69), (4, 77), (1, 87), (2, 87), (0, 93)),
    ((2, 38), (0, 60), (1, 41), (3, 24), (4, 83)),
    ((3, 17), (1, 49), (4, 25), (0, 44), (2, 98)),
    ((4, 77), (3, 79), (2, 43), (1, 75), (0, 96)),
)


def _job_shop(table: tuple[tuple[tuple[int, int], ...], ...]) -> Problem:
    jobs, waits = [], []
    for k, row in enumerate(table):
        for n, (machine, lasts) in enumerate(row):
            jobs.append(Job(f"{k}.{n}", (Way(float(lasts), (f"machine {machine}",)),)))
            if n:
                waits.append(Wait(f"{k}.{n - 1}", f"{k}.{n}"))
    return Problem(tuple(jobs), tuple(waits))


def _holds(problem: Problem, solved: Solved) -> None:
    """Ask that a schedule really keeps durations, waits and resources."""
    at = {one.name: one for one in solved.placed}
    for job in problem.jobs:
        if job.name in at:
            one = at[job.name]
            assert one.end_s - one.start_s == pytest.approx(job.ways[one.way].duration_s, abs=2e-3)
    for wait in problem.statements_of(Wait):
        if wait.first in at and wait.then in at:
            assert at[wait.then].start_s >= at[wait.first].end_s + wait.gap_s - 2e-3
    for resource in problem.resources():
        own = sorted((at[job.name] for job in problem.jobs if job.name in at
                      and resource in job.ways[at[job.name].way].uses), key=lambda one: one.start_s)  # fmt: skip
        for first, then in pairwise(own):
            assert first.end_s <= then.start_s + 2e-3, (resource, first, then)


@pytest.mark.parametrize(("table", "optimum_s"), [(FT06, 55.0), (LA01, 666.0)], ids=["ft06", "la01"])
def test_published_job_shops_end_when_they_are_known_to(table: tuple, optimum_s: float) -> None:
    problem = _job_shop(table)
    solved = solve(problem)
    assert isinstance(solved, Solved)
    assert solved.optimal
    assert solved.end_s == pytest.approx(optimum_s, abs=1e-6)
    assert optimum_s - 0.2 <= solved.bound_s <= optimum_s
    _holds(problem, solved)


def test_the_same_seed_gives_the_same_schedule() -> None:
    first, second = (solve(_job_shop(FT06), effort=Effort(seed=3)) for _ in range(2))
    assert first == second


def test_the_chain_that_binds_leads_from_the_start_to_the_end_without_a_gap() -> None:
    solved = solve(_job_shop(FT06))
    assert isinstance(solved, Solved)
    chain = [solved.at(binding.name) for binding in solved.chain]
    assert chain[0].start_s == 0.0
    assert chain[-1].end_s == solved.end_s
    assert all(a.end_s == pytest.approx(b.start_s) for a, b in pairwise(chain))


#: eight steps of two people whose ways between them take time: name -> (person, minutes, place)
_EIGHT = {
    "a": ("one", 4.0, 0.0), "b": ("one", 7.0, 6.0), "c": ("one", 3.0, 2.0), "d": ("one", 5.0, 9.0),
    "e": ("two", 6.0, 1.0), "f": ("two", 2.0, 8.0), "g": ("two", 8.0, 3.0), "h": ("two", 4.0, 5.0),
}  # fmt: skip
_WAITS = (("a", "f"), ("g", "b"), ("e", "d"), ("c", "h"))


def _eight() -> Problem:
    jobs = tuple(Job(name, (Way(lasts, (who,)),)) for name, (who, lasts, _) in _EIGHT.items())
    orders = []
    for person in ("one", "two"):
        own = {name: place for name, (who, _, place) in _EIGHT.items() if who == person}
        changes = {(a, b): abs(own[a] - own[b]) for a, b in permutations(own, 2)}
        orders.append(Order(person, changes, own))
    return Problem(jobs, tuple(Wait(*pair) for pair in _WAITS), orders=tuple(orders))


def _every_order_s() -> float:
    """Return the earliest end of all orders of both people, each timed step by step."""
    best = float("inf")
    for one in permutations("abcd"):
        for two in permutations("efgh"):
            end = dict[str, float]()
            left = [list(one), list(two)]
            at, free = [0.0, 0.0], [0.0, 0.0]
            while any(left):
                moved = False
                for k, queue in enumerate(left):
                    while queue and all(first in end for first, then in _WAITS if then == queue[0]):
                        name = queue.pop(0)
                        _, lasts, place = _EIGHT[name]
                        ready = max([free[k] + abs(place - at[k]),
                                     *(end[first] for first, then in _WAITS if then == name)])
                        end[name] = free[k] = ready + lasts
                        at[k], moved = place, True
                if not moved:
                    break
            if not any(left):
                best = min(best, max(end.values()))
    return best


def test_eight_steps_end_when_the_best_of_all_orders_does() -> None:
    solved = solve(_eight())
    assert isinstance(solved, Solved)
    assert solved.optimal
    assert solved.end_s == pytest.approx(_every_order_s(), abs=1e-9)


def test_an_order_that_is_barred_is_not_taken_and_costs_no_less() -> None:
    free = solve(_eight())
    assert isinstance(free, Solved)
    taken = free.orders["one"]
    barred = (tuple(("one", a, b) for a, b in pairwise(taken)),)
    other = solve(Problem(_eight().jobs, _eight().statements, orders=_eight().orders, barred=barred))
    assert isinstance(other, Solved)
    assert other.orders["one"] != taken
    assert other.end_s >= free.end_s


def test_who_does_it_is_chosen_and_what_goes_together_stays_with_one() -> None:
    either = (Way(10.0, ("one",)), Way(10.0, ("two",)))
    jobs = (Job("long", (Way(15.0, ("one",)),)), Job("x", either), Job("y", either))
    solved = solve(Problem(jobs, same_ways=(SameWay(("x", "y")),)))
    assert isinstance(solved, Solved)
    assert (solved.at("x").way, solved.at("y").way) == (1, 1)
    assert solved.end_s == 20.0
    apart = solve(Problem(jobs))
    assert isinstance(apart, Solved)
    assert apart.end_s == 20.0


def test_worth_is_gathered_within_the_limit() -> None:
    jobs = (
        Job("must", (Way(10.0, ("one",)),)),
        *(Job(name, (Way(lasts, ("one",)),), True, worth)
          for name, lasts, worth in (("big", 9.0, 5.0), ("mid", 6.0, 3.5), ("small", 4.0, 2.5))),
    )  # fmt: skip
    solved = solve(Problem(jobs, (Limit(("must", "big", "mid", "small"), 20.0),)), "worth")
    assert isinstance(solved, Solved)
    assert solved.left_out == ("big",)  # 3.5 + 2.5 beats 5, and 20 s take no more
    assert (solved.worth, solved.end_s) == (6.0, 20.0)
    assert solved.bound_s <= 10.0  # the shortest leaves all three out


def test_slack_makes_the_least_margin_large() -> None:
    jobs = tuple(Job(name, (Way(10.0, ("one",)),)) for name in ("soon", "later"))
    windows = (Windows("soon", ((0.0, 25.0),)), Windows("later", ((0.0, 50.0),)))
    solved = solve(Problem(jobs, windows), "slack")
    assert isinstance(solved, Solved)
    assert (solved.at("soon").start_s, solved.at("later").start_s) == (0.0, 10.0)


def test_one_of_several_is_done_where_there_is_daylight() -> None:
    jobs = tuple(Job(name, (Way(lasts, ("one",)),), True) for name, lasts in (("quick", 5.0), ("slow", 8.0)))
    windows = Windows("quick", ((20.0, 30.0),))
    solved = solve(Problem(jobs, (windows, OneOf(("quick", "slow")))))
    assert isinstance(solved, Solved)
    assert solved.left_out == ("quick",)
    assert solved.end_s == 8.0


def test_what_is_not_to_be_at_once_is_not() -> None:
    jobs = (Job("hot", (Way(5.0, ("one",)),)), Job("near", (Way(5.0, ("two",)),)))
    solved = solve(Problem(jobs, (Apart("hot", "near"),)))
    assert isinstance(solved, Solved)
    assert solved.end_s == 10.0


def test_a_smallest_set_of_statements_is_told_and_none_of_them_is_idle() -> None:
    jobs = tuple(Job(name, (Way(10.0, (who,)),)) for name, who in (("a", "1"), ("b", "1"), ("c", "2"), ("d", "2")))
    wrong = (Wait("a", "b", said="b after a"), Windows("b", ((0.0, 15.0),), said="b by 15"))
    fine = (Wait("c", "d", said="d after c"), Windows("d", ((0.0, 25.0),), said="d by 25"), Apart("a", "c", said="no"))
    found = solve(Problem(jobs, (*fine, *wrong)))
    assert isinstance(found, Impossible)
    assert found.proven
    assert set(found.together) == set(wrong)
    for one in found.together:
        fewer = tuple(other for other in (*fine, *wrong) if other is not one)
        assert isinstance(solve(Problem(jobs, fewer)), Solved)


@pytest.mark.parametrize(("explain", "told"), [(0, 0), (1, 0), (2, 2)])
def test_what_cannot_hold_together_is_looked_for_as_long_as_may_be_and_never_told_in_part(explain, told) -> None:
    jobs = tuple(Job(name, (Way(10.0, (name,)),)) for name in "ab")
    wrong = (Wait("a", "b", said="b after a"), Windows("b", ((0.0, 15.0),), said="b by 15"))
    found = solve(Problem(jobs, wrong), effort=Effort(explain=explain))
    assert isinstance(found, Impossible) and found.proven and len(found.together) == told


def test_what_people_use_up_shares_the_work_out_and_resting_counts() -> None:
    jobs = tuple(Job(name, (Way(100.0, ("one",)), Way(100.0, ("two",)))) for name in "abc")
    hard = dict.fromkeys("abc", 2.0)

    def tanks(one: float, two: float) -> Problem:
        supplies = (Supply("one", one, hard, 0.5, "one's air"), Supply("two", two, hard, 0.5, "two's air"))
        return Problem(jobs, supplies)

    alone = solve(tanks(600.0, 0.0))  # two can do nothing, one does all
    assert isinstance(alone, Solved)
    assert [placed.way for placed in alone.placed] == [0, 0, 0]
    shared = solve(tanks(200.0, 400.0))
    assert isinstance(shared, Solved)
    assert sorted(placed.way for placed in shared.placed) == [0, 1, 1]
    short = solve(tanks(200.0, 399.0))
    assert isinstance(short, Impossible)
    assert {one.said for one in short.together} == {"one's air", "two's air"}
    waited = Problem(jobs[:1], (Supply("one", 249.9, hard, 0.5), Supply("two", 0.0, hard, 0.5),
                                Windows("a", ((100.0, 300.0),))))  # fmt: skip
    assert isinstance(solve(waited), Impossible)  # 100 s of rest before it take 50
    enough = (Supply("one", 250.1, hard, 0.5), *waited.statements[1:])
    assert isinstance(solve(replace(waited, statements=enough)), Solved)
