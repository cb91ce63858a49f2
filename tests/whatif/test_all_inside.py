"""How long until all are inside: one after another through the hatch, from any instant, and the step to change."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks import stranded
from armcarry.views.whatif_tables import homes_table
from armcarry.whatif import all_inside as module
from armcarry.whatif.all_inside import all_inside, worst_of
from armcarry.whatif.stranding import ways_back
from short_days import flown

DAY = """
format: armcarry scenario 1
title: two outside
purpose: to test ways home
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
crew: {ev1: {posture: carry, at: platform/bay_5_stand}, ev2: {posture: carry, at: platform/porch_stand}}
day:
  steps:
    - {name: look, actors: [ev1], at: bay_5, inspect: the snaps, takes: 5 min}
    - {name: far, actors: [ev1], translate: {to: bay_3}}
    - {name: work, actors: [ev1], at: bay_3, inspect: the seat, takes: 5 min}
    - {name: home, actors: [ev1], translate: {to: airlock}}
    - {name: rest, actors: [ev2], at: porch, note: waits, takes: 12 min}
    - {name: in, actors: [ev2], translate: {to: airlock}, after: [rest, home]}
    - {name: stow, actors: [ev1, ev2], note: inside, takes: 5 min}
"""
GO_IN_S = 360.0


@pytest.fixture(scope="module")
def record(tmp_path_factory):
    path = tmp_path_factory.mktemp("home") / "day.yaml"
    path.write_text(DAY)
    return flown(path)


def test_everybody_outside_has_a_way_home_all_the_time_and_nobody_inside(record):
    one, two = ways_back(record)
    slot = record.plan.schedule.slot
    assert (one.crew, two.crew) == ("ev1", "ev2")
    assert one.time_s.max() < slot("home").end_s < two.time_s.max() < slot("in").end_s
    # standing at the porch, in no restraint and with nothing in hand: along the rails, and in
    k = int(np.searchsorted(two.time_s, 60.0))
    assert two.rail_gap_m[k] == 0.0
    assert two.extra_s[k] == pytest.approx(GO_IN_S + 480.0 * (two.gap_m[k] > 0.0))
    assert two.return_time_s[k] == pytest.approx(two.way_m[k] / two.speed_m_s + two.extra_s[k])
    assert one.most_s >= one.return_time_s.max()


def test_they_go_in_one_after_another(record):
    found, (one, two) = all_inside(record), ways_back(record)
    slot, hatch = record.plan.schedule.slot, GO_IN_S
    for time_s in (60.0, slot("work").start_s + 60.0):
        k = int(np.searchsorted(found.time_s, time_s))
        first, second = sorted(
            np.interp(found.time_s[k], item.time_s, item.return_time_s) - hatch for item in (one, two)
        )
        assert found.inside_s[k] == pytest.approx(max(first + hatch, second) + hatch)
        assert found.last[k] == "ev1"
    k = int(np.searchsorted(found.time_s, slot("home").end_s + 1.0))  # ev1 is inside by now
    alone = np.interp(found.time_s[k], two.time_s, two.return_time_s)
    assert (found.inside_s[k], found.last[k]) == (pytest.approx(alone), "ev2")


def test_the_step_that_would_improve_it_most(record, monkeypatch):
    slot, found = record.plan.schedule.slot, all_inside(record)
    assert worst_of(record, found).inside_s == found.inside_s.max()
    # make the worst a spike in one step: without that step it is what the others come to
    middle = (slot("work").start_s + slot("work").end_s) / 2
    spike = replace(found, inside_s=found.inside_s + 900.0 * (abs(found.time_s - middle) < 60.0))
    worst = worst_of(record, spike)
    assert (worst.during, worst.inside_s) == ("work", pytest.approx(spike.inside_s.max()))
    outside = (found.time_s < slot("work").start_s) | (found.time_s > slot("work").end_s)
    assert worst.without_s == pytest.approx(found.inside_s[outside].max())
    assert worst.time_s == pytest.approx(middle, abs=60.0)
    assert worst.then_s == found.time_s[outside][found.inside_s[outside].argmax()]
    # no step improves what is as long before and after it: then the worst stays what it is
    flat = worst_of(record, replace(found, inside_s=np.full(len(found.time_s), 900.0)))
    assert (flat.during, flat.inside_s, flat.without_s, flat.then_s) == ("", 900.0, 900.0, flat.time_s)
    # and without the one step in which anybody is outside, nobody is
    alone = worst_of(record, replace(found, inside_s=np.where(abs(found.time_s - middle) < 60.0, 900.0, 0.0)))
    assert (alone.during, alone.without_s) == ("work", 0.0)
    monkeypatch.setattr(module, "ways_back", lambda record: ())
    assert worst_of(record, all_inside(record)) is None


def _judged(record, **rules):
    loaded = record.scene.loaded
    home = loaded.rules.way_home.model_copy(update=rules)
    changed = replace(loaded, rules=loaded.rules.model_copy(update={"way_home": home}))
    return stranded.check(replace(record, scene=replace(record.scene, loaded=changed)))


def test_what_is_told(record):
    one, two, both = _judged(record)
    assert [(str(f.verdict), f.subject, f.other) for f in (one, two, both)] == [
        ("pass", "ev1", "airlock"), ("pass", "ev2", "airlock"), ("pass", "crew", "airlock"),
    ]
    assert "the hatch; at no instant outside more than " in one.message
    assert both.limit == 2700.0
    assert both.message.startswith("all are inside with the hatch closed in 0:")
    late = _judged(record, all_inside=300.0)[-1]
    assert (str(late.verdict), late.remedy[:42]) == ("fail", "bring the workers nearer to the hatch then")
    unsaid = _judged(record, all_inside=None)[-1]
    assert (str(unsaid.verdict), unsaid.remedy) == ("not_assessed", "state all_inside in way_home of the rules")
    assert unsaid.message.endswith("; how long that may take the rules do not say")


def test_what_is_drawn_and_tabled(record):
    table = homes_table(record)
    assert [row[0] for row in table.rows] == ["ev1", "ev2", "all inside, hatch closed"]
    curves = stranded.home_curves(record)
    assert [curve.who for curve in curves] == ["ev1", "ev2", "crew"]
    from armcarry.views.whatif_plots import stranded as draw

    figure = draw(record)
    assert [axes.get_title(loc="left").split(",")[0] for axes in figure.axes] == [
        "ev1: time until inside", "ev2: time until inside", "until all are inside",
    ]
