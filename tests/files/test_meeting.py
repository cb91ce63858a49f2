"""Hands meet the handhold of what is fetched and placed, whatever the size and posture of who rides."""

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.scene.build import build_scene

HEAD = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {{mount: trolley, station: -6 m}}
carts: {{cart_1: 13 m}}
restraint: {{settings: {{pitch: 90 deg}}}}
crew: {{ev1: {{size: {size}, posture: {posture}, at: inside}}}}
hardware:
  pump_box: {{model: pump_box, at: platform/rack_a_seat, fasteners: {{cover: closed}}}}
  rail_cart_1: {{model: rail_cart, at: platform/cart_1_seat}}
day:
  steps:
    - go_out: [ev1]
    - board: {{who: ev1, at: porch}}
"""
BRING = "bring: {what: pump_box, to: bay_7}"


def _loaded(tmp_path, step, size="medium", posture="carry"):
    path = tmp_path / "day.yaml"
    path.write_text(HEAD.format(size=size, posture=posture) + f"    - {step}\n")
    return load_scenario(path)


def _ends(loaded, carry):
    """Return where the lines of a carry end, in the frame of the stand."""
    moves = next(one.moves for one in loaded.scenario.carries if one.name == carry)
    return [np.array(move.line.to) for move in moves if move.line is not None]


@pytest.mark.parametrize("size", ["small", "large"])
def test_the_plate_stands_where_the_hands_of_any_size_meet_the_handhold(tmp_path, size):
    loaded = _loaded(tmp_path, BRING, size)
    scene = build_scene(loaded)
    tree, position = scene.tree, scene.position
    for carry, site in (("in_to_rack_a", "rack_a"), ("to_bay_7", "bay_7")):
        hands = tree.pose_of("ev1/hands", position, relative_to="ev1/boots")
        handhold = tree.pose_of("pump_box/handhold", position, relative_to="pump_box/base")
        at_seat = tree.pose_of(f"platform/{site}_seat", position, relative_to=f"platform/{site}_stand") @ handhold
        np.testing.assert_allclose(_ends(loaded, carry)[-1] + hands[:3, 3], at_seat[:3, 3], atol=2e-3)


def test_who_is_of_the_stated_size_stands_where_the_way_in_ends(tmp_path):
    loaded = _loaded(tmp_path, BRING)
    np.testing.assert_allclose(_ends(loaded, "to_bay_7")[-1], loaded.platform.document.worksites["bay_7"].way_in[-1])


def test_beside_a_cart_that_stands_elsewhere_the_plate_stands_beside_its_place(tmp_path):
    loaded = _loaded(tmp_path, "fetch: {what: rail_cart_1, at: rail_bow}")
    # the place is for a cart at 15.6 m: y of its stand points along the rail
    assert _ends(loaded, "to_rail_bow")[-1][1] == pytest.approx(-2.6, abs=5e-3)
    took = next(step for step in loaded.scenario.day.steps if step.take is not None)
    assert took.at is None  # its work points are not there


def test_a_shift_that_the_script_says_stays(tmp_path):
    loaded = _loaded(tmp_path, "fetch: {what: rail_cart_1, at: rail_bow, shift: [0 m, -2.5 m, 0 m]}", "large")
    assert _ends(loaded, "to_rail_bow")[-1][1] == pytest.approx(-2.5, abs=1e-9)
