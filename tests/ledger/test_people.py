"""People in the ledger: what cannot be in a day, each on its own, and a day without any of it."""

from __future__ import annotations

import pytest

from armcarry.files.documents.day import Day
from armcarry.ledger.book import keep
from armcarry.ledger.state import Asked, ItemRule, ItemState, Page, PersonState, SeatRule
from armcarry.timeline.acts import acts_of_day
from armcarry.timeline.conflicts import two_places
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, tasks_of

#: places on a line, m; the restraint lies at the porch until it is on the arm
PLACES = {"airlock": 5.0, "porch": 0.0, "bay_3": 20.0}
GOES_TO = {"ride": "bay_3", "ride_2": "porch"}
REACH_M = 2.0


class OnALine:
    """Everybody on one line: who rides is where the arm is, the others where the acts brought them."""

    def __init__(self, start, acts, arm):
        self.book = keep(start, acts)
        self.arm = [(act.time_s, GOES_TO[act.step]) for act in acts if act.kind == "arrive"]
        self.first = arm

    end_s = float("inf")

    def arm_at(self, time_s):
        return next((place for when, place in reversed(self.arm) if when <= time_s), self.first)

    def place(self, name, time_s):
        page = self.book.at(time_s - 1e-9) if time_s else self.book.start
        if name in page.people:
            person = page.people[name]
            return self.arm_at(time_s) if person.restraint else person.place
        if name in ("arm/tip", "restraint"):
            return self.arm_at(time_s) if name == "arm/tip" or page.on_arm(name) else "porch"
        return name

    def apart_m(self, who, thing, time_s):
        ends = [PLACES.get(self.place(name, time_s)) for name in (who, thing)]
        return None if None in ends else abs(ends[0] - ends[1])

    def reach_m(self, who):
        return REACH_M

    def size_m(self, item):
        return None

    def farthest_m(self, one, other, start_s, end_s):
        return None


def page(places, riders=(), on_arm=True):
    people = {who: PersonState(restraint="restraint") if who in riders else PersonState(places.get(who, ""))
              for who in ("ev1", "ev2")}
    seats = {"arm": SeatRule(("foot_restraint",)), "porch_locker": SeatRule(("foot_restraint",), stand=False)}
    restraint = ItemState("seat", "arm" if on_arm else "porch_locker")
    rule = ItemRule("foot_restraint", restraint=True)
    asked = Asked(ends_inside=False)
    return Page({"restraint": rule}, seats, {"restraint": restraint}, people, asked), places.get("arm", "")


OUTSIDE = page({"ev1": "airlock", "ev2": "airlock", "arm": "porch"}, on_arm=False)


def step(name, who, kind, detail=None, **more):
    return {"name": name, "actors": who.split("+"), kind: {} if detail is None else detail, "takes": "10 min", **more}


GOOD = [
    step("go_out", "ev1", "translate", {"from": "airlock", "to": "porch"}),
    step("fit", "ev1", "fit_restraint", at="porch"),
    step("climb_in", "ev1", "enter_restraint"),
    step("go_along", "ev2", "translate", {"to": "bay_3"}),
    step("ride", "arm+ev1", "carry", "to_bay_3"),
    step("work", "ev1", "note", "fasten it", at="bay_3"),
    step("help", "ev2", "note", "hold it", at="bay_3", after=["ride"]),
    step("climb_out", "ev1", "leave_restraint"),
    step("climb_in_2", "ev2", "enter_restraint", after=["climb_out"]),
    step("ride_2", "arm+ev2", "carry", "home"),
    step("walk_home", "ev1", "translate", {"from": "bay_3", "to": "airlock"}),
]


def conflicts(steps, start=OUTSIDE, **overrides):
    day = Day.model_validate({"steps": [{**one, **overrides.get(one["name"], {})} for one in steps]})
    planned = schedule(tasks_of(day, {"ride": Duration.exactly(600.0)}))
    acts = acts_of_day(day, planned, start[0])
    found = keep(start[0], acts, OnALine(start[0], acts, start[1])).told_by("schedule")
    return sorted(found, key=lambda v: (v.start_s, v.step))


def told(found):
    return [(v.missing, v.step, v.item) for v in found]


def test_a_day_in_order_has_no_conflict():
    assert conflicts(GOOD) == []


def without(*names):
    return [one for one in GOOD if one["name"] not in names]


@pytest.mark.parametrize(
    ("gone", "expected"),
    [
        ("fit", [("no_restraint", "climb_in", "ev1")]),
        ("climb_in", [
            ("rider_out", "ride", "ev1"),  # and with it work, climb_out and walk_home
        ]),
        ("go_out", [("beside", "fit", "ev1")]),  # and climb_in with it
        ("go_along", [("beside", "help", "ev2"), ("beside", "climb_in_2", "ev2")]),
        # its link held ride_2 back until ev1 was out
        ("climb_in_2", [
            ("rider_out", "ride_2", "ev2"), ("rider_not_named", "ride_2", "ev1"), ("arm_moving", "climb_out", "ev1"),
        ]),
        ("ride", [("beside", "work", "ev1"), ("beside", "climb_in_2", "ev2")]),  # and walk_home with work
    ],
)
def test_leaving_a_step_out_breaks_what_needs_it(gone, expected):
    steps = [{k: [n for n in v if n != gone] if k == "after" else v for k, v in one.items()} for one in without(gone)]
    assert sorted(told(conflicts(steps))) == sorted(expected)


def test_without_climbing_out_nobody_else_gets_in():
    steps = without("climb_out")
    steps[-3] = {**steps[-3], "after": ["work"]}
    found = conflicts(steps)
    assert ("restraint_taken", "climb_in_2", "ev2") in told(found)
    assert ("rider_not_named", "ride_2", "ev1") in told(found)
    assert ("still_in_restraint", "walk_home", "ev1") in told(found)


@pytest.mark.parametrize(("off", "swapped", "taken"), [("6 min", True, False), ("12 min", True, True),
                                                       ("6 min", False, True)])  # fmt: skip
def test_one_may_get_on_while_another_gets_off_if_that_ends_no_later(off, swapped, taken):
    link = {"swap_places" if swapped else "together_with": "off" if swapped else ["off"]}
    steps = [
        step("off", "ev1", "leave_restraint", {"to": "porch"}, takes=off),
        step("on", "ev2", "enter_restraint", takes="8 min", **link),
        step("ride", "arm+ev2", "carry", "to_bay_3"),
    ]
    start = page({"arm": "porch", "ev2": "porch"}, ["ev1"])
    assert told(conflicts(steps, start)) == ([("restraint_taken", "on", "ev2")] if taken else [])


def test_one_actor_in_two_places():
    steps = [
        step("a", "ev1", "note", "x"), step("b", "ev1", "note", "y", together_with=["a"]),
        step("c", "ev1", "note", "z"),
    ]
    found = two_places(schedule(tasks_of(Day.model_validate({"steps": steps}), {})))
    assert [(c.kind, c.step, c.actor) for c in found] == [("two_places", "b", "ev1")]
    assert found[0].message == "ev1 does a and b at the same time"
    assert (found[0].start_s, found[0].end_s) == (0.0, 600.0)


def test_the_arm_moves_while_its_rider_climbs_out():
    steps = [
        step("ride", "arm", "carry", "to_bay_3"),
        step("climb_out", "ev1", "leave_restraint", together_with=["ride"]),
    ]
    found = conflicts(steps, page({"arm": "porch"}, ["ev1"]))
    assert told(found) == [("arm_moving", "climb_out", "ev1"), ("rider_not_named", "ride", "ev1")]


@pytest.mark.parametrize(
    ("steps", "start", "message"),
    [
        ([step("fit", "ev1", "fit_restraint")], page({"ev1": "porch", "arm": "porch"}),
         "fit puts the restraint on the arm, where it is already"),
        ([step("fit", "ev1", "fit_restraint")], OUTSIDE,
         "ev1 fits restraint in fit but is 5.00 m from it; boots and gloves reach 2.00 m"),
        ([step("in", "ev1", "enter_restraint")], page({}, ["ev1"]),
         "ev1 enters the restraint in in, but is in it already"),
        ([step("go", "ev1", "translate", {"from": "bay_3", "to": "porch"})], OUTSIDE,
         "ev1 sets off from bay_3 in go but is 15.00 m from it; boots and gloves reach 2.00 m"),
        ([step("ride", "arm+ev1", "carry", "to_bay_3")], OUTSIDE,
         "the arm moves in ride while its rider ev1 is not in the restraint"),
        ([step("do", "ev1", "note", "x", at="bay_3")], OUTSIDE,
         "ev1 is to do do at bay_3 but is 15.00 m from it; boots and gloves reach 2.00 m"),
        ([step("out", "ev1", "leave_restraint")], OUTSIDE, "ev1 leaves the restraint in out without being in it"),
    ],
)
def test_each_in_its_words_with_what_to_do(steps, start, message):
    found = conflicts(steps, start)
    assert message in [c.message for c in found]
    assert all(c.remedy for c in found)


def test_a_place_that_is_not_known_is_no_conflict():
    assert conflicts([step("do", "ev1", "note", "x", at="bay_3")], page({})) == []
