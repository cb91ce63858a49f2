"""Tools, bags and bolts: what is in a bag goes where the bag goes; bolts are turned as their item asks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.errors import InputErrors
from armcarry.ledger.book import entered, keep
from armcarry.ledger.state import Act, BoltRule, ItemRule, ItemState, Page, PersonState, SeatRule
from armcarry.timeline.acts import acts_of_day
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import tasks_of

BODY = """
crew: {ev1: {posture: carry, at: platform/bay_10_stand}}
hardware:
  pump_box: {model: pump_box, at: platform/bay_10_seat, fasteners: {cover: closed}}
  bag: {model: tool_bag, at: PLACE}
  driver: {model: driver, at: bag/base}
"""
LOOSE = "name: loose, actors: [ev1], bolt: {what: pump_box, count: 1, each: 1 min, make: loose, tool: driver}"
TIGHT = "name: tight, actors: [ev1], bolt: {what: pump_box, count: 1, each: 1 min, make: tight, tool: driver}"
TAKE = "name: get, actors: [ev1], take: {what: driver}, takes: 1 min"
BACK = "name: back, actors: [ev1], seat: {what: driver, into: bag}, takes: 1 min"
HOOK = "name: hook, actors: [ev1], tether: {what: bag, to: keel_star_10}, takes: 1 min"


@pytest.mark.parametrize(("place", "fails"), [("ev1/hands", False), ("platform/bay_7_stand", True)])
def test_a_tool_is_where_its_bag_is(record_of, failures, place, fails):
    record = record_of(BODY.replace("PLACE", place), [LOOSE, TIGHT] if fails else [LOOSE, TIGHT, HOOK])
    told = [one for one in failures(record) if one[1] == "ev1"]
    assert [one[0] for one in told] == (["custody"] if fails else [])
    assert not fails or told[0][2].endswith("; the same in tight")
    assert not fails or told[0][2].startswith("loose: ev1 has no driver for loose: it is 1")


def test_a_tool_is_taken_out_of_its_bag_and_put_back(record_of, failures):
    record = record_of(BODY.replace("PLACE", "ev1/hands"), [HOOK, TAKE, LOOSE, TIGHT, BACK])
    assert failures(record) == []
    when = record.plan.schedule.slot("get").end_s
    assert record.ledger.at(when).states["driver"].hands == {"ev1"}
    assert record.ledger.end.states["driver"].seat == "bag"
    ends = [record.link_path(name, [record.duration_s - 1.0])[0] for name in ("driver/base", "bag/base")]
    np.testing.assert_allclose(ends[0], ends[1], atol=1e-9)


def test_a_bag_takes_small_items_up_to_what_it_holds(script):
    from armcarry.files.load import load_scenario

    into = "name: NAME, actors: [ev1], seat: {what: pump_box, into: bag}, takes: 1 min"
    with pytest.raises(InputErrors, match="no seat named 'bag'"):
        load_scenario(script(BODY.replace("PLACE", "ev1/hands"), [into.replace("NAME", name) for name in ("in", "on")]))
    held = ItemState("held", hands=frozenset({"ev1"}), tethers=frozenset({"ev1"}))
    page = Page(
        {name: ItemRule("part") for name in ("one", "two", "bag")}, {"bag": SeatRule(("part",), count=1)},
        {"one": held, "two": held, "bag": held}, {"ev1": PersonState("airlock")},
    )
    first, second = (Act("in", "seat", ("ev1",), name, to="bag") for name in ("one", "two"))
    page, broken = entered(page, first)
    assert broken == ()
    assert page.is_inside("one")  # as the bag is, with ev1
    assert [v.message for v in entered(page, second)[1]] == ["two is put into bag, where one sits"]
    wide = replace(page, seats={"bag": SeatRule(("part",), count=2)})
    assert entered(wide, second)[1] == ()


BOX = Page(
    {"box": ItemRule("box", bolts=BoltRule(35.0, 12.0))}, {"bay": SeatRule(("box",), bolts=4)},
    {"box": ItemState("seat", "bay", bolts_tight=2)}, {"ev1": PersonState()},
)


@pytest.mark.parametrize(
    ("stated", "told"),
    [
        ({"torque_n_m": 35.0, "turns": 12.0}, []),
        ({"torque_n_m": 30.0, "turns": 12.0}, ["box asks 35 N*m of its bolts, tight states 30 N*m"]),
        ({"torque_n_m": 35.0, "turns": 11.0}, ["box asks 12 turns of its bolts, tight states 11 turns"]),
        ({}, []),  # left out, as the item says
    ],
)
def test_bolts_are_turned_as_the_item_says(stated, told):
    act = Act("tight", "bolt", ("ev1",), "box", make="tight", count=2, **stated)
    found = [v for v in entered(BOX, act)[1] if v.missing.startswith("bolt_")]
    assert [v.message for v in found] == told
    assert all(v.remedy.startswith("state t") for v in found)
    loose = replace(act, make="loose", torque_n_m=1.0)
    assert "bolt_torque" not in [v.missing for v in entered(BOX, loose)[1]]  # it is said for tightening alone


def test_what_a_step_states_of_bolts_is_held_against_the_item(script):
    from armcarry.files.load import load_scenario

    own = LOOSE.replace("tool: driver", "tool: driver, torque: 30 N*m, turns: 4")
    loaded = load_scenario(script(BODY.replace("PLACE", "ev1/hands"), [own, TIGHT]))
    bolts = loaded.hardware["pump_box"].document.fasteners["bolts"].model_copy(update={"torque": 30.0, "turns": 6.0})
    fasteners = {**loaded.hardware["pump_box"].document.fasteners, "bolts": bolts}
    item = loaded.hardware["pump_box"]
    changed = replace(item, document=item.document.model_copy(update={"fasteners": fasteners}))
    start = page_at_start(replace(loaded, hardware={**loaded.hardware, "pump_box": changed}))
    assert start.items["pump_box"].bolts == BoltRule(30.0, 6.0)
    day = loaded.scenario.day
    acts = acts_of_day(day, schedule(tasks_of(day, {})), start)
    told = [v.message for v in keep(start, acts).violations if v.missing.startswith("bolt_")]
    assert told == ["pump_box asks 6 turns of its bolts, loose states 4 turns"]
