"""The vehicle comes in during the day: it is where its step has it, and clearances follow."""

from __future__ import annotations

import numpy as np
import pytest

from armcarry.errors import InputErrors
from armcarry.files.load import load_scenario
from armcarry.proving.proof import prove_run
from armcarry.scene.build import build_scene
from armcarry.timeline.day_run import run_day

COMES = """
vehicle: docked
vehicle_from: FROM
crew: {ev1: {posture: carry, at: platform/rack_a_stand}}
"""
DOCK = "name: dock, actors: [operator], move_vehicle: {to: docked}, takes: 10 min"
AWAY = "name: away, actors: [operator], move_vehicle: {to: [20 m, 0 m, 0 m]}, takes: 10 min"
REST = "name: rest, actors: [ev1], note: hold, takes: 25 min"


def place(record, time_s):
    dock = record.scene.loaded.platform.document.vehicle_dock
    tree, links = record.link_poses(time_s)
    root = record.scene.tree.mounting("vehicle").model.links[-1]
    at = links[tree.index(f"platform/{dock}")]
    return np.linalg.inv(at) @ links[tree.index(f"vehicle/{root}")]


def test_the_vehicle_comes_in_and_goes_while_somebody_does_something_else(record_of, failures):
    record = record_of(COMES.replace("FROM", "[30 m, 2 m, 0 m]"), [DOCK, AWAY, REST], ["operator"])
    assert failures(record) == []
    docked = place(record, 600.0)
    moved = [(place(record, time)[:3, 3] - docked[:3, 3]).tolist() for time in (0.0, 300.0, 1200.0)]
    np.testing.assert_allclose(moved, [[30.0, 2.0, 0.0], [15.0, 1.0, 0.0], [20.0, 0.0, 0.0]], atol=1e-9)
    assert record.plan.schedule.slot("rest").start_s == 0.0


@pytest.mark.parametrize(("start", "meets"), [("[30 m, 0 m, 0 m]", False), ("[-30 m, 0 m, 0 m]", True)])
def test_clearances_follow_the_vehicle(script, start, meets):
    steps = [DOCK, "name: rest, actors: [ev1], note: hold, takes: 1 min"]
    scene = build_scene(load_scenario(script(COMES.replace("FROM", start), steps, ["operator"])))
    rows, _ = prove_run(scene, run_day(scene))
    touched = {row.body_a for row in rows if row.body_b.startswith("vehicle/") and row.status == "contact"}
    assert bool(touched) == meets  # from behind its dock it comes through the platform
    assert not meets or any(name.startswith("platform/") for name in touched)


def test_no_vehicle_comes_where_there_is_none(script):
    with pytest.raises(InputErrors, match="this scenario has no vehicle") as caught:
        body = COMES.replace("vehicle: docked\n", "").replace("FROM", "[1 m, 0 m, 0 m]")
        load_scenario(script(body, [DOCK, REST], ["operator"]))
    assert "accepted: vehicle: docked" in str(caught.value)
