"""The one place where findings are made, and that every check uses it."""

import math
import re
from dataclasses import replace
from pathlib import Path

import pytest

import armcarry.checks
from armcarry.record.figures import at_least, at_most
from armcarry.record.finding import ClearanceDetail, Finding, Verdict, Way
from armcarry.record.maker import Maker

MAKE = Maker("own")


def test_a_comparison_gives_the_verdict_and_only_what_did_not_pass_has_a_remedy():
    kept = MAKE.judged(at_least(0.3, 0.2, "m"), "a", "words", other="b", at=3.0, remedy="do this")
    assert kept == Finding("own", Verdict.PASS, "a", "words", "b", 3.0, 3.0, 0.3, 0.2, "m")
    failed = MAKE.judged(at_least(0.1, 0.2, "m"), "a", "words", at=(1.0, 2.0), remedy="do this")
    assert (failed.verdict, failed.start_s, failed.end_s, failed.remedy) == (Verdict.FAIL, 1.0, 2.0, "do this")


def test_units_of_a_finding_are_si():
    assert MAKE.judged(at_least(0.001, 0.0, "mm"), "a", "words").unit == "m"
    assert MAKE.judged(at_least(0.5, 0.95, "%"), "a", "words").unit == ""


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_what_is_no_number_is_left_out(value):
    made = MAKE.judged(at_least(value, 1.0, "m"), "a", "words")
    assert made.value is None
    assert made.verdict is (Verdict.NOT_ASSESSED if math.isnan(value) else at_least(value, 1.0, "m").verdict)
    assert MAKE.failed("a", "words", "do this", value=value).value is None


def test_the_three_plain_verdicts():
    detail = ClearanceDetail(0.0, 0.1, 0.2, 1.0, (0.0, 0.0, 0.0), (0.0, 0.0, 0.1))
    failed = MAKE.failed("a", "words", "do this", other="b", clearance=detail)
    assert (failed.verdict, failed.remedy, failed.clearance) == (Verdict.FAIL, "do this", detail)
    assert MAKE.passed("a", "words").verdict is Verdict.PASS
    silent = MAKE.not_assessed("a", "words", "supply it")
    assert (silent.verdict, silent.remedy) == (Verdict.NOT_ASSESSED, "supply it")


def test_everything_that_is_given_stands_in_the_finding():
    detail = ClearanceDetail(0.0, 0.1, 0.2, 1.0, (0.0, 0.0, 0.0), (0.0, 0.0, 0.1))
    ways = [Way(1.0, "stands", "here", 2.0, ())]
    where = {"other": "b", "at": (1, 2)}
    numbers = {"value": 3, "limit": 4, "unit": "m"}
    seen = ("a", "words", "b", 1.0, 2.0, 3.0, 4.0, "m")
    assert MAKE.passed("a", "words", **where, **numbers) == Finding("own", Verdict.PASS, *seen)
    assert MAKE.not_assessed("a", "words", "supply it", **where, **numbers) == Finding(
        "own", Verdict.NOT_ASSESSED, *seen, "supply it"
    )
    more = {"clearance": detail, "ways": ways}
    whole = Finding("own", Verdict.FAIL, *seen, "do this", detail, tuple(ways))
    assert MAKE.failed("a", "words", "do this", **where, **numbers, **more) == whole
    assert MAKE.judged(at_most(3.5, 3.0, "m"), "a", "words", **where, remedy="do this", **more) == replace(
        whole, value=3.5, limit=3.0
    )


def test_what_is_not_given_is_nothing():
    for made in (
        MAKE.passed("a", "words"), MAKE.failed("a", "words", ""), MAKE.not_assessed("a", "words", ""),
        MAKE.judged(at_most(math.inf, math.nan, ""), "a", "words"),
    ):
        assert made == Finding("own", made.verdict, "a", "words")
        assert all(isinstance(number, float) for number in (made.start_s, made.end_s))


def test_every_check_makes_its_findings_here():
    for path in sorted(Path(armcarry.checks.__file__).parent.glob("*.py")):
        text = path.read_text(encoding="utf-8")
        assert not re.search(r"\bFinding\(", text), path.name
        if "def check(" in text:
            assert f'_make = Maker("{path.stem}")' in text, path.name
