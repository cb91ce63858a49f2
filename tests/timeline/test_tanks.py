"""Tanks of suits: what is used by effort, by hand; what is left over a day, and steps left out for it."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.files.documents.day import Day
from armcarry.timeline.drawn import Drawn
from armcarry.timeline.schedule import schedule
from armcarry.timeline.tanks import curves_of, tanks_of
from armcarry.timeline.task import Duration, Limit, Task, tasks_of

HOUR = 3600.0
#: lasts 10 h at rest, 5 h at light effort, 2.5 h at heavy effort
AIR = Drawn("air", "ev1", 0.5 * HOUR, 0.5, 2.0, {"bolt": 2.0, "look": 1.0})


def test_effort_empties_a_tank_at_its_rate_and_between_steps_people_rest():
    times, used = AIR.over([("bolt", 0.0, HOUR), ("look", 2 * HOUR, 3 * HOUR)])
    assert list(times / HOUR) == [0.0, 1.0, 2.0, 3.0]
    assert list(used / HOUR) == pytest.approx([0.0, 2.0, 2.5, 3.5])
    assert AIR.used_s([("bolt", 0.0, HOUR)], 3 * HOUR) == pytest.approx(3 * HOUR)  # two hours of rest behind it


def test_of_two_steps_at_once_the_harder_counts_and_one_of_no_length_counts_for_nothing():
    assert AIR.used_s([("look", 0.0, 2 * HOUR), ("bolt", HOUR, 2 * HOUR)]) == pytest.approx(3 * HOUR)
    assert AIR.used_s([("look", 0.0, HOUR), ("bolt", HOUR, HOUR)]) == pytest.approx(HOUR)


def test_the_way_home_is_taken_off_at_every_instant():
    limit = Limit("air of ev1", 4.5 * HOUR, ("ev1",), drawn=AIR)
    planned = schedule([Task("bolt", ("ev1",), Duration.exactly(HOUR))], [limit])
    (curve,) = curves_of([limit], planned)
    left = curve.left_with(np.array([0.0, 0.5, 1.0]) * HOUR, np.array([0.0, 0.25, 1.0]) * HOUR)
    assert list(left / HOUR) == pytest.approx([4.5, 3.0, 0.5])
    assert planned.limits[0].margin_s == pytest.approx(2.5 * HOUR)


def test_what_time_permits_is_left_out_where_a_tank_does_not_last():
    tasks = [Task("bolt", ("ev1",), Duration.exactly(2 * HOUR)),
             Task("look", ("ev1",), Duration.exactly(HOUR), priority=1)]  # fmt: skip
    enough, short = (schedule(tasks, [Limit("air of ev1", hours * HOUR, ("ev1",), drawn=AIR)]) for hours in (5.0, 4.9))
    assert enough.tasks_done() == {"bolt", "look"}
    assert short.tasks_done() == {"bolt"} and short.limits[0].margin_s == pytest.approx(0.9 * HOUR)


def test_a_suit_gives_each_wearer_a_tank_as_full_as_is_said(rider_scene):
    day = {"steps": [{"name": "hard", "actors": ["ev1"], "note": "x", "takes": "1 h", "effort": "heavy"},
                     {"name": "go", "actors": ["ev1"], "inspect": "x", "takes": "1 h"}]}
    tank = {"rest": "10 h", "light": "5 h", "heavy": "2.5 h", "keep": "30 min"}
    rules = {"suits": {"plain": {"tanks": {"air": tank}}}, "effort": {"inspect": "rest"}}
    crew = {"ev1": {"posture": "upright", "at": "arm", "size": "plain", "suit": "plain", "filled": {"air": "90 %"}}}
    loaded = rider_scene({}, script={"day": day, "crew": crew}, rules=rules).loaded
    (limit,) = tanks_of(loaded, loaded.scenario.day)
    assert (limit.name, limit.actors, limit.lasts_s) == ("air of ev1", ("ev1",), pytest.approx(4.0 * HOUR))
    assert limit.drawn is not None
    assert [limit.drawn.rate(name) for name in ("hard", "go", "between")] == pytest.approx([2.0, 0.5, 0.5])
    (use,) = schedule(tasks_of(Day.model_validate(day), {}), [limit]).limits
    assert use.margin_s == pytest.approx(1.5 * HOUR)  # 4 h, two of them gone in the hard hour, half a one at rest
