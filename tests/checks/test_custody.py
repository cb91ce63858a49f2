"""What is said of hardware that is handled in order, and of each precondition that is missing."""

from types import SimpleNamespace

import pytest

from armcarry.checks import custody
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box
from armcarry.ledger.state import ItemState
from armcarry.record.finding import Verdict
from armcarry.timeline.run import Event

CASE = [Body("case", "base", Box((0.3, 0.3, 0.3)), poses.identity())]
SEATS = {"rack": {"frame": "rack", "accepts": ["load"], "bolts": 2}, "shelf": {"frame": "shelf", "accepts": ["tool"]}}


@pytest.fixture
def judged(rider_scene, moving_record):
    """Judge a run with a load in the hands, or wherever ``at`` says; steps of a day, or events of its carry."""

    def build(steps=(), events=(), at="ev1/hands", fasteners=None, worker=False):
        frames = {"rack": poses.translation((0.0, 3.0, 0.0)), "shelf": poses.translation((0.0, -3.0, 0.0))}
        script = {"hardware": {"load": {"model": "load", "at": at}}}
        if steps:
            script["day"] = {"steps": steps}
        scene = rider_scene(
            {}, held=CASE, frames=frames, platform={"seats": SEATS}, script=script, load={"fasteners": fasteners or {}},
            worker_at="platform/rack" if worker else None,
        )
        return custody.check(moving_record(scene, {}, events=events))

    return build


def _step(name, kind, who="ev1", **detail):
    return {"name": name, "actors": who.split("+"), kind: {"what": "load", **detail}, "takes": "1 min"}


def test_nothing_is_said_without_hardware(rider_scene, moving_record):
    assert custody.check(moving_record(rider_scene({}), {})) == ()


def test_acts_in_order_end_where_they_end(judged):
    (found,) = judged([_step("seat_it", "seat", into="rack"), _step("tighten", "bolt", make="tight", count=2)])
    assert (found.verdict, found.subject) == (Verdict.PASS, "load")
    assert found.message == "load: 2 acts in order, at the end it is in rack"
    assert found.end_s == 10.0


def test_hardware_still_in_the_hands_at_the_end_of_a_day_is_told(judged):
    (held,) = judged([_step("tie", "tether")])
    assert held.verdict is Verdict.FAIL
    assert held.message == "the end: load is still in the hands of ev1 at the end"


def test_one_who_no_longer_holds_it_leaves_it_on_its_tether(judged):
    rail = {**_step("tie", "tether"), "tether": {"what": "load", "to": "rail"}}
    (found,) = judged([rail, _step("let", "let_go")])
    assert found.message == "load: 2 acts in order, at the end it is held by its tether"


def test_at_the_end_a_tether_to_somebody_outside_is_no_place(judged):
    (found,) = judged([_step("tie", "tether"), _step("let", "let_go")])
    assert (found.verdict, found.subject) == (Verdict.FAIL, "load")
    assert found.message == "the end: load is still on the tether of ev1 at the end"


def test_hardware_nobody_touches_is_not_spoken_of(judged):
    assert judged([{"name": "look", "actors": ["ev1"], "note": "look", "takes": "1 min"}], at="platform/rack") == ()


def test_without_a_day_bolts_are_taken_as_done_in_the_pauses(judged):
    (found,) = judged(events=(Event(4.0, "detach", "load", "platform/rack", 0.0, 0.0),))
    assert found.verdict is Verdict.PASS
    assert found.message == (
        "load: 1 acts in order, at the end it is in rack; bolts and connectors are taken as done in the pauses, no "
        "step says by whom"
    )


@pytest.mark.parametrize(
    ("steps", "at", "fault", "remedy"),
    [
        ([_step("take_it", "take")], "platform/rack", "take_it: load is taken with 2 of its bolts still tight",
         "put the step that loosens its bolts before"),
        ([_step("free", "bolt", make="loose", count=2)], "platform/rack",
         "free: load is released while nobody holds it",
         "let somebody take hold of it, steady it or tether it before"),
        ([_step("hold", "steady"), _step("free", "bolt", make="loose", count=3)], "platform/rack",
         "free: load has 2 bolts tight, not 3 to loosen",
         "check the count of bolts, or add the step that tightens them"),
        ([_step("tighten", "bolt", make="tight", count=1)], "ev1/hands",
         "tighten: load is bolted down while it is not in a seat", "put the step that seats it before"),
        ([_step("put", "seat", into="shelf")], "ev1/hands", "put: load does not fit shelf, which takes tool",
         "choose a seat that takes it"),
        ([_step("untie", "untether")], "ev1/hands", "untie: load is untethered by someone without its tether",
         "let the one who holds the tether take it off"),
        ([_step("join", "connect", make="joined")], "ev1/hands",
         "join: load is connected while it is not in a seat", "put the step that seats it before"),
        ([_step("part", "connect", make="parted")], "ev1/hands",
         "part: load has 0 connectors joined, not 1 to part", "check the count of connectors"),
    ],
)  # fmt: skip
def test_each_missing_precondition_fails_with_what_to_do(judged, steps, at, fault, remedy):
    found = judged(steps, at=at)[0]
    assert found.verdict is Verdict.FAIL
    assert (found.message, found.remedy) == (fault, remedy)
    assert (found.subject, found.other) == ("load", steps[-1]["name"])
    assert found.start_s == found.end_s == 60.0 * len(steps)


def test_an_item_with_a_violation_is_not_said_to_be_in_order_too(judged):
    findings = judged([_step("put", "seat", into="rack"), _step("tighten", "bolt", make="tight", count=1)])
    assert [item.verdict for item in findings] == [Verdict.FAIL]
    assert findings[0].message == "tighten: load is left in rack with 1 of 2 bolts tight"


def test_a_fastener_is_named_in_what_to_do(judged):
    lid = {"lid": {"kind": "cover", "needed_to": ["grasp"], "state_needed": "open"}}
    found = judged([_step("take_it", "take")], at="platform/shelf", fasteners=lid)[0]
    assert found.message == "take_it: load is grasped with its lid not open"
    assert found.remedy == "put the step that makes its lid open before take_it"


def test_what_another_holds_is_handed_over(judged):
    found = judged([_step("grab", "take", who="ev2")], worker=True)[0]
    first, *besides = found.message.split("; besides, ")
    assert first == "grab: load is held by ev1; it is handed over, not taken"
    assert besides == ["ev2 does grab on load but is 4.62 m from it; boots and gloves reach 2.16 m; so is not right "
                       "either: the end"]  # fmt: skip
    assert found.remedy == "hand it over instead"


@pytest.mark.parametrize(("state", "where"), [
    (ItemState("inside"), "inside"), (ItemState("inside", "rack"), "inside"), (ItemState("seat", "rack"), "in rack"),
    (ItemState("held", hands=frozenset({"ev2", "ev1"})), "held by ev1, ev2"), (ItemState("held"), "held by its tether"),
])  # fmt: skip
def test_where_hardware_ends_is_said(state, where):
    page = SimpleNamespace(states={"load": state}, asked=SimpleNamespace(bonds=True))
    acts = tuple(SimpleNamespace(item=item) for item in ("load", "", "load", "other"))
    found = custody._in_order(SimpleNamespace(duration_s=50.0), "load", SimpleNamespace(end=page, acts=acts))
    assert found.message == f"load: 2 acts in order, at the end it is {where}"
    assert (found.subject, found.start_s, found.end_s) == ("load", 0.0, 50.0)
