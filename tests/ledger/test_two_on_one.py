"""Two people who hold one item stay beside it, or that is told; what goes from hand to hand is told once."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from armcarry.checks import grasp
from armcarry.ledger.book import keep
from armcarry.ledger.state import Act, Asked, ItemRule, ItemState, Page, PersonState

LOAD = Page(
    {"load": ItemRule("load", hands=2)}, {}, {"load": ItemState("held", hands=frozenset({"ev1", "ev2"}))},
    {"ev1": PersonState(), "ev2": PersonState()}, Asked(bonds=False, speed_with_item_m_s=0.08),
)  # fmt: skip


@dataclass
class Apart:
    """ev1 has the load; ev2 falls back from it at a speed from 20 s on."""

    speed_m_s: float
    end_s: float = 100.0

    def apart_m(self, who, thing, time_s):
        return max(time_s - 20.0, 0.0) * self.speed_m_s if who == "ev2" and thing == "load" else 0.0

    def reach_m(self, who):
        return 2.0

    def farthest_m(self, one, other, start_s, end_s):
        return None


@pytest.mark.parametrize(("speed_m_s", "told"), [(0.0, []), (0.02, []), (0.1, ["go: 2.50 m"])])
def test_two_who_bring_one_load_stay_beside_it(speed_m_s, told):
    go = [Act("go", kind, ("ev1",), to="bay", time_s=time, start_s=20.0, end_s=90.0)
          for kind, time in (("set_off", 20.0), ("come", 90.0))]  # fmt: skip
    found = [one for one in keep(LOAD, go, Apart(speed_m_s)).violations if one.missing == "holds_on"]
    assert [f"{one.step}: {one.message.split(' comes ')[1].split(' from')[0]}" for one in found] == told
    assert all(one.item == "ev2" and one.topic == "custody" for one in found)
    assert all(one.message.startswith("ev2 holds load with ev1 and comes ") for one in found)
    assert all("together_with" in one.remedy for one in found)


def test_one_who_lets_go_is_not_asked_any_more():
    alone = keep(LOAD, [Act("off", "let_go", ("ev2",), "load", time_s=10.0)], Apart(0.5))
    assert [one for one in alone.violations if one.missing == "holds_on"] == []


def test_what_goes_from_hand_to_hand_is_proven_and_told_once(record_of):
    body = """
crew: {ev1: {posture: carry, at: platform/bay_5_stand}}
hardware: {thermal_blanket: {model: thermal_blanket, at: platform/bay_5_seat}}
"""
    steps = ["name: take, actors: [ev1], take: {what: thermal_blanket}, takes: 1 min",
             "name: hook, actors: [ev1], tether: {what: thermal_blanket}, takes: 1 min",
             "name: trail, actors: [ev1], let_go: {what: thermal_blanket}, takes: 1 min",
             "name: hold, actors: [ev1], take: {what: thermal_blanket}, takes: 1 min",
             "name: put, actors: [ev1], seat: {what: thermal_blanket, into: bay_5_seat}, takes: 1 min"]  # fmt: skip
    record = record_of(body, steps)
    (told,) = [one for one in grasp.check(record) if one.other == "by_hand"]
    assert (told.subject, str(told.verdict)) == ("thermal_blanket", "pass")
    assert told.message.startswith("the tightest of 2 times thermal_blanket goes ")
    assert " from hand to hand or tether; on the way that is proven, " in told.message
