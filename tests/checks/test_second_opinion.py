"""Verdicts on what other engines say: agreement, disagreement, an engine that is absent."""

from dataclasses import dataclass

import pytest

from armcarry.checks.second_opinion import check
from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion, StopOpinion
from armcarry.record.finding import Finding, Verdict


@dataclass
class Asked:
    engines: tuple[EngineAnswer, ...]


def _answer(theirs_m):
    return EngineAnswer("coal", True, (Opinion("coal", "arm/a", "platform/b", 61.5, theirs_m, 0.7, 0.701),))


def test_nobody_asked_says_nothing():
    assert check(Asked(())) == ()


def test_an_absent_engine_is_never_agreement():
    (finding,) = check(Asked((EngineAnswer("pybullet", False),)))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == "pybullet is not installed here and was not asked"


def test_an_engine_without_pairs_is_never_agreement():
    (finding,) = check(Asked((EngineAnswer("coal", True, ()),)))
    assert finding.verdict is Verdict.NOT_ASSESSED


def test_agreement_passes_with_the_worst_difference():
    (finding,) = check(Asked((_answer(0.69998),)))
    assert finding.verdict is Verdict.PASS
    assert finding.message.startswith("coal agrees on the 1 tightest pairs, at most 0.0200 mm outside our bounds")


def test_disagreement_fails_and_names_the_pair_and_both_values():
    (finding,) = check(Asked((_answer(0.65),)))
    assert finding.verdict is Verdict.FAIL
    assert finding.message == (
        "coal puts arm/a and platform/b 650.000 mm apart at 0:01:01.5, we 700.000 mm to 701.000 mm; "
        "0.05 mm is its own band"
    )


def _stop(time_s, spare_m, theirs_m=0.1, off=0.01, joint="arm/j1", bodies=("arm/a", "platform/b")):
    lasting = (1.0 + off, 2.0 + off)
    return StopOpinion("pybullet", time_s, theirs_m, theirs_m + 0.02, *lasting, joint, off, spare_m, *bodies)


def _stops(*stops):
    agreed = Opinion("pybullet", "arm/a", "platform/b", 1.0, 0.7, 0.7, 0.701)
    _, found = check(Asked((EngineAnswer("pybullet", True, (agreed,), stops),)))
    return found


def test_of_run_outs_the_tightest_the_longest_and_the_loosest_are_told():
    found = _stops(
        _stop(10.0, 0.3), _stop(20.0, 0.0219, bodies=("arm/c", "platform/d")), _stop(30.0, 0.4, theirs_m=0.1571),
        _stop(40.0, 0.2, off=0.1, joint="arm/j4"),
    )
    assert found == Finding(
        "second_opinion", Verdict.PASS, "pybullet",
        "pybullet flies the 4 longest and tightest run-outs with masses and brakes as limits of torque: they keep what "
        "must be left, at least 0.021 m more, between arm/c and platform/d when stopped at 0:00:20.0 (looked at in "
        "steps). Its tip goes 0.158 m to rest at most, ours 0.177 m then; arm/j4 is off ours by 5.8 deg when stopped "
        "at 0:00:40.0, standing after 1.1 s, ours 2.1 s",
        "late stop", 20.0, 20.0, 0.0219, 0.0, "m",
    )  # fmt: skip


def test_a_run_out_that_leaves_too_little_fails():
    found = _stops(_stop(10.0, 0.3), _stop(20.0, -0.0201))
    assert (found.verdict, found.subject, found.other) == (Verdict.FAIL, "pybullet", "late stop")
    assert (found.start_s, found.end_s, found.value, found.limit, found.unit) == (20.0, 20.0, -0.0201, 0.0, "m")
    assert "they leave 0.021 m less than must be left, between arm/a and platform/b when stopped" in found.message
    assert found.remedy == "lead the carry farther from there, or slow it at 0:00:20.0"
    assert _stops(_stop(20.0, 0.0)).verdict is Verdict.PASS


def test_a_disagreement_is_a_failure_of_that_pair_alone():
    apart = Opinion("coal", "arm/a", "platform/b", 61.5, 0.6, 0.7, 0.701)
    answer = EngineAnswer("coal", True, (Opinion("coal", "arm/x", "platform/b", 1.0, 0.7, 0.7, 0.701), apart))
    (found,) = check(Asked((answer,)))
    assert (found.verdict, found.subject, found.other) == (Verdict.FAIL, "arm/a", "platform/b")
    assert (found.start_s, found.end_s, found.limit, found.unit) == (61.5, 61.5, BANDS_M["coal"], "m")
    assert found.value == pytest.approx(0.1)
    assert "coal puts arm/a and platform/b 600.000 mm apart at 0:01:01.5, we 700.000 mm to 701.000" in found.message
