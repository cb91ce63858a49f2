from dataclasses import dataclass

from armcarry.checks.second_opinion import check
from armcarry.clearance.second_opinion import EngineAnswer, Opinion
from armcarry.record.finding import Verdict


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
