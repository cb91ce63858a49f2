"""Things that go from hand to hand: proven over a way that keeps clear, against sampled distances; or told."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from tests.helpers.short_days import flown

from armcarry.asked.zones import granted
from armcarry.checks import grasp
from armcarry.clearance.distance import distances
from armcarry.motion.forward import forward
from armcarry.proving import passing

TWO = Path(__file__).parents[2] / "scenarios" / "two_on_one_load.yaml"


@pytest.fixture(scope="module")
def record():
    """Two people, a box handed over beside a rail, then let trail and held again; places grant what they do.

    Rules here ask of people, and so of what they bring, 0.6 m from structure, that there be something to keep clear of.
    """
    plain = flown(TWO)
    loaded = plain.scene.loaded
    required = [rule.model_copy(update={"distance": 0.6}) if rule.between == ("worker", "structure") else rule
                for rule in loaded.rules.required]  # fmt: skip
    stricter = replace(loaded, rules=loaded.rules.model_copy(update={"required": required}))
    plain = replace(plain, scene=replace(plain.scene, loaded=stricter))
    phases = [(phase.tree, phase.start_s, phase.end_s) for phase in plain.phases]
    return replace(plain, relaxed=(*plain.relaxed, *granted(plain.scene, phases, plain.motion)))


def test_every_passing_keeps_what_is_asked_on_a_way(record):
    found = passing.passings(record)
    assert [(item.what, item.way) for item in found] == [
        ("pump_box", "0.5 m off the straight one"), ("pump_box", "straight"),
    ]  # fmt: skip
    assert all(item.margin_m >= 0.0 and not item.touch for item in found)
    (told,) = [item for item in grasp.check(record) if item.other == "by_hand"]
    assert str(told.verdict) == "pass"
    assert told.message.startswith("the tightest of 2 times pump_box goes 1.74 m from hand to hand or tether; on the w")
    assert told.value == found[1].lower_m and told.limit == found[1].required_m


def test_distances_along_a_way_never_fall_below_what_is_proven(record):
    event = next(e for e in record.events if e.what == "pump_box" and passing.by_hand(record, e))
    between = passing._Between(record, event)
    for way in list(between.ways())[:12]:
        found = between.proven(way)
        share = np.linspace(0.0, len(way.points) - 1.0, 200)
        rows = np.column_stack([np.interp(share, range(len(way.points)), column)
                                for column in (*way.points.T, way.turned)])  # fmt: skip
        tree = between._tree
        places = forward(tree, rows, [body.link for body in tree.bodies]) @ np.stack([b.pose for b in tree.bodies])
        apart = distances([body.shape for body in tree.bodies], places, between._pairs).upper_m
        least = (apart.min(axis=0) - between._required).min()
        assert found.touch or least >= found.margin_m - 1e-9
        assert least <= found.margin_m + 0.02 or least <= 1e-9  # and it is no idle bound


def test_where_no_way_keeps_clear_the_best_one_is_told(record, monkeypatch):
    monkeypatch.setattr(passing, "OFF_M", ())
    found = passing._passings(record)
    assert found[0].margin_m == pytest.approx(0.5614 - 0.6, abs=1e-3)
    monkeypatch.setattr(grasp, "passings", lambda _: found)
    told = [item for item in grasp.check(record) if item.other == "by_hand"]
    assert [str(item.verdict) for item in told] == ["fail", "pass"]
    assert "pump_box goes 1.82 m from hand to hand; on the best of " in told[0].message
    words = " straight, its case comes as near to platform/rail_keel_port_11 as 0.561 m; 0.600 m is asked"
    assert told[0].message.endswith(words)
    assert found[0].other in told[0].remedy
    touching = replace(found[0], touch=True, lower_m=-np.inf)
    monkeypatch.setattr(grasp, "passings", lambda _: (touching,))
    (told,) = [item for item in grasp.check(record) if item.other == "by_hand"]
    assert "its case touches platform/rail_keel_port_11; 0.600 m is asked" in told.message and told.value == 0.0


def test_what_is_not_moved_is_not_passed_on(record):
    assert len([e for e in record.events if e.what == "pump_box" and passing.by_hand(record, e)]) == 3
    assert all(item.apart_m > passing.NEAR_M for item in passing.passings(record))


def test_what_is_taken_and_moved_on_at_one_instant_goes_from_hand_to_hand(record):
    taken = next(e for e in record.events if e.what == "pump_box" and e.to == "ev1/hands")
    onward = replace(taken, to="ev1/chest", gap_m=0.6)
    twice = replace(record, events=(taken, onward), kept=record.ledger)
    assert [passing.by_hand(twice, event) for event in twice.events] == [False, True]
