"""People change places within reach or are told, and hold a restraint clear of all in the hands."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.planning import exchanges
from armcarry.planning.climbs import Room
from armcarry.planning.exchanges import Exchanges
from armcarry.planning.restraint_places import SPARE_M
from armcarry.planning.stops import plate_at, stops_of
from armcarry.planning.taking import Taking
from armcarry.planning.trial import Base
from armcarry.scene.build import build_scene

DAY = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: -6 m}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
restraint: {at: platform/bay_7_socket, settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
day:
  steps:
    - go_out: [ev1, ev2]
    - fit: {who: ev1}
    - swap: {off: ev1, on: ev2, at: bay_3}
    - swap: {off: ev2, on: ev1, at: bay_10}
"""


@pytest.fixture(scope="module")
def asked(tmp_path_factory):
    """Return scene, what is open, and the stops of the arm."""
    path = tmp_path_factory.mktemp("exchanges") / "own.yaml"
    path.write_text(DAY)
    scene = build_scene(load_scenario(path))
    left = scene.loaded.beside.open
    return scene, left, stops_of(scene, left.visits)


def _found(asked, number):
    scene, left, stops = asked
    one = replace(left, exchanges=left.exchanges[number : number + 1])
    return Exchanges(scene, one, stops, [Base("trolley", -6.0), Base("trolley", 4.0)], lambda words: None)


def test_a_restraint_is_turned_to_be_clear_of_the_seat_while_it_is_in_the_hands(asked, monkeypatch):
    monkeypatch.setattr(Exchanges, "_stood", lambda self, exchange, stop: {})
    found = _found(asked, 0)
    assert (found.places, found.lacking_m) == ([{"held": {"pitch": "120 deg"}}], 0.0)
    assert found.told == ["own.yaml:14 (fit: {who: ev1}): the restraint is held with pitch 120 deg: else it meets "
                          "something in the hands"]  # fmt: skip


def test_people_who_reach_the_plate_from_its_own_handrail_change_places_there(asked):
    found = _found(asked, 1)
    assert (found.places, found.told, found.lacking_m) == ([None], [], 0.0)


@pytest.mark.long
def test_where_nobody_can_change_places_the_shortfall_and_another_worksite_are_told(asked):
    found = _found(asked, 2)
    assert found.places == [None] and found.lacking_m > 0.0
    assert "own.yaml:16 (swap: {" in found.explained()[0] and "no way to change places at bay_10" in found.told[0]


@pytest.mark.parametrize(("pitch_deg", "does"), [(90.0, True), (150.0, False)])
def test_settings_are_compared_with_the_way_onto_the_plate(asked, pitch_deg, does):
    scene, left, stops = asked
    stop = next(one for one in stops if any(climb.step == "ev2_gets_on" for climb in one.climbs))
    taking = Taking(scene, {"pitch": np.radians(pitch_deg)})
    plate = plate_at(scene, left.visits[stop.visit], stop)
    rooms = dict(taking.rooms_to_climb(stop, Base("trolley", -6.0), plate))
    assert (min(room.spare_m for room in rooms.values()) >= 0.0) == does


def test_who_walks_to_the_plate_or_away_while_the_arm_is_there_is_looked_at_with_it(asked):
    _, _, stops = asked
    fit = next(one for one in stops if any(climb.step == "ev1_gets_on" for climb in one.climbs))
    assert [(climb.step, climb.way is None) for climb in fit.climbs] == [("ev1_to_bay_7", False), ("ev1_gets_on", True)]
    # with the arm all the way in, not where it has backed off to by the end of what is led from there
    (off,) = (one for one in stops if any(climb.step == "ev1_gets_off" for climb in one.climbs))
    for stop, moves in ((fit, 2), (off, 2)):
        assert {climb.after for climb in stop.climbs} == {1} and len(stop.tail) == moves


def test_only_handrails_with_some_reach_to_spare_are_offered(asked, monkeypatch):
    scene, left, stops = asked
    found = Exchanges(scene, replace(left, exchanges=()), stops, (), lambda words: None)
    climb = SimpleNamespace(who="ev1", off=True)
    swap = SimpleNamespace(exchange=left.exchanges[1])
    first, last = "platform/keel_port_3_from", "platform/keel_port_3_to"
    beyond = {first: -SPARE_M + 0.01, last: -SPARE_M}
    monkeypatch.setattr(found, "_place", lambda who, frame: frame)
    monkeypatch.setattr(found, "_beyond_m", lambda climb, frame, plate: beyond.get(frame, 1.0))
    monkeypatch.setattr(exchanges, "_apart_m", lambda here, there: 9.0)
    assert found._within_reach(swap, climb, None) == [(last, last)]


def test_what_no_setting_keeps_clear_in_the_hands_is_told_with_what_it_lacks(asked, monkeypatch):
    monkeypatch.setattr(Exchanges, "_stood", lambda self, exchange, stop: {})
    monkeypatch.setattr(Exchanges, "_in_hands", lambda self, exchange, said, stop: Room(-0.2, "a and b"))
    found = _found(asked, 0)
    assert found.lacking_m == 0.0 and found.places == [None]  # other settings would lack as much
    assert found.told == ["own.yaml:14 (fit: {who: ev1}): no way to hold the restraint in the hands, in whatever "
                          "setting: a and b come 0.20 m too near one another; write at: another worksite, or what is "
                          "in the way elsewhere by then"]  # fmt: skip


def test_another_socket_where_the_restraint_is_clear_in_the_hands_is_told(asked, monkeypatch):
    monkeypatch.setattr(Exchanges, "_stood", lambda self, exchange, stop: {})
    monkeypatch.setattr(Exchanges, "_in_hands", lambda self, exchange, said, stop: (
        Room(0.1) if exchange.at == "bay_3" else Room(-0.2, "a and b")))  # fmt: skip
    assert "write restraint: {at: platform/bay_3_socket}" in _found(asked, 0).told[0]


def test_the_arm_stands_beside_its_place_where_who_fits_the_restraint_would_meet_it(asked, monkeypatch):
    monkeypatch.setattr(Exchanges, "_in_hands", lambda self, exchange, said, stop: Room())
    lacks = {"m": 0.4}
    monkeypatch.setattr(Exchanges, "_arm_lacks", lambda self, stop, site: (
        (lacks["m"], "arm/hand_cup and ev1/boot_left") if stop in self.stops else (0.0, "")))  # fmt: skip
    found = _found(asked, 0)
    (place,) = found.places
    assert np.abs([float(one.split()[0]) for one in place["shift"]]).sum() == pytest.approx(0.3)
    assert found.lacking_m == 0.0 and "beside its place: else arm/hand_cup and ev1/boot_left" in found.told[0]
    lacks["m"] = 0.0
    assert _found(asked, 0).places == [None]
    monkeypatch.setattr(Exchanges, "_arm_lacks", lambda self, stop, site: (0.3, "arm/hand_cup and ev1/boot_left"))
    found = _found(asked, 0)
    assert found.places == [None] and found.lacking_m == pytest.approx(0.3)
    assert found.told[0].endswith("no way to fit the restraint at bay_7, with the plate beside its place: arm/hand_cup "
                                  "and ev1/boot_left come 0.30 m too near one another; write at: another worksite")
