"""The demo day: a day of about six hours, what a slip leaves out, and what swapped steps break.

That it gives the verdicts it states is tested with the other scenarios.
"""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from armcarry.asked.zones import granted
from armcarry.checks import custody, schedule
from armcarry.files.load import load_scenario
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline.day_run import run_day

DAY = Path(__file__).resolve().parents[2] / "scenarios" / "day_at_tern_yard.yaml"


@pytest.fixture(scope="module")
def record():
    """Return the day without its clearances, which nothing here asks for."""
    scene = build_scene(load_scenario(DAY))
    run = run_day(scene)
    return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls)


def test_it_is_a_day_of_about_six_hours_for_two_workers_and_the_arm(record):
    plan = record.plan
    assert 5.75 * 3600 < plan.schedule.end_s < 6.5 * 3600
    assert {actor for slot in plan.schedule.slots for actor in slot.actors} == {"arm", "ev1", "ev2"}
    assert record.duration_s == pytest.approx(plan.schedule.end_s)
    assert plan.schedule.dropped == ()
    assert "blanket_lace" not in plan.schedule.tasks_done()


def test_its_smaller_clearances_are_all_granted_by_places_to_whoever_is_there(record):
    assert record.relaxed == ()
    spans = [(phase.tree, phase.start_s, phase.end_s) for phase in record.phases]
    found = granted(record.scene, spans, record.motion)
    assert {item.place for item in found} >= {"mast_top", "bay_3", "porch", "rack_a", "bay_7", "track", "restraint"}
    assert not any(item.pattern_a.startswith("*") for item in found)
    by_place = {item.place: {i.pattern_a.split("/")[0] for i in found if i.place == item.place} for item in found}
    assert by_place["mast_top"] == {"ev1", "restraint"}
    assert by_place["rack_a"] == {"ev2"}


def test_a_slip_leaves_out_what_time_does_not_permit(record):
    slipped = replace(record, slip={"blanket_snaps": 3600.0}).plan.schedule
    assert {d.name for d in slipped.dropped} == {"look_at_rails", "photograph"}
    assert all(use.margin_s >= 0 for use in slipped.limits)
    late = replace(record, slip={"cart_1_clamps": 3600.0})
    failed = {f.other for f in schedule.check(late) if str(f.verdict) == "fail"}
    assert failed >= {"cut_off", "oxygen"}


def test_a_blanket_that_does_not_snap_is_laced(record):
    laced = replace(record, failed=("blanket_snaps",)).plan.schedule
    assert laced.slot("blanket_lace").start_s == pytest.approx(laced.slot("blanket_snaps").end_s)


@pytest.mark.parametrize(
    ("first", "second", "broken"),
    [
        ("camera_loose", "camera_off", {("survey_camera", "camera_off")}),
        ("box_tether", "box_loose_2", {("pump_box", "box_loose")}),  # loose before it is tethered
        ("cart_1_clamps", "cart_1_take", {("rail_cart_1", "cart_1_take")}),
        # not bolted down: it is left loose, and the hands are still on it when the arm moves
        (
            "box_in", "box_tight",
            {("pump_box", step) for step in ("box_tight", "box_tight_2", "ease_off", "back_off_4", "base_home",
                                          "ride_in")},
        ),
    ],
)
def test_swapped_steps_break_exactly_their_custody(record, first, second, broken):
    scenario = record.scene.loaded.scenario
    steps = list(scenario.day.steps)
    a, b = (next(k for k, step in enumerate(steps) if step.name == name) for name in (first, second))
    steps[a], steps[b] = steps[b], steps[a]
    day = scenario.day.model_copy(update={"steps": steps})
    loaded = replace(record.scene.loaded, scenario=scenario.model_copy(update={"day": day}))
    changed = replace(record, scene=replace(record.scene, loaded=loaded))
    found = custody.check(changed)
    assert {(f.subject, f.other) for f in found if str(f.verdict) == "fail"} == broken
