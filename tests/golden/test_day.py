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
from armcarry.planning.left_open import settle
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


def test_it_is_said_in_a_third_of_what_it_took_by_hand_grants_nothing_and_expects_few_failures(record):
    text, expect = DAY.read_text(), record.scene.loaded.scenario.expect
    assert len(text) <= 15_200
    assert "relax" not in text.split("expect:")[0]
    assert sum(item.verdict == "fail" for item in expect) <= 6
    assert all(item.verdict != "fail" or "*" not in item.subject for item in expect)


def test_what_is_found_for_it_beside_it_holds_for_the_day_and_the_models_as_they_are(record):
    beside = record.scene.loaded.beside
    assert not beside.stale, "after a change of day or models: armcarry rehearse scenarios/day_at_tern_yard.yaml"
    assert beside.found.document.ways


@pytest.mark.long
def test_its_ways_past_what_stands_there_are_found_again_to_the_bit(record, tmp_path):
    path = tmp_path / DAY.name
    path.write_bytes(DAY.read_bytes())
    again = settle(path, keep=False).beside.found.data
    kept = record.scene.loaded.beside.found.data
    assert len(kept["ways"]) >= 9 and all(way["via"] or way["to_joints"] for way in kept["ways"])
    assert {key: again[key] for key in ("ways", "stations", "script")} == {
        key: kept[key] for key in ("ways", "stations", "script")
    }


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
    slipped = replace(record, slip={"blanket_snaps": 4200.0}).plan.schedule
    assert {d.name for d in slipped.dropped} == {"look_at_rails", "photograph"}
    assert all(use.margin_s >= 0 for use in slipped.limits)
    late = replace(record, slip={"rail_cart_1_bolts_loose": 3600.0})
    failed = {f.other for f in schedule.check(late) if str(f.verdict) == "fail"}
    assert failed >= {"cut_off", "oxygen"}


def test_a_blanket_that_does_not_snap_is_laced(record):
    laced = replace(record, failed=("blanket_snaps",)).plan.schedule
    assert laced.slot("blanket_lace").start_s == pytest.approx(laced.slot("blanket_snaps").end_s)


@pytest.mark.parametrize(
    ("first", "second", "broken"),
    [
        ("survey_camera_bolts_loose", "survey_camera_take", {("survey_camera", "survey_camera_take")}),
        ("pump_box_tether", "pump_box_bolts_loose", {("pump_box", "pump_box_bolts_loose")}),  # loose before tethered
        ("rail_cart_1_bolts_loose", "rail_cart_1_take", {("rail_cart_1", "rail_cart_1_take")}),
        # not bolted down: it is left loose, and the hands are still on it when the arm moves
        (
            "pump_box_seat", "pump_box_bolts_tight",
            {("pump_box", step)
             for step in ("pump_box_bolts_tight", "pump_box_seat", "off_bay_7", "base_4", "to_porch_2")},
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
