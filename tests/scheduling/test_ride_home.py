"""Home on the arm: whoever rides is brought to where the last rider of the day gets off, all else is left out."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from armcarry.files.documents.steps import AIRLOCK
from armcarry.scheduling import replan
from armcarry.scheduling.replan import _home
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.ride_home import ride_home
from armcarry.scheduling.solve import Effort
from armcarry.scheduling.state import Place
from armcarry.scheduling.tries import Choice
from armcarry.scheduling.turn import Turn
from armcarry.scheduling.way_on import WayOn
from armcarry.scheduling.ways import Travel
from short_days import flown, short_day

LOOK = "    - {name: look, actors: [ev1], inspect: rails"
#: the short day, in which ev2 rides home at the end
HOME = {
    LOOK: "    - {name: fly_home, actors: [arm, ev2], carry: back_in}\n"
          "    - {name: off_last, actors: [ev2], leave_restraint: {to: platform/keel_port_11_from}, takes: 5 min}\n"
          "    - {name: shut, actors: [ev1, ev2], hatch: {make: closed}, takes: 0 s}\n" + LOOK,
    "carries:\n": "carries:\n  - {name: back_in, moves: [{to_worksite: rack_a}]}\n",
}  # fmt: skip


@pytest.fixture(scope="module")
def plan(tmp_path_factory):
    return flown(short_day(tmp_path_factory.mktemp("home"), HOME)).plan


def _rest(plan, at_s, **more):
    return Rest(plan, Travel(plan.scene), "worth", turn=Turn(at_s), aim="home", within=False, **more)


def test_whoever_rides_is_brought_to_where_the_last_one_gets_off(plan):
    at_s = plan.schedule.slot("unfold").start_s + 1.0
    found = ride_home(_rest(plan, at_s))
    assert found.rides == dict.fromkeys(("roll", "fly_home", "off_last"), ("ev2", "ev1"))
    assert {name: found.plan.step(name).actors for name in found.rides} == {
        "roll": ["arm", "ev1"], "fly_home": ["arm", "ev1"], "off_last": ["ev1"]
    }  # fmt: skip
    assert {task.name: task.actors for task in found.plan.tasks}["off_last"] == ("ev1",)
    assert plan.step("off_last").actors == ["ev2"]  # the day itself is as it was
    rest = _rest(found.plan, at_s, only=found.only)
    assert set(rest.tasks) == {"unfold", *found.rides, "shut", *rest.under_way}
    assert rest.found["off_last"].needs["ev1"].rides
    assert set(rest.found["shut"].needs.values()) == {Place(AIRLOCK)}


def test_what_is_in_hand_is_put_back_first(plan):
    taken = plan.schedule.slot("fly_out").start_s + 1.0
    assert {"fly_back", "seat", "tighten", "unhook"} <= ride_home(_rest(plan, taken)).only


def test_nobody_is_brought_home_otherwise_who_rides_last_or_does_not_ride(plan):
    assert ride_home(_rest(plan, plan.schedule.slot("fly_home").start_s + 1.0)) is None  # ev2 is on the way
    assert ride_home(_rest(plan, plan.schedule.slot("climb_in").start_s - 1.0)) is None  # nobody is on the arm


@pytest.mark.parametrize(("plain", "ride", "taken"), [
    (WayOn("plain", end_s=900.0), WayOn("ride", end_s=600.0), "ride"),
    (WayOn("plain", end_s=600.0), WayOn("ride", end_s=900.0), "plain"),
    (WayOn("plain", end_s=600.0, still=("seat",)), WayOn("ride", end_s=900.0), "ride"),
    (WayOn("plain", end_s=600.0, still=("seat",)), WayOn("ride", end_s=900.0, still=("seat",)), "plain"),
    (WayOn("plain", why_not="it cannot be"), WayOn("ride", end_s=900.0), "ride"),
    (WayOn("plain", end_s=900.0), WayOn("ride", why_not="it cannot be"), "plain"),
])  # fmt: skip
def test_home_is_the_sooner_and_asks_nothing_of_who_is_unable_where_it_need_not(plan, monkeypatch, plain, ride, taken):
    def solved(plan, travel, turn, effort, aim, only=None):
        way = plain if only is None else ride
        return Choice(way, None if way.why_not else SimpleNamespace(), None)

    monkeypatch.setattr(replan, "_solved", solved)
    turn = Turn(plan.schedule.slot("unfold").start_s + 1.0)
    found = _home(plan, Travel(plan.scene), turn, Effort(work_s=1.0))
    assert found.way.title == taken
    if taken == "ride" and not plain.why_not:
        assert found.again(None).way is plain  # where it fails as it is flown
