"""Text with units: what is read, agreement with pint, what is refused, and round trips."""

import math
import re

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from armcarry.errors import QuantityError
from armcarry.quantities import KINDS, LARGEST, UNITS, clock, describe, parse, rounded_down, show, write

GOOD = [
    ("0.6 m", "length", 0.6),
    ("600mm", "length", 0.6),
    (" 2 ft ", "length", 0.6096),  # 1 ft = 0.3048 m exactly (international foot, 1959)
    ("-3 in", "length", -0.0762),
    ("1e-2 km", "length", 10.0),
    ("15 deg", "angle", math.pi / 12),
    (".5 rad", "angle", 0.5),
    ("90 s", "time", 90.0),
    ("30 min", "time", 1800.0),
    ("1.5 h", "time", 5400.0),
    ("1:30", "time", 5400.0),
    ("1:30:15", "time", 5415.0),
    ("0:00:01.5", "time", 1.5),
    ("-0:10", "time", -600.0),
    ("120 kg", "mass", 120.0),
    ("100 lb", "mass", 45.359237),  # 1 lb = 0.45359237 kg exactly (same agreement)
    ("0.1 m/s", "speed", 0.1),
    ("20 ft/min", "speed", 0.1016),
    ("2 deg/s", "angular_speed", math.pi / 90),
    ("1 m/s^2", "acceleration", 1.0),
    ("1 deg/s^2", "angular_acceleration", math.pi / 180),
    ("125 lbf", "force", 125 * 4.4482216152605),  # 1 lbf = 4.4482216152605 N exactly
    ("10 N*m", "torque", 10.0),
    ("10 ft*lbf", "torque", 13.558179483314),
    ("50 %", "fraction", 0.5),
    ("0.25", "fraction", 0.25),
    (0.25, "fraction", 0.25),
    (1, "fraction", 1.0),
]


@pytest.mark.parametrize(("text", "kind", "value"), GOOD, ids=[f"{text}" for text, _, _ in GOOD])
def test_what_is_read(text, kind, value):
    assert parse(text, kind) == pytest.approx(value, rel=1e-9, abs=0)


REFUSED = [
    (
        "3",
        "length",
        "a bare number, the unit is missing; found '3'; accepted: a length with its unit (m, mm, cm, km, ft, in)",
    ),
    (
        3.5,
        "length",
        "a bare number, the unit is missing; found 3.5; accepted: a length with its unit (m, mm, cm, km, ft, in)",
    ),
    (True, "length", "not a quantity; found True; accepted: a length with its unit (m, mm, cm, km, ft, in)"),
    (None, "angle", "not a quantity; accepted: an angle with its unit (deg, rad)"),
    ("", "angle", "not a quantity; found ''; accepted: an angle with its unit (deg, rad)"),
    ("deg", "angle", "not a quantity; found 'deg'; accepted: an angle with its unit (deg, rad)"),
    ("nan m", "length", "not a quantity; found 'nan m'"),
    ("inf m", "length", "not a quantity; found 'inf m'"),
    ("1,5 m", "length", "not an accepted unit; found '1,5 m'"),
    ("1 m" + " " * 100_000 + "x", "length", "not a quantity; found '1 m "),
    ("1 2 m", "length", "not an accepted unit; found '1 2 m'"),
    ("3 kg", "length", "not an accepted unit; found '3 kg'; accepted: a length with its unit (m, mm, cm, km, ft, in)"),
    ("3 m", "angle", "not an accepted unit; found '3 m'; accepted: an angle with its unit (deg, rad)"),
    ("3 parsnips", "length", "not an accepted unit; found '3 parsnips'"),
    ("1 __import__('os')", "length", "not an accepted unit"),
    ("1 " + "m*" * 30 + "m", "length", "not an accepted unit"),
    ("1 m^9999999", "length", "not an accepted unit"),
    ("1e300 m", "length", "too large to be meant; found '1e300 m'"),
    (
        "9e14 s",
        "time",
        "too large to be meant; found '9e14 s'; accepted: a time with its unit (s, min, h, ms), at most 1e+07 s",
    ),
    ("1e999 m", "length", "too large to be meant; found '1e999 m'"),
    ("1:60", "time", "not an accepted unit; found '1:60'; accepted: a time with its unit (s, min, h, ms)"),
    ("1:30", "length", "not an accepted unit; found '1:30'"),
    (
        "50 percent",
        "fraction",
        "not an accepted unit; found '50 percent'; accepted: a share (% or a plain number between 0 and 1)",
    ),
    (float("nan"), "fraction", "not a quantity; found 'nan'"),
]


@pytest.mark.parametrize(("text", "kind", "message"), REFUSED, ids=[repr(text)[:30] for text, _, _ in REFUSED])
def test_what_is_refused(text, kind, message):
    with pytest.raises(QuantityError) as caught:
        parse(text, kind)
    assert str(caught.value).startswith(message)


@given(st.floats(-1, 1), st.sampled_from(sorted(KINDS)))
def test_written_text_gives_back_the_same_value(share, kind):
    value = share * LARGEST[kind]
    assert parse(write(value, kind), kind) == value


@pytest.mark.parametrize("kind", list(KINDS))
def test_every_unit_that_is_read_has_the_size_that_pint_gives_it(kind):
    registry = pint.UnitRegistry()
    assert set(KINDS[kind][1].split(", ")) <= set(UNITS[kind]) or kind == "fraction"
    for unit, size in UNITS[kind].items():
        assert size == pytest.approx(registry.Quantity(1.0, unit).to(KINDS[kind][0]).magnitude, rel=1e-14)


@pytest.mark.parametrize("unit", ["s*9^9^9", "s*9**9**9", "s*" + "9^" * 9 + "9", "s**9**9**9", "s*(1+1)", "9 s", "s/9"])
def test_nothing_in_a_quantity_is_computed(unit):
    with pytest.raises(QuantityError, match=r"^not an accepted unit; found '1 "):
        parse(f"1 {unit}", "time")


@pytest.mark.parametrize("kind", list(KINDS))
def test_no_quantity_is_beyond_all_use(kind):
    most, unit = LARGEST[kind], KINDS[kind][0]
    assert parse(f"{most!r} {unit}", kind) == most
    told = re.escape(f"at most {most:g} {unit}".strip())
    with pytest.raises(QuantityError, match=rf"^too large to be meant; .* {told}$"):
        parse(f"{-1.1 * most!r} {unit}", kind)
    with pytest.raises(ValueError, match="too large to be read again cannot be written"):
        write(1.1 * most, kind)


def test_a_clock_beyond_all_use_is_refused():
    for text in ("9" * 9 + ":00", "9" * 10 + ":00", "9" * 400 + ":00"):
        with pytest.raises(QuantityError):
            parse(text, "time")


@given(st.integers(-3600, 3600), st.sampled_from(["angle", "angular_speed", "angular_acceleration"]))
def test_tenths_of_degrees_are_written_as_people_write_them(tenths, kind):
    unit = KINDS[kind][0].replace("rad", "deg")
    text = write(parse(f"{tenths / 10:g} {unit}", kind), kind)
    assert text == f"{tenths / 10:g} {unit}".replace("-0 ", "0 ")


def test_what_is_not_finite_cannot_be_written():
    for value in (math.inf, math.nan):
        with pytest.raises(ValueError, match="a length that is not finite cannot be written"):
            write(value, "length")


def test_values_for_people():
    assert show(0.5, "length") == "0.500 m"
    assert show(math.pi, "angle", 1) == "180.0 deg"
    assert show(math.pi / 90, "angular_speed", 2) == "2.00 deg/s"
    assert show(0.25, "fraction", 2) == "0.25"
    assert show(90.0, "time") == "0:01:30.0"
    assert describe("force") == "a force with its unit (N, kN, lbf)"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0:00:00.0"),
        (5.04, "0:00:05.0"),
        (59.96, "0:01:00.0"),
        (61.26, "0:01:01.3"),
        (599.94, "0:09:59.9"),
        (3599.94, "0:59:59.9"),
        (3599.96, "1:00:00.0"),
        (3661.6, "1:01:01.6"),
        (-90.0, "-0:01:30.0"),
        (-0.01, "0:00:00.0"),
        (86400.0, "24:00:00.0"),
        (math.nan, "unknown"),
        (math.inf, "unknown"),
    ],
)
def test_clock(seconds, text):
    assert clock(seconds) == text


@given(st.floats(-1e6, 1e6), st.integers(0, 3))
def test_a_clock_is_read_back_within_its_last_digit(seconds, digits):
    assert abs(parse(clock(seconds, digits), "time") - seconds) <= 0.51 * 10.0**-digits


@pytest.mark.parametrize(
    ("value", "digits", "wanted"),
    [(0.1399, 3, 0.139), (0.3, 3, 0.3), (0.1 + 0.2, 3, 0.3), (2.9995, 3, 2.999), (-0.0121, 3, -0.013), (48.6, 0, 48.0),
     (float("-inf"), 3, float("-inf")), (float("inf"), 0, float("inf"))],
)  # fmt: skip
def test_a_lower_bound_is_written_no_larger_than_it_is(value, digits, wanted):
    assert rounded_down(value, digits) == wanted
