"""Numbers in words: rounded the safe way, compared as files state them, never two equal ones in a failure."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from armcarry.quantities import parse
from armcarry.record.figures import Compared, at_least, at_most, down, near, of_finding, rate_share, reaches, up, within
from armcarry.record.finding import Finding, Verdict

FACTORS = {"m": 1.0, "mm": 1e3, "rad": math.degrees(1.0), "m/s": 1.0, "%": 100.0, "seconds": 1.0, "": 1.0}
FIGURES = st.floats(-1e3, 1e3)


def _number(text):
    return float(re.match(r"-?\d+(\.\d+)?", text)[0])


@given(FIGURES, st.sampled_from(sorted(FACTORS)))
def test_what_is_proven_is_written_no_better_than_it_is(value, unit):
    shown = value * FACTORS[unit]
    assert _number(down(value, unit)) <= shown + 1e-6
    assert _number(up(value, unit)) >= shown - 1e-6


@given(FIGURES, FIGURES | st.sampled_from([0.0, 1e-7, -1e-7, 1e-5, 3e-4]), st.sampled_from(sorted(FACTORS)),
       st.sampled_from([at_least, at_most]))
def test_the_texts_stand_as_the_verdict_says(limit, off, unit, compare):
    for value in (limit + off, off):
        found = compare(value, limit, unit)
        said, asked = _number(found.said), _number(found.asked)
        better, worse = (said >= asked, said < asked) if compare is at_least else (said <= asked, said > asked)
        assert better if found.verdict is Verdict.PASS else worse, (value, limit, found.said, found.asked)


def test_a_failure_gets_as_many_digits_as_tell_it_from_its_limit():
    found = at_least(math.radians(10.0) - 1e-6, math.radians(10.0), "rad")
    assert (found.verdict, found.said, found.asked) == (Verdict.FAIL, "9.9999 deg", "10.0000 deg")
    late = at_most(3600.02, 3600.0 - 0.01, "s")
    assert (late.said, late.asked, late.short) == ("1:00:00.02", "0:59:59.99", "0:00:00.1")


def test_exactly_the_limit_and_less_than_files_can_state_beside_it_is_kept():
    for off in (0.0, 4e-10, -4e-10, 1e-7):
        assert at_least(math.radians(10.0) - off, math.radians(10.0), "rad").verdict is Verdict.PASS
    assert at_least(math.radians(10.0) - 2e-7, math.radians(10.0), "rad").verdict is Verdict.FAIL
    assert reaches(-1e-10, 0.0) and not reaches(-1e-8, 0.0)
    assert within(1e-10, 0.0) and not within(1e-8, 0.0)


def test_what_is_known_in_a_band_fails_only_beyond_it():
    inside = at_most(0.15245, 0.1524, "m/s", slack=1e-4)
    assert (inside.verdict, inside.said, inside.asked) == (Verdict.PASS, "0.1524 m/s", "0.1524 m/s")
    assert at_most(0.15251, 0.1524, "m/s", slack=1e-4).verdict is Verdict.FAIL


@given(st.floats(1e-9, 1.0))
def test_a_rate_in_a_remedy_is_slow_enough(share):
    told = _number(rate_share(share)) / 100.0
    assert 0.0 < told <= share * (1 + 1e-6)
    assert told >= 0.5 * share


@pytest.mark.parametrize(("share", "words"), [
    (0.8799, "87 %"), (0.295, "29 %"), (0.0123, "1 %"), (0.00456, "0.45 %"), (0.000456, "0.045 %"), (1.0, "100 %"),
])
def test_a_rate_in_words(share, words):
    assert rate_share(share) == words


@pytest.mark.parametrize("share", [0.0, -0.1, math.nan])
def test_no_rate_is_slow_enough(share):
    with pytest.raises(ValueError, match="no rate is a share of"):
        rate_share(share)


def test_a_remedy_is_never_nothing():
    assert at_least(-1e-8, 0.0, "mm").short == "1 mm"
    assert at_least(0.3, 0.1, "mm").short == "0 mm"
    assert up(0.0121, "mm") == "13 mm"


@pytest.mark.parametrize("unit", ["m", "mm", "rad", "s", "%", ""])
def test_what_is_no_number_is_said_in_words(unit):
    for write in (down, near, up):
        assert write(math.nan, unit) == "unknown"
        assert write(math.inf, unit) == "without bound"
        assert write(-math.inf, unit) == "none"
    assert at_least(math.nan, 1.0, unit).verdict is Verdict.NOT_ASSESSED
    assert at_least(-math.inf, 1.0, unit).verdict is Verdict.FAIL
    assert (at_least(math.nan, 1.0, unit).said, at_least(math.nan, 1.0, "m").asked) == ("unknown", "1.000 m")


def test_there_is_no_minus_nothing():
    assert near(-1e-9, "m") == "0.000 m" and up(-0.4, "m", 0) == "0 m"


@given(st.floats(0, 1e5))
def test_times_are_rounded_the_safe_way_and_read_back(seconds):
    assert parse(down(seconds, "s"), "time") <= seconds + 1e-6
    assert parse(up(seconds, "s"), "time") >= seconds - 1e-6


def test_a_caller_may_ask_for_more_digits():
    least, most = at_least(0.31249, 0.3, "m", 4), at_most(0.31241, 0.5, "m", 4)
    assert (least.said, least.asked, most.said, most.asked) == ("0.3124 m", "0.3000 m", "0.3125 m", "0.5000 m")
    assert at_least(0.1, 0.30001, "m", 4).short == "0.2001 m"


@pytest.mark.parametrize(("unit", "said"), [
    ("m", "0.123 m"), ("mm", "123 mm"), ("rad", "7.0 deg"), ("rad/s", "7.072 deg/s"), ("rad/s^2", "7.072 deg/s^2"),
    ("m/s", "0.1234 m/s"), ("m/s^2", "0.1234 m/s^2"), ("s", "0:00:00.1"), ("seconds", "0.12 s"), ("%", "12 %"),
    ("", "0.1234"),
])
def test_every_unit_has_its_word_and_its_digits(unit, said):
    assert down(0.12344, unit) == said


def _finding(value, limit, unit="m", verdict=Verdict.PASS):
    return Finding("own", verdict, "a", "words", value=value, limit=limit, unit=unit)


@pytest.mark.parametrize(("value", "verdict", "lower"), [
    (0.4, Verdict.PASS, True), (0.3, Verdict.PASS, True), (0.2, Verdict.PASS, False),
    (0.2, Verdict.FAIL, True), (0.3, Verdict.FAIL, True), (0.4, Verdict.FAIL, False),
])
def test_the_verdict_of_a_finding_tells_which_way_its_limit_works(value, verdict, lower):
    assert of_finding(_finding(value, 0.3, verdict=verdict)) == Compared(value, 0.3, "m", lower)


def test_a_finding_without_two_numbers_or_a_verdict_compares_nothing():
    assert of_finding(_finding(None, 0.3)) is None
    assert of_finding(_finding(0.3, None)) is None
    assert of_finding(_finding(0.3, 0.3, verdict=Verdict.NOT_ASSESSED)) is None


@pytest.mark.parametrize(("value", "limit", "unit", "shown"), [
    (3.0, 5.0, "birds", ""), (3.0, 5.0, "rad/s", "rad/s"), (3.0, 5.0, "m", "m"), (3.0, 5.0, "s", "seconds"),
    (61.0, 5.0, "s", "s"), (3.0, 61.0, "s", "s"), (-61.0, 5.0, "s", "s"), (3.0, -61.0, "s", "s"),
    (60.0, 5.0, "s", "s"), (59.9, 5.0, "s", "seconds"),
])
def test_what_counts_has_no_unit_and_short_times_are_told_in_seconds(value, limit, unit, shown):
    assert of_finding(_finding(value, limit, unit)).unit == shown
