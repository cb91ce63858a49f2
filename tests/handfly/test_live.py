"""What a pilot is told of bodies of the arm with one joint between: where they meet, and ahead of it."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.files.documents.rooms import Room, SwitchedOff
from armcarry.geometry import poses
from armcarry.handfly.cockpit import course_of
from armcarry.handfly.control import Command
from armcarry.handfly.flight import Flight
from armcarry.handfly.live import AHEAD_S

ALONE = """
format: armcarry scenario 1
title: Alone
purpose: the arm alone, to be folded onto its own shoulder
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
carries:
  - name: turn
    moves:
      - {one_joint: {wrist_turn: 40 deg}}
"""
#: they meet where the joint is folded so far
MEET_DEG = 112.16
POST, YOKE = "arm/shoulder_post_drum", "arm/shoulder_yoke_arm"
SWING = 1


@pytest.fixture(scope="module")
def alone(tmp_path_factory):
    path = tmp_path_factory.mktemp("alone") / "alone.yaml"
    path.write_text(ALONE)
    return course_of(path)


@pytest.fixture
def swung(alone):
    """A flight with the arm straight but for its shoulder."""
    def build(swing_deg):
        flight = Flight(alone.record.scene, alone)
        flight.pilot.position[flight.pilot.columns] = 0.0
        flight.pilot.position[flight.pilot.columns[SWING]] = np.radians(swing_deg)
        return flight

    return build


def told(read):
    """Return how much the two have to spare, of the pairs that are shown; nan where they are not shown."""
    return next((pair.margin_m for pair in read.pairs if {pair.body_a, pair.body_b} == {POST, YOKE}), np.nan)


def test_rooms_of_the_platform_are_kept_out_of_too(alone):
    scene = alone.record.scene
    tip = scene.tree.pose_of(scene.tool(scene.tree), Flight(scene, alone).pilot.position)
    keel = scene.tree.pose_of("platform/keel", scene.position)
    at = tip[:3, 3] + np.array([0.0, 0.0, 2.9])
    room = {"kind": "keep_out", "frame": "keel", "radius": "1 m", "at_least": "0.5 m",
            "position": [f"{value} m" for value in poses.apply(np.linalg.inv(keel), at).tolist()]}  # fmt: skip
    document = scene.loaded.platform.document
    for switched_off, held in ({}, True), ({"jets": SwitchedOff()}, False):
        rooms = {"dish": Room.model_validate(room | {"while_on": "jets"})}
        platform = replace(scene.loaded.platform, document=document.model_copy(update={"rooms": rooms}))
        script = scene.loaded.scenario.model_copy(update={"switched_off": switched_off})
        with_room = replace(scene, loaded=replace(scene.loaded, platform=platform, scenario=script))
        flight = Flight(with_room, alone)
        for _ in range(150):
            flight.step(Command("tip", "platform", (0.0, 0.0, 1.0)))
        read = flight.read()
        assert ("room dish/part_0" in (read.warning_pair or ())) is held
        assert not held or 0.0 < read.warning_s < AHEAD_S


@pytest.mark.parametrize("swing", [0.0, 80.0, 105.0, 110.5])
def test_neighbours_are_not_shown_while_they_are_apart(swung, swing):
    flight = swung(swing)
    read = flight.read()
    assert np.isnan(told(read)) and len(read.pairs) == 5
    assert read.closeness.margin_m == read.pairs[0].margin_m > 0.0


def test_neighbours_are_shown_first_where_they_touch(swung):
    read = swung(115.0).read()
    assert told(read) == read.pairs[0].margin_m == read.closeness.margin_m == 0.0
    assert len(read.pairs) == 5


def test_folding_a_joint_until_its_bodies_meet_is_warned_of_ahead(swung):
    flight = swung(108.0)
    for _ in range(40):
        flight.step(Command("joint", joint=SWING, share=1.0))
    read = flight.read()
    assert set(read.warning_pair) == {POST, YOKE}
    rate = float(flight.pilot.rate[SWING])
    left = np.radians(MEET_DEG) - float(flight.pilot.q[SWING])
    assert 0.5 * left / rate < read.warning_s < left / rate
    assert read.run_out_left_m < 0.1
