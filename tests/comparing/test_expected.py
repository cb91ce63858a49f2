"""Findings beside what a scenario expects of them."""

from armcarry.comparing.expected import Outcome, differences, outcome
from armcarry.files.documents.scenario import Expectation
from armcarry.record.finding import Finding, Verdict

NEAR = Finding("clearance", Verdict.FAIL, "pump_box/case", "too near", other="platform/radiator_port_sheet_1")
FINE = Finding("reach", Verdict.PASS, "arm", "all moves can be made")


def _expect(verdict: str, **names: str) -> Expectation:
    return Expectation.model_validate({"check": "clearance", "verdict": verdict, **names})


def test_what_is_expected_and_found_is_no_difference():
    assert differences([_expect("fail", subject="pump_box/*", other="platform/radiator_*")], [NEAR, FINE]) == ()


def test_the_two_names_may_stand_in_either_order():
    assert differences([_expect("fail", subject="platform/radiator_*", other="pump_box/*")], [NEAR, FINE]) == ()


def test_an_expectation_that_nothing_meets_is_told():
    (told,) = differences([_expect("fail", subject="ev1/*")], [FINE])
    assert told == "expected fail of check 'clearance' on ev1/*, found none"


def test_a_failure_that_nobody_expects_is_told():
    (told,) = differences([], [NEAR, FINE])
    assert told.startswith("unexpected fail of check 'clearance' on pump_box/case and platform/radiator_port_sheet_1")


def test_not_assessed_is_never_taken_for_a_pass():
    silent = Finding("clearance", Verdict.NOT_ASSESSED, "arm", "no rule", other="vehicle")
    assert len(differences([], [silent])) == 1
    assert len(differences([_expect("pass", subject="arm")], [silent])) == 2


def test_the_reader_is_told_in_one_line():
    assert outcome((), (FINE,)).line == "As the scenario expects: everything passes"
    stated = _expect("fail", subject="pump_box/*")
    assert outcome((stated,), (NEAR, FINE)).line == "As the scenario expects: 1 verdict stated under expect"
    missed = outcome((stated,), (FINE,))
    assert missed.line == (
        "Not as the scenario expects: expected fail of check 'clearance' on pump_box/*, found none"
    )
    both = outcome((stated,), (Finding("reach", Verdict.FAIL, "arm", "too far"),))
    assert both.line.endswith("found none (and 1 more)")
    assert both.as_dict() == {"met": False, "stated": 1, "differences": list(both.differences)}


def test_a_scenario_that_states_nothing_is_not_told_what_it_expected():
    assert Outcome(0, ("unexpected fail of check 'reach' on arm: short",)).line == (
        "The scenario states nothing under expect, so all was to pass: 1 finding did not"
    )
    assert Outcome(0, ("a", "b")).line.endswith("2 findings did not")
