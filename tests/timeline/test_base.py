"""Trolley travel between carts, and the cart that blocks."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.errors import FrameError, InputError
from armcarry.timeline.base import Rail, RailCart, Travel

RAIL = Rail(-20.0, 20.0, RailCart(0.0, 1.0), {"cart_a": RailCart(-6.0, 0.8), "cart_b": RailCart(9.0, 0.8)})


def test_the_trolley_goes_from_cart_to_cart():
    assert RAIL.travel() == Travel(pytest.approx(-4.2), pytest.approx(7.2), "cart_a", "cart_b")
    assert RAIL.travel("cart_a") == Travel(pytest.approx(-19.2), pytest.approx(-1.8), "rail_end", "trolley")


def test_a_refusal_names_the_cart_and_how_far_it_gets():
    same, refusal = RAIL.roll("trolley", 12.0)
    assert same is RAIL
    assert refusal.message == (
        "trolley cannot stand at 12.00 m on the rail: cart_b blocks it; it gets to 7.20 m"
    )
    _, refusal = RAIL.roll("cart_a", -20.0)
    assert "the end of the rail blocks it; it gets to -19.20 m" in refusal.message


def test_moving_a_cart_changes_the_limit():
    moved, refusal = RAIL.roll("cart_b", 19.0)
    assert refusal is None
    assert moved.travel().upper_m == pytest.approx(17.2)
    there, refusal = moved.roll("trolley", 12.0)
    assert refusal is None
    assert there.trolley.station_m == 12.0


def test_carts_do_not_pass_one_another_but_can_be_lifted_round():
    _, refusal = RAIL.roll("cart_a", 5.0)
    assert refusal.blocked_by == "trolley"
    lifted = RAIL.lift("cart_a")
    assert lifted.travel() == Travel(pytest.approx(-19.0), pytest.approx(7.2), "rail_end", "cart_b")
    down, refusal = lifted.set_down("cart_a", 5.0)
    assert refusal is None
    assert down.travel().upper_by == "cart_a"
    assert down.overlaps() == ()


def test_a_cart_is_not_set_down_where_something_stands():
    lifted = RAIL.lift("cart_a")
    same, refusal = lifted.set_down("cart_a", 8.5)
    assert same is lifted
    assert (refusal.blocked_by, refusal.reaches_m) == ("cart_b", pytest.approx(7.4))
    assert lifted.set_down("cart_a", 25.0)[1].blocked_by == "rail_end"


def test_overlaps_are_seen():
    assert Rail(0, 20, RailCart(5, 1), {"c": RailCart(6, 0.5)}).overlaps() == (("trolley", "c"),)
    assert Rail(0, 20, RailCart(5, 1), {"c": RailCart(6.5, 0.5)}).overlaps() == ()


def test_unknown_carts_are_refused():
    with pytest.raises(FrameError, match="no cart on the rail named 'cart_c'"):
        RAIL.roll("cart_c", 1.0)
    with pytest.raises(FrameError, match="no cart on the rail named 'cart_c'"):
        RAIL.lift("cart_c")
    with pytest.raises(InputError, match="cart_a is not lifted off the rail; accepted: none is"):
        RAIL.set_down("cart_a", 1.0)


ACTIONS = st.lists(
    st.tuples(st.sampled_from(["trolley", "cart_a", "cart_b"]), st.sampled_from(["roll", "lift", "down"]),
              st.floats(-25, 25)),
    max_size=25,
)


@given(ACTIONS)
@settings(max_examples=150, deadline=None)
def test_no_sequence_makes_things_overlap_or_leave_the_rail(actions):
    rail = RAIL
    for what, verb, to in actions:
        if verb == "roll" and what not in rail.lifted:
            order = sorted(rail._things(), key=lambda name: rail._things()[name].station_m)
            rail, _ = rail.roll(what, to)
            assert sorted(rail._things(), key=lambda name: rail._things()[name].station_m) == order
        elif verb == "lift" and what in rail.carts:
            rail = rail.lift(what)
        elif verb == "down" and what in rail.lifted:
            rail, _ = rail.set_down(what, to)
        assert rail.overlaps() == ()
        assert set(rail.carts) | set(rail.lifted) == {"cart_a", "cart_b"}
        for thing in rail._things().values():
            assert thing.station_m - thing.half_length_m >= -20 - 1e-9
            assert thing.station_m + thing.half_length_m <= 20 + 1e-9
