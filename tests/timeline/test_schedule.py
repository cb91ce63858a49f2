"""Earliest and latest times, slack, dropping, slips; a brute-force oracle on random networks."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from armcarry.errors import FrameError, InputError
from armcarry.timeline.schedule import compare, schedule
from armcarry.timeline.task import Duration, Limit, Task


def task(name, minutes, actors=("ev1",), **more):
    return Task(name, tuple(actors), Duration.exactly(60.0 * minutes), **more)


def minutes(result):
    return {slot.name: (slot.start_s / 60, slot.end_s / 60) for slot in result.slots}


def test_an_actor_does_one_thing_at_a_time_in_listed_order():
    result = schedule([task("a", 10), task("b", 5), task("c", 7, ["ev2"])])
    assert minutes(result) == {"a": (0, 10), "b": (10, 15), "c": (0, 7)}
    assert result.slot("c").total_slack_s == pytest.approx(8 * 60)
    assert result.critical_path == ("a", "b")


def test_links_overrule_the_listed_order():
    result = schedule([task("a", 10, after=("b",)), task("b", 5)])
    assert minutes(result) == {"a": (5, 15), "b": (0, 5)}


def test_links_through_other_steps_overrule_the_listed_order_too():
    tasks = [task("a", 10, after=("x",)), task("b", 5), task("x", 1, ["ev2"], after=("b",))]
    assert minutes(schedule(tasks)) == {"b": (0, 5), "x": (5, 6), "a": (6, 16)}


def test_together_begins_at_the_same_instant():
    tasks = [task("a", 4), task("b", 10), task("c", 3, ["ev2"], starts_with=("b",))]
    result = schedule(tasks)
    assert minutes(result) == {"a": (0, 4), "b": (4, 14), "c": (4, 7)}
    assert result.slot("c").latest_start_s == 240.0  # c cannot begin later without b
    assert result.slot("c").total_slack_s == 7 * 60  # but it may take longer


def test_swapping_places_holds_up_both_actors_until_both_are_done():
    tasks = [
        task("out", 6), task("work_1", 5),
        task("in", 9, ["ev2"], swaps_with="out"), task("work_2", 5, ["ev2"]),
    ]
    assert minutes(schedule(tasks)) == {"out": (0, 6), "in": (0, 9), "work_1": (9, 14), "work_2": (9, 14)}


def test_a_step_does_not_begin_before_its_clock_time():
    result = schedule([task("a", 4), task("wait", 0, not_before_s=1200.0), task("b", 1)])
    assert minutes(result)["b"] == (20, 21)
    assert result.critical_path == ("wait", "b")
    assert result.slot("a").total_slack_s == 16 * 60
    assert not result.slot("a").critical


def test_a_circle_is_reported_with_the_steps_in_it():
    tasks = [
        task("p", 1), task("a", 1, ["ev2"], after=("b",)), task("b", 1, ["ev3"], after=("c",)),
        task("c", 1, ["ev4"], after=("a",)),
    ]
    with pytest.raises(InputError, match="in a circle") as caught:
        schedule(tasks)
    text = str(caught.value)
    assert all(f"'{name}'" in text for name in "abc")
    assert "'p'" not in text


def test_a_circle_through_an_actor_names_the_actor():
    tasks = [
        task("a1", 1, ["ev1"]), task("b1", 1, ["ev1"], starts_with=("b2",)),
        task("b2", 1, ["ev2"]), task("a2", 1, ["ev2"], starts_with=("a1",)),
    ]
    with pytest.raises(InputError, match=r"ev[12] does it next"):
        schedule(tasks)


def test_a_step_that_begins_with_what_it_waits_for_is_a_circle():
    with pytest.raises(InputError, match="'a' comes before 'a' with 'b'"):
        schedule([task("a", 1), task("b", 1, ["ev2"], after=("a",), starts_with=("a",))])


def test_fallbacks_in_a_circle_are_refused():
    with pytest.raises(InputError, match="fallbacks go round in a circle: "):
        schedule([task("a", 1, fallback="b"), task("b", 1, fallback="a")])


def test_unknown_names_are_refused_with_the_nearest():
    with pytest.raises(FrameError, match="no step named 'bolt_dwn'; did you mean 'bolt_down'"):
        schedule([task("bolt_down", 1)], slip={"bolt_dwn": 60.0})
    with pytest.raises(FrameError, match="no step named 'x'"):
        schedule([task("a", 1)], failed=["x"])
    with pytest.raises(FrameError, match="no step named 'x'"):
        schedule([task("a", 1, after=("x",))])
    with pytest.raises(FrameError, match="no step in the schedule named 'b'"):
        schedule([task("a", 1)]).slot("b")
    with pytest.raises(InputError, match="step 'a' cannot take less than no time; found '-60 s'"):
        schedule([task("a", 1)], slip={"a": -120.0})


CUT_OFF = (Limit("cut_off", 3600.0),)


def test_the_least_important_step_is_left_out_first():
    tasks = [task("must", 40), task("nice", 15, priority=1), task("survey", 10, priority=2), task("home", 5)]
    result = schedule(tasks, CUT_OFF)
    assert [dropped.name for dropped in result.dropped] == ["survey"]
    assert "cut_off is exceeded by 0:10:00.0" in result.dropped[0].why
    assert result.limits[0].margin_s == pytest.approx(0.0)


def test_a_step_left_out_in_vain_is_taken_back():
    # ev2's survey does not help ev1 to be home in time
    tasks = [task("must", 50), task("nice", 15, priority=1), task("survey", 10, ["ev2"], priority=2)]
    assert [dropped.name for dropped in schedule(tasks, CUT_OFF).dropped] == ["nice"]


def test_limits_that_cannot_be_met_are_shown_not_hidden():
    result = schedule([task("must", 70), task("nice", 5, priority=1), task("by", 1, ["ev2"], priority=1)], CUT_OFF)
    assert [dropped.name for dropped in result.dropped] == ["nice"]
    assert result.limits[0].margin_s == pytest.approx(-600.0)
    assert result.limits[0].last_step == "must"


def test_what_follows_a_step_left_out_still_follows_what_was_before_it():
    tasks = [
        task("a", 50), task("b", 20, ["ev2"], after=("a",), priority=1), task("c", 5, ["ev3"], after=("b",)),
    ]
    result = schedule(tasks, CUT_OFF)
    assert minutes(result) == {"a": (0, 50), "c": (50, 55)}


def test_the_fallback_is_done_instead_and_followers_wait_for_it():
    tasks = [
        task("a", 30), task("snaps", 25, priority=1, fallback="lace"), task("lace", 10),
        task("photo", 5, ["ev2"], after=("snaps",)), task("home", 10),
    ]
    assert [d.fallback for d in schedule(tasks, CUT_OFF).dropped] == ["lace"]
    assert minutes(schedule(tasks, CUT_OFF)) == {"a": (0, 30), "lace": (30, 40), "photo": (40, 45), "home": (40, 50)}
    assert "lace" not in schedule(tasks).tasks_done()


def test_a_step_that_fails_costs_its_time_and_then_its_fallback():
    tasks = [task("snaps", 10, fallback="lace"), task("lace", 20), task("photo", 5, ["ev2"], after=("snaps",))]
    result = schedule(tasks, failed=["snaps"])
    assert minutes(result) == {"snaps": (0, 10), "lace": (10, 30), "photo": (30, 35)}
    assert result.dropped == ()


def test_a_latest_start_decides_before_any_limit():
    tasks = [task("a", 30), task("look", 5, priority=1, start_by_s=1200.0), task("b", 5)]
    result = schedule(tasks)
    assert [(d.name, d.why) for d in result.dropped] == [("look", "look cannot begin in time")]


def test_steps_that_belong_together_are_left_out_together():
    tasks = [task("fetch", 20), task("fit", 20, priority=1, drops_with=("fetch",)), task("home", 25)]
    assert [d.name for d in schedule(tasks, CUT_OFF).dropped] == ["fetch", "fit"]


def test_a_consumable_counts_from_its_step_to_the_last_of_its_actors():
    tasks = [task("suit_up", 20), task("out", 5), task("work", 30), task("watch", 500, ["arm"])]
    result = schedule(tasks, [Limit("oxygen", 3600.0, ("ev1",), "out")])
    assert result.limits[0].end_s == pytest.approx(35 * 60)
    assert result.limits[0].last_step == "work"


def test_a_slip_tells_what_moves_and_what_is_left_out():
    tasks = [task("a", 20), task("b", 10, ["ev2"]), task("survey", 30, priority=1), task("home", 10)]
    before = schedule(tasks, CUT_OFF)
    after = schedule(tasks, CUT_OFF, slip={"a": 600.0})
    report = compare(before, after)
    assert [d.name for d in report.newly_dropped] == ["survey"]
    assert report.moved_s == {"home": pytest.approx(-1200.0)}
    assert report.end_change_s == pytest.approx(-1200.0)
    assert compare(after, before).newly_done == ("survey",)


def test_a_slip_within_total_slack_moves_no_end_and_one_beyond_it_does():
    tasks = [task("a", 20), task("b", 10, ["ev2"]), task("c", 5, after=("b",))]
    base = schedule(tasks)
    slack = base.slot("b").total_slack_s
    assert schedule(tasks, slip={"b": slack}).end_s == pytest.approx(base.end_s)
    assert schedule(tasks, slip={"b": slack + 60.0}).end_s == pytest.approx(base.end_s + 60.0)


def random_day(rng, steps=14, actors=3):
    tasks = []
    for k in range(steps):
        who = tuple(f"ev{a}" for a in sorted(rng.choice(actors, size=rng.integers(1, 3), replace=False)))
        after = tuple(f"s{j}" for j in rng.choice(k, size=min(k, rng.integers(0, 3)), replace=False)) if k else ()
        tasks.append(Task(f"s{k}", who, Duration.exactly(float(rng.integers(0, 20))), after=after))
    return tasks


def brute_start(tasks):
    """Earliest starts by raising them until nothing is broken (no network, no ordering)."""
    start = {t.name: 0.0 for t in tasks}
    by = {t.name: t for t in tasks}
    for _ in range(len(tasks) + 1):
        for k, t in enumerate(tasks):
            earlier = [o for o in tasks[:k] if set(o.actors) & set(t.actors)] + [by[n] for n in t.after]
            start[t.name] = max([start[o.name] + o.duration.likely_s for o in earlier], default=0.0)
    return start


def test_random_days_against_relaxation_and_slack_by_trial(repeats=60):
    rng = np.random.default_rng(4)
    for _ in range(repeats):
        tasks = random_day(rng)
        result = schedule(tasks)
        expected = brute_start(tasks)
        assert {slot.name: slot.start_s for slot in result.slots} == expected
        for slot in result.slots[::4]:
            same = schedule(tasks, slip={slot.name: slot.total_slack_s})
            later = schedule(tasks, slip={slot.name: slot.total_slack_s + 1.0})
            assert same.end_s == result.end_s
            assert later.end_s == result.end_s + 1.0
            free = schedule(tasks, slip={slot.name: slot.free_slack_s})
            assert all(free.slot(o.name).start_s == o.start_s for o in result.slots)
        path = [result.slot(name) for name in result.critical_path]
        assert path[0].start_s == 0.0
        assert all(a.end_s == b.start_s for a, b in pairwise(path))
        assert path[-1].end_s == result.end_s


def test_what_is_left_out_could_not_be_taken_back(repeats=40):
    rng = np.random.default_rng(11)
    dropped = 0
    for _ in range(repeats):
        tasks = [
            Task(t.name, t.actors, t.duration, t.after, priority=int(rng.integers(0, 3))) for t in random_day(rng)
        ]
        limit = (Limit("cut_off", 0.7 * schedule(tasks).end_s),)
        result = schedule(tasks, limit)
        over = max(-result.limits[0].margin_s, 0.0)
        out = {d.name for d in result.dropped}
        dropped += len(out)
        for name in out:
            kept = [
                Task(t.name, t.actors, t.duration, t.after, priority=0)
                for t in tasks
                if t.name not in out or t.name == name
            ]
            # what is left out passes its links on
            links = {t.name: t.after for t in tasks}
            def through(names, keep=frozenset(t.name for t in kept), links=links):
                found = []
                for n in names:
                    found += [n] if n in keep else through(links[n])
                return tuple(found)
            kept = [Task(t.name, t.actors, t.duration, through(t.after)) for t in kept]
            assert max(schedule(kept, limit).end_s - limit[0].lasts_s, 0.0) > over
    assert dropped > 20


def test_the_same_day_gives_the_same_schedule():
    tasks = random_day(np.random.default_rng(3), steps=60, actors=4)
    assert schedule(tasks) == schedule(tasks)
