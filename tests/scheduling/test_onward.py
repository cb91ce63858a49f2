"""The rest of a day as a script, and what is counted of it, asked piece by piece."""

from __future__ import annotations

from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.scheduling import flown as flown_module
from armcarry.scheduling.onward import Onward
from armcarry.scheduling.problem import Limit as Bounded
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.turn import Turn
from armcarry.scheduling.ways import Travel
from armcarry.scheduling.write import Rearranged
from armcarry.timeline.task import Limit
from short_days import flown, short_day

DAY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"


@pytest.fixture(scope="module")
def plan():
    return flown(DAY).plan


def test_the_first_step_to_come_of_everybody_begins_not_before_the_instant(plan):
    order = tuple(step.name for step in plan.day.steps)
    done = plan.schedule.tasks_done() - {"to_near", "near_clamp"}
    steps = Onward("on", plan, Turn(300.0), Rearranged(order), frozenset(done)).data()["day"]["steps"]
    waiting = {step["name"] for step in steps if step.get("earliest") == "300.000 s"}
    assert waiting == {"get_off", "back_off", "to_middle"}  # look and far_lamp are under way, to_far is over
    assert not any({"to_near", "near_clamp"} & set(step.get("after", [])) for step in steps)


def test_a_step_to_come_takes_as_much_longer_as_is_said(plan):
    late = Rest(plan, Travel(plan.scene), turn=Turn(300.0, {"near_clamp": 600.0}))
    plain = Rest(plan, Travel(plan.scene), turn=Turn(300.0))
    assert late.takes_s("near_clamp") == pytest.approx(plain.takes_s("near_clamp") + 600.0)


def test_what_is_least_left_counts_the_way_home_and_what_is_over_counts_no_more(monkeypatch):
    times, returns = np.array([0.0, 100.0, 200.0]), np.array([290.0, 50.0, 20.0])
    back = SimpleNamespace(crew="ev1", time_s=times, return_time_s=returns)
    monkeypatch.setattr(flown_module, "ways_back", lambda record: (back,))
    plan = SimpleNamespace(limits=(Limit("cut_off", 9.0), Limit("oxygen", 300.0, ("ev1", "ev2"), None)),
                           schedule=None)
    onward = SimpleNamespace(turn=Turn(60.0))
    (margin,) = flown_module._margins(onward, SimpleNamespace(plan=plan))
    assert (margin.of, margin.who, margin.left_s, margin.time_s) == ("oxygen", "ev1", 80.0, 200.0)


def test_limits_count_what_is_left_of_them_by_the_instant(plan):
    rest = Rest(plan, Travel(plan.scene), turn=Turn(300.0))
    assert rest.counted(Bounded(("photos",), 5400.0)).lasts_s == pytest.approx(5100.0)


def _arm_day(*names, begun=1):
    """Return a plan of carries, one a step, the first of them begun before 10 s."""
    slots = [SimpleNamespace(name=name, start_s=0.0 if k < begun else 20.0 + k) for k, name in enumerate(names)]
    steps = {name: SimpleNamespace(name=name, kind="carry", carry=f"{name}_flown", fallback=None) for name in names}
    return SimpleNamespace(schedule=SimpleNamespace(slots=slots), day=SimpleNamespace(steps=list(steps.values())),
                           step=steps.get)  # fmt: skip


def test_only_a_carry_that_begins_elsewhere_looks_for_its_way_to_where_it_ended():
    names = ("out", "cart", "box", "home")
    free = {"to_joints": {"elbow": "9 deg"}, "via": [{"elbow": "5 deg"}]}
    old = [{"name": f"{name}_flown", "moves": [dict(free), {"hold": "9 s", "way": "find"}]} for name in names]
    done = frozenset(names) - {"cart"}
    onward = Onward("on", _arm_day(*names), Turn(10.0), Rearranged(names), done)
    found = {carry["name"]: carry["moves"] for carry in onward._carries(old)}
    assert found["box_flown"][0] == {"to_joints": {"elbow": "9 deg"}, "name": "box_flown_1", "way": "find"}
    assert found["home_flown"] == found["out_flown"] == [free, {"hold": "9 s"}]  # begin and go on as they did


def test_who_tightens_more_bolts_takes_as_much_longer_and_lets_go_of_nothing(tmp_path):
    half = {"tighten, actors: [ev1], at: rack_a, bolt: {what: pump_box, count: 4, each: 1 min, make: tight}}":
            "tighten, actors: [ev1], at: rack_a, bolt: {what: pump_box, count: 1, make: tight}, takes: 2 min}\n"
            "    - {name: off_it, actors: [ev1], let_go: {what: pump_box}, takes: 1 min}"}  # fmt: skip
    shut = "fold, actors: [ev1], at: rack_a, fold_cover: {what: pump_box, fastener: cover, make: closed}, takes: 1 min}"
    rest = "{name: rest, actors: [ev1], at: rack_a, bolt: {what: pump_box, count: 3, make: tight}, takes: 6 min}"
    more = {shut: f"{shut}\n    - {rest}"}
    plan = flown(short_day(tmp_path, half | more)).plan
    at_s = plan.schedule.slot("fly_back").start_s + 1.0
    rest = Rest(plan, Travel(plan.scene), turn=Turn(at_s))
    done = (set(rest.tasks) | rest.over) - {"rest", "look"}
    assert rest.tightens_more(done) == ({"tighten": 3}, {"off_it": "tighten makes it fast"})
    assert rest.tightens_more(done | {"rest"}) == ({}, {})  # it is tightened later, as planned
    assert Rest(plan, Travel(plan.scene), turn=Turn(at_s), safe=False).tightens_more(done) == ({}, {})
    order = Rearranged(tuple(step.name for step in plan.day.steps))
    steps = Onward("on", plan, Turn(at_s), order, frozenset(done - {"off_it"}), {"tighten": 3}).data()["day"]["steps"]
    tighten = next(step for step in steps if step["name"] == "tighten")
    assert tighten["bolt"]["count"] == 4 and tighten["takes"]["likely"] == "480.000 s"
