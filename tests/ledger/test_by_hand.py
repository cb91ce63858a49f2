"""Items from hand to hand and along handrails: who holds when, where an item trails, how fast it goes."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks import custody
from armcarry.ledger.book import entered, keep
from armcarry.ledger.state import Act, Asked, ItemRule, ItemState, Page, PersonState

BAG = Page(
    {"bag": ItemRule("bag", hands=1), "one": ItemRule("part", hands=1), "two": ItemRule("part", hands=1)},
    {},
    {"bag": ItemState("held", hands=frozenset({"ev1"})), "one": ItemState("inside"), "two": ItemState("inside")},
    {"ev1": PersonState(), "ev2": PersonState()},
    Asked(bonds=False),
)
GRIP, GIVE = (Act("give", kind, ("ev1",), "bag", to="ev2") for kind in ("grip", "hand_over"))


def test_the_receiver_has_hold_of_an_item_before_the_giver_lets_go():
    book = keep(BAG, [GRIP, GIVE])
    assert [sorted(page.states["bag"].hands) for page in book.after] == [["ev1", "ev2"], ["ev2"]]
    assert book.violations == ()
    gone = Act("off", "let_go", ("ev2",), "bag")
    assert [(v.missing, v.message) for v in keep(BAG, [GRIP, gone, GIVE]).violations] == [
        ("receiver_holds", "bag is let go of in give while ev2 does not hold it")
    ]


def test_the_receiver_needs_a_hand_for_it():
    full = {name: ItemState("held", hands=frozenset({"ev2"}), tethers=frozenset({"ev2"})) for name in ("one", "two")}
    _, broken = entered(replace(BAG, states={**BAG.states, **full}), GRIP)
    assert ("free_hand", "ev2") in [(v.missing, v.item) for v in broken]


#: ev1 holds a strapped blanket at bay 5; ev2 hangs on the rail above, or one bay on
TWO = """
crew: {ev1: {posture: carry, at: platform/bay_5_stand}, ev2: {posture: carry, at: platform/keel_port_4_to}}
hardware: {thermal_blanket: {model: thermal_blanket, at: platform/bay_5_seat}}
"""
TAKE = "name: take, actors: [ev1], at: bay_5, take: {what: thermal_blanket}, takes: 1 min"
COME = "name: come, actors: [ev2], translate: {to: platform/keel_port_5_TO}"
HOOK = "name: hook, actors: [ev2], tether: {what: thermal_blanket, length: 3 m}, takes: 1 min"
GIVES = "name: give, actors: [ev1], hand_over: {what: thermal_blanket, to: ev2}, takes: 1 min, after: [hook]"
GO = "name: go, actors: [ev2], translate: {to: platform/keel_port_4_from}, after: [give]"
REST = "name: rest, actors: [ev2], tether: {what: thermal_blanket, to: keel_port_4, length: 3 m}, takes: 1 min"


@pytest.mark.parametrize(("end", "near"), [("to", True), ("from", False)])
def test_free_workers_hand_over_what_both_are_beside(record_of, failures, end, near):
    found = failures(record_of(TWO, [TAKE, COME.replace("TO", end), HOOK, GIVES, GO, REST]))
    assert [one for one in found if one[0] == "grasp"] == []
    assert {one[:2] for one in found} == (set() if near else {("schedule", "ev2")})
    assert near or [one[2].split(" but is ")[0] for one in found] == ["ev2 does hook on thermal_blanket"]
    assert near or found[0][2].endswith("; boots and gloves reach 2.09 m; the same in give")


def test_what_is_handed_to_somebody_on_a_handrail_trails_behind_and_goes_slower(record_of, monkeypatch):
    record = record_of(TWO, [TAKE, COME.replace("TO", "to"), HOOK, GIVES, GO, REST])
    when = record.plan.schedule.slot("go").start_s
    chest, handhold = (
        record.link_path(f"{name}", [when])[0] for name in ("ev2/chest", "thermal_blanket/handhold")
    )
    behind = np.linalg.inv(chest) @ handhold
    np.testing.assert_allclose(behind[:3, 3], [-0.85, 0.0, 0.0], atol=1e-9)
    np.testing.assert_allclose(behind[:3, 0], [-1.0, 0.0, 0.0], atol=1e-9)  # turned away from the body
    assert record.plan.walks["come"][0].motion is not None
    speeds = {step: _fastest(record, "ev2", step) for step in ("come", "go")}
    assert speeds == pytest.approx({"come": 0.15, "go": 0.08}, rel=1e-3)


def _fastest(record, who, step):
    slot = record.plan.schedule.slot(step)
    times = np.linspace(slot.start_s, slot.end_s, 400)
    columns = [record.scene.tree.column(f"{who}/{axis}") for axis in ("free_x", "free_y", "free_z")]
    at = np.stack([record.motion.at(time)[columns] for time in times])
    return float((np.linalg.norm(np.diff(at, axis=0), axis=1) / np.diff(times)).max())


def test_how_fast_with_an_item_is_not_assessed_once_where_the_rules_do_not_say(record_of):
    record = record_of(TWO, [TAKE, COME.replace("TO", "to"), HOOK, GIVES, GO,
                             GO.replace("name: go", "name: on").replace("4_from", "3_from"), REST])  # fmt: skip
    start = record.ledger.start
    unsaid = keep(replace(start, asked=replace(start.asked, speed_with_item_m_s=None)), record.ledger.acts)
    found = custody.check(replace(record, kept=unsaid))
    asked = [(f.subject, f.message, f.remedy) for f in found if str(f.verdict) == "not_assessed"]
    words = "go: ev2 goes along handrails with thermal_blanket; the rules do not say how fast at most"
    assert asked == [("ev2", words, "state hands in the rules: speed_with_item")]
    assert [f for f in custody.check(record) if str(f.verdict) == "not_assessed"] == []


def test_every_item_is_tethered_before_its_last_bolt_where_the_rules_ask():
    from armcarry.ledger.state import SeatRule

    box = ItemState("seat", "bay", bolts_tight=2, hands=frozenset({"ev1"}))
    page = Page({"box": ItemRule("box")}, {"bay": SeatRule(("box",), bolts=2)}, {"box": box}, {"ev1": PersonState()},
                Asked(tether_before_loose=True))  # fmt: skip
    one, two, hook = (
        Act("loose", "bolt", ("ev1",), "box", make="loose", count=count) for count in (1, 2, 0)
    )
    hook = Act("hook", "tether", ("ev1",), "box")
    for acts, fails in (([one], False), ([two], True), ([one, one], True), ([hook, two], False)):
        told = [v.message for v in keep(page, acts).violations if v.missing == "tethered_first"]
        assert told == (["box is not tethered when its last bolt comes loose"] if fails else [])
    assert "tethered_first" not in [v.missing for v in keep(replace(page, asked=Asked()), [two]).violations]
