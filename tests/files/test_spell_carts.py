"""Carts in a day by intent: from where they are pushed, what is loosened for it, and who rolls before whom."""

import pytest

from armcarry.errors import InputError
from armcarry.files.found import FORMAT, found_of, write_found
from armcarry.files.load import load_scenario
from armcarry.files.rail_order import RailOrder

HEAD = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: -6 m}
carts: {cart_1: 15.6 m, cart_2: 13 m}
restraint: {settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
hardware:
  rail_cart_1: {model: rail_cart, at: platform/cart_1_seat}
  rail_cart_2: {model: rail_cart, at: platform/cart_2_seat}
day:
  steps:
    - go_out: [ev1, ev2]
"""
ON = "board: {who: ev1, at: porch}"


def _written(tmp_path, steps, head=HEAD):
    path = tmp_path / "day.yaml"
    path.write_text(head + "".join(f"    - {step}\n" for step in steps))
    return path


@pytest.fixture
def steps(tmp_path):
    """Return a function that loads a day of these steps and returns its long form's, by name."""

    def load(*said):
        return {step.name: step for step in load_scenario(_written(tmp_path, said)).scenario.day.steps}

    return load


def test_a_cart_is_pushed_from_handrail_to_handrail_as_far_as_it_stays_within_reach(steps):
    found = steps("take_along: {cart: cart_2, to: 2 m, by: ev2}")
    way = [step.translate.to if step.translate else step.move_cart.to for step in found.values() if step.hatch is None]
    ends, stations = way[::2], way[1::2]
    assert ends == [f"platform/keel_port_{k}_to" for k in (9, 8, 7)]  # 11.25 m, 7.5 m, 3.75 m
    assert stations[-1] == 2.0 and stations == sorted(stations, reverse=True)
    # a cart is 1.3 m long and reach 2.09 m: no push leaves it farther than that beside who pushes it
    for at, before, after in zip((11.25, 7.5, 3.75), [13.0, *stations], stations, strict=False):
        assert max(abs(before - at), abs(after - at)) < 2.3


def test_who_reaches_a_cart_to_its_end_stays_where_they_are(steps):
    found = steps("go: {who: ev2, to: platform/keel_port_10_to}", "take_along: {cart: cart_1, to: 14.4 m, by: ev2}")
    assert [step.translate.to for step in found.values() if step.translate] == ["platform/keel_port_10_to"]


def test_what_is_made_fast_on_a_cart_is_loosened_first_as_far_as_it_is_tight(steps):
    found = steps("take_along: {cart: cart_1, to: 14.4 m, by: ev2, bolts: 2}")
    assert [step.kind for step in found.values()][2:] == ["bolt", "move_cart", "bolt"]
    assert [(step.bolt.count, step.bolt.make) for step in found.values() if step.bolt] == [(2, "loose"), (2, "tight")]
    loosen = "{actors: [ev2], bolt: {what: rail_cart_1, count: 1, make: loose}}"
    push = "take_along: {cart: cart_1, to: 14.4 m, by: ev2, bolts: 2}"
    found = steps("go: {who: ev2, to: rail_cart_1}", loosen, push)
    counted = [(step.bolt.count, step.bolt.make) for step in found.values() if step.bolt]
    assert counted == [(1, "loose"), (1, "loose"), (2, "tight")]
    found = steps(push.replace("bolts: 2", "bolts: 4"))  # one of four stays, else nobody would hold it
    assert [(step.bolt.count, step.bolt.make) for step in found.values() if step.bolt] == [(3, "loose"), (3, "tight")]


def test_a_cart_that_nobody_reaches_from_a_handrail_is_told_with_the_nearest(tmp_path):
    head = HEAD.replace("crew: {ev1: {posture", "crew: {ev1: {size: small, posture")
    with pytest.raises(InputError) as caught:
        load_scenario(_written(tmp_path, ["take_along: {cart: cart_2, to: 2 m, by: ev1}"], head))
    assert "day.yaml:17: cart_2 at 13.000 m is beyond reach of ev1 from every handrail" in str(caught.value)
    assert "at: another place" in str(caught.value) and "keel_port_" in str(caught.value)


def test_the_base_waits_for_a_cart_that_is_pushed_out_of_its_way_and_a_cart_for_the_base(tmp_path):
    path = _written(tmp_path, [ON, "take_along: {cart: cart_2, to: 14.2 m, by: ev2}", "ride: {to: rail_bow}",
                               "take_along: {cart: cart_2, to: 12 m, by: ev2}", "ride: {to: bay_3}",
                               "{name: back, take_along: {cart: cart_2, to: 11 m, by: ev2}}"])  # fmt: skip
    digest = load_scenario(path).beside.digest
    stations = [None, "11.6 m", "-6 m"]
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "stations": stations}))
    found = {step.name: step for step in load_scenario(path).scenario.day.steps}
    assert "push_cart_2" in found["base"].after  # it stood at 13 m, where the base rolls
    pushes = [step for step in found.values() if step.move_cart is not None]
    assert "base" in pushes[1].after and "base_2" in pushes[-1].after


def test_only_who_took_up_the_same_stretch_is_waited_for(tmp_path):
    platform = load_scenario(_written(tmp_path, [ON])).platform.document
    rail = RailOrder(platform, "trolley")
    rail.rolls("push", "cart_1", 4.0, 10.0)
    assert rail.waits_for("trolley", 0.0, 2.0) == [] and rail.waits_for("trolley", 0.0, 3.0) == ["push"]
    assert rail.waits_for("cart_1", 10.0, 4.0) == []  # its own order is that of who pushes it
    rail.rolls("again", "cart_1", 10.0, 12.0)
    assert rail.waits_for("trolley", 0.0, 9.0) == ["again"]


def test_a_base_that_was_found_rolls_in_the_time_of_its_mount(tmp_path):
    head = HEAD.replace("base: {mount: trolley, station: -6 m}\n", "")
    path = _written(tmp_path, [ON, "ride: {to: bay_3}"], head)
    digest = load_scenario(path).beside.digest
    write_found(found_of(path, {"format": FORMAT, "title": "t", "script": digest, "stations": ["-6 m", "-8 m"],
                                "base": {"mount": "trolley", "station": "-6 m"}}))  # fmt: skip
    loaded = load_scenario(path)
    (base,) = [step for step in loaded.scenario.day.steps if step.move_base is not None]
    assert base.takes == loaded.platform.document.mounts["trolley"].rolling
