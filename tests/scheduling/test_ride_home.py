"""Home on the arm: whoever rides is brought to where the last rider of the day gets off, all else is left out."""

from __future__ import annotations

from types import SimpleNamespace

import pytest

from armcarry.files.documents.steps import AIRLOCK
from armcarry.scheduling import replan
from armcarry.scheduling.put_back import put_back
from armcarry.scheduling.replan import _home, _solved
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


def test_what_is_in_hand_and_was_carried_off_is_brought_where_it_was_to_go_first(plan):
    taken = plan.schedule.slot("fly_out").start_s + 1.0
    found = ride_home(_rest(plan, taken))
    assert {"fly_back", "seat", "tighten", "unhook"} <= found.only and found.more == {}


def test_what_is_half_done_and_still_in_its_seat_is_put_back_step_by_step(plan):
    at_s = plan.schedule.slot("loosen").start_s + 1.0
    found = ride_home(_rest(plan, at_s))
    assert list(found.more) == ["loosen_back", "hook_back", "unfold_back"]  # nobody lets go of what was made fast
    assert not {"take", "seat", "tighten", "fold"} & found.only and set(found.more) < found.only
    loosen, cover = found.more["loosen_back"], found.more["unfold_back"]
    assert loosen["bolt"] == {"what": "pump_box", "count": 4, "each": "1 min", "make": "tight"}
    assert (loosen["actors"], loosen["at"], cover["fold_cover"]["make"]) == (["ev1"], "rack_a", "closed")
    names = [step.name for step in found.plan.day.steps]
    assert names[names.index("loosen") : names.index("take")] == ["loosen", *found.more]
    assert found.rides["off_last"] == ("ev2", "ev1")
    begun = {slot.name: slot.start_s for slot in plan.schedule.slots if slot.start_s <= at_s}
    assert {name: found.plan.schedule.slot(name).start_s for name in begun} == begun  # what was begun stays as it was
    effort = Effort(work_s=1.0, bound=False)
    choice = _solved(found.plan, Travel(plan.scene), Turn(at_s), effort, "home", ride=found)
    assert {"take", "seat", "fold", "climb_out", "climb_in"} <= set(choice.way.drops)
    assert {choice.way.why[name] for name in choice.way.drops} == {"all go home"}
    assert choice.way.put_back == {"loosen_back": "bolt", "hook_back": "untether", "unfold_back": "fold_cover"}
    assert set(found.more) <= set(choice.way.adds) and choice.onward.more == found.more
    steps = [step["name"] for step in choice.onward.data()["day"]["steps"]]
    assert steps.index("loosen") < steps.index("loosen_back") < steps.index("hook_back") < steps.index("roll")


@pytest.mark.parametrize(("at", "names"), [
    ("unfold", []), ("hold", ["hold_back", "hook_back", "unfold_back"]), ("take", None)
])  # fmt: skip
def test_only_what_is_half_done_is_put_back_and_only_where_it_can_be(plan, at, names):
    found = put_back(_rest(plan, plan.schedule.slot(at).start_s + 1.0))
    assert (None if found is None else [one.step.name for one in found]) == names
    if at == "hold":
        assert found[0].data["let_go"] == {"what": "pump_box"} and {one.behind for one in found} == {"hold"}


def test_whoever_is_where_the_last_one_gets_off_already_gets_off_there(tmp_path):
    line = "{line: {frame: platform/rack_a_stand, to: [0 m, 0 m, 0 m]}}"
    same = {**HOME, "carries:\n": "carries:\n  - {name: back_in, moves: [{to_joints: {elbow_bend: 90 deg}}, " + line
            + "]}\n", "name: close_in, moves: [{to_worksite: rack_a}": "name: close_in, moves: [" + line}  # fmt: skip
    plan = flown(short_day(tmp_path, same)).plan
    found = ride_home(_rest(plan, plan.schedule.slot("unfold").start_s + 1.0))
    assert set(found.rides) == {"off_last"}


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
    def solved(plan, travel, turn, effort, aim, ride=None, ridden=ride):
        way = plain if ride is None else ridden
        return Choice(way, None if way.why_not else SimpleNamespace(), None)

    monkeypatch.setattr(replan, "_solved", solved)
    turn = Turn(plan.schedule.slot("unfold").start_s + 1.0)
    found = _home(plan, Travel(plan.scene), turn, Effort(work_s=1.0))
    assert found.way.title == taken
    if taken == "ride" and not plain.why_not:
        assert found.again(None).way is plain  # where it fails as it is flown
