"""Short days with the demo models, and what fails in them."""

from __future__ import annotations

import pytest

from armcarry.checks import custody, grasp, schedule, tethers
from armcarry.files.load import load_scenario
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day

HEAD = """
format: armcarry scenario 1
title: faults
purpose: to test the ledger
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
"""
#: the arm holds its restraint 0.9 m before the stand of rack A
BEFORE_RACK_A = """start:
  {shoulder_turn: 42.22 deg, shoulder_swing: -5.51 deg, shoulder_lift: 76.32 deg, elbow_bend: 97.06 deg,
   wrist_lift: 90.58 deg, wrist_swing: 47.48 deg, wrist_turn: 171.83 deg}
"""


@pytest.fixture
def script(tmp_path):
    """Write a scenario of a body and steps; BEFORE_RACK_A in it stands for joint angles."""

    def write(body, steps, others=()):
        path = tmp_path / "day.yaml"
        lines = "\n".join(f"    - {{{step}}}" for step in steps)
        day = f"day:\n  others: [{', '.join(others)}]\n  steps:\n{lines}\n"
        path.write_text(HEAD + body.replace("BEFORE_RACK_A\n", BEFORE_RACK_A) + day)
        return path

    return write


@pytest.fixture
def record_of(script):
    def rehearsed(body, steps, others=()):
        scene = build_scene(load_scenario(script(body, steps, others)))
        run = run_day(scene)
        assert run.shortfalls == ()
        return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, kept=run.ledger)

    return rehearsed


@pytest.fixture
def flown(tmp_path):
    """Rehearse carries alone, without a day."""

    def rehearsed(body):
        path = tmp_path / "carry.yaml"
        path.write_text(HEAD + body.replace("BEFORE_RACK_A\n", BEFORE_RACK_A))
        scene = build_scene(load_scenario(path))
        run = run_carries(scene)
        assert run.shortfalls == ()
        return Record(scene, run.phases, run.motion, run.moves, run.events, run.relaxed, kept=run.ledger)

    return rehearsed


@pytest.fixture
def failures():
    def found(record):
        every = [finding for check in (custody, schedule, tethers, grasp) for finding in check.check(record)]
        return [(f.check, f.subject, f.message) for f in every if str(f.verdict) == "fail"]

    return found
