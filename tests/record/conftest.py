"""A short run with every kind of move, computed once."""

import pytest

from armcarry.rehearsal import judge, rehearse

SHORT = """
format: armcarry scenario 1
title: Short
purpose: every kind of move once
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
appendages: {radiator_port: stowed, radiator_star: stowed, solar_wing: edge_on}
restraint: {model: foot_restraint, at: arm, settings: {roll: 0 deg, pitch: 90 deg, yaw: 0 deg}}
crew:
  ev1: {posture: carry, at: arm}
hardware:
  pump_box: {model: pump_box, at: ev1/hands}
carries:
  - name: short
    moves:
      - {hold: 2 s, say: Ready}
      - {one_joint: {elbow_bend: 100 deg}, say: Elbow}
      - {posture: {who: ev1, posture: neutral, over: 4 s}}
      - {line: {frame: platform/keel, by: [0 m, 0 m, 0.2 m]}, name: up}
      - {appendage: {solar_wing: level}, name: wing}
      - name: leave
        detach: {what: pump_box, to: platform/keel}
      - {hold: 3 s}
"""


@pytest.fixture(scope="session")
def short_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("short") / "short.yaml"
    path.write_text(SHORT)
    return path


@pytest.fixture(scope="session")
def short_run(short_path):
    record = rehearse(short_path)
    return record, judge(record)
