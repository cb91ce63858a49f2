"""The clearance budget: sums by hand, every term stated, nothing silently nothing."""

import math
from dataclasses import replace
from pathlib import Path

import pytest

from armcarry.checks.budget import PAIRS, TERMS, check, terms_of
from armcarry.files.load import load_scenario
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.record.finding import Verdict
from armcarry.record.record import PairRow
from armcarry.scene.displaced import Displaced

NOTHING = {name: {"title": name.replace("_", " "), "amount": "0 m", "applies_to": []} for name in TERMS}
STATED = NOTHING | {
    "arm_positioning": {"title": "positioning", "amount": "0.03 m", "applies_to": ["arm", "rider", "hardware"]},
    "structure_placement": {"title": "placement", "amount": "0.04 m", "applies_to": ["structure"]},
    "thermal": {"title": "heat", "amount": "0.012 m", "applies_to": ["structure"]},
    "grasp": {"title": "grasp", "amount": "0.02 m", "applies_to": ["hardware"]},
}


def row(margin_m, required_m=0.3, why="rule", status="proven", a="arm", b="structure", number=0):
    return PairRow(f"{a}/{number}", f"{b}/x", a, b, 0.0, 100.0, required_m, why, status, required_m + margin_m,
                   required_m + margin_m + 5e-4, 61.5, (0.0, 0.0, 0.0), (1.0, 0.0, 0.0))


@pytest.fixture
def judged(rider_scene, turning_record):
    def build(*rows, budget=STATED, combination="root_sum_square"):
        scene = rider_scene({}, rules={"budget": budget, "budget_combination": combination})
        return check(turning_record(scene, pairs=rows))

    return build


def test_a_perturbed_run_gets_no_uncertainty_taken_off_again(rider_scene, turning_record):
    record = turning_record(rider_scene({}, rules={"budget": STATED}), pairs=(row(0.2),))
    (finding,) = check(replace(record, displaced=Displaced()))
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        "this run stands where a campaign drew it, so its clearances have had their uncertainty already"
    )
    assert finding.subject == "run"
    assert finding.remedy == (
        "see the budget of the rehearsal, or the campaign's share of runs that fall short"
    )
    assert check(record)[0].verdict is Verdict.PASS


@pytest.mark.parametrize("missing", TERMS)
def test_a_term_that_is_not_stated_leaves_the_budget_unassessed(judged, missing):
    (finding,) = judged(row(0.2), budget={name: term for name, term in STATED.items() if name != missing})
    assert finding.verdict is Verdict.NOT_ASSESSED
    assert finding.message == (
        f"the rules' budget does not state {missing}; a term that is nothing is stated as 0 m"
    )
    assert finding.remedy == f"state {missing} in the rules' budget"


def test_both_sums_by_hand_and_every_term_with_its_amount(judged):
    (finding,) = judged(row(0.1))
    # 30 + 40 + 12 = 82 mm; sqrt(900 + 1600 + 144) = 51.42 mm
    assert finding.verdict is Verdict.PASS
    assert finding.value == pytest.approx(0.1 - math.sqrt(0.03**2 + 0.04**2 + 0.012**2))
    assert finding.message == (
        "arm/0 to structure/x: 0.400 m less 0.300 m required leaves 100 mm; less uncertainty 18 mm worst case, "
        "48 mm root-sum-square (positioning 30 mm, placement 40 mm, heat 12 mm); judged by root sum square"
    )


def test_the_rules_choose_the_sum_that_judges(judged):
    assert judged(row(0.07))[0].verdict is Verdict.PASS
    (finding,) = judged(row(0.07), combination="worst_case")
    assert finding.verdict is Verdict.FAIL
    assert finding.value == pytest.approx(-0.012)
    assert finding.remedy == "lead the carry 12 mm farther away at 0:01:01.5, or narrow a term"


def test_a_stated_nothing_is_listed_as_nothing(judged):
    zero = STATED | {"thermal": {"title": "heat", "amount": "0 m", "applies_to": ["structure"]}}
    assert "heat 0 mm" in judged(row(0.1), budget=zero)[0].message
    assert "no term applies" in judged(row(0.1), budget=NOTHING)[0].message


def test_what_moves_both_bodies_alike_cancels(judged):
    (finding,) = judged(row(0.1, a="arm", b="hardware"))
    assert "(grasp 20 mm)" in finding.message
    assert finding.value == pytest.approx(0.08)


def test_relaxed_pairs_get_no_budget_and_the_reason_is_said(judged):
    found = judged(row(0.1), row(0.01, why="the seat is near", number=1), row(0.02, why="the seat is near", number=2))
    assert [f.subject for f in found] == ["arm/0", "relaxation"]
    assert found[1].message == "2 pairs are relaxed for a time and get no budget then: an approach is made by eye"


def test_the_tightest_pairs_are_chosen_and_broken_ones_are_left_to_the_clearance_check(judged):
    rows = [row(0.1 + 0.01 * k, number=k) for k in range(PAIRS + 3)]
    broken = [row(-0.1, number=90), row(0.0, status="contact", number=91), row(2.0, status="farther", number=92)]
    found = judged(*reversed(rows), *broken)
    assert [f.subject for f in found] == [f"arm/{k}" for k in range(PAIRS)]


def test_a_pair_with_more_terms_is_found_behind_nearer_ones_with_fewer(judged):
    near = [row(0.01 + 0.001 * k, b="arm", number=k) for k in range(PAIRS + 5)]  # the arm's error cancels
    found = judged(*near, row(0.05, number=99))
    # 50 less sqrt(900 + 1600 + 144) = 51.42 mm
    assert (found[0].subject, found[0].verdict) == ("arm/99", Verdict.FAIL)
    assert [f.verdict for f in found[1:]] == [Verdict.PASS] * (PAIRS - 1)


def test_every_pair_that_falls_short_is_told(judged):
    found = judged(*(row(0.01 + 0.001 * k, number=k) for k in range(PAIRS + 5)), row(1.0, number=99))
    assert [f.verdict for f in found] == [Verdict.FAIL] * (PAIRS + 5)


def test_without_a_near_pair_it_says_so(judged):
    (finding,) = judged(row(2.0, status="farther"))
    assert finding.message == "no pair that keeps its clearance comes within the report distance"
    assert (finding.subject, finding.verdict) == ("arm", Verdict.PASS)


def test_the_demo_rules_state_every_term():
    root = Path(__file__).resolve().parents[2]
    rules = load_scenario(root / "scenarios" / "pump_box_to_bay_7.yaml").rules
    assert set(TERMS) <= set(rules.budget)
    assert all(rules.budget[name].amount > 0 for name in TERMS)


def test_where_structure_truly_stands_is_not_asked_of_who_holds_on_to_it(rider_scene, turning_record):
    record = turning_record(rider_scene({}, rules={"budget": STATED}))
    held = replace(row(0.02, a="worker"), body_a="ev1/glove", body_b="platform/rail", start_s=0.0)
    assert terms_of(record, held) == {}
    wing = replace(held, body_b="platform/wing", class_b="appendage")
    inside = replace(record.ledger.start.people["ev1"], place="airlock")
    kept = replace(record.ledger, start=replace(record.ledger.start, people={"ev1": inside}), acts=(), after=())
    assert set(terms_of(replace(record, kept=kept), held)) == {"structure_placement", "thermal"}
    assert terms_of(record, wing) == {}  # no term of these rules names appendages


def test_what_somebody_off_the_arm_brings_has_nothing_of_the_arms_positioning(rider_scene, turning_record):
    held = (Body("box", "base", Sphere(0.1), poses.identity()),)
    where = {"hardware": {"load": {"model": "load", "at": "ev2/hands"}}}
    scene = rider_scene({}, held=held, script=where, worker_at="platform/stand", rules={"budget": STATED})
    beside = replace(row(0.02, a="hardware", b="appendage"), body_a="load/box", body_b="platform/wing")
    assert set(terms_of(turning_record(scene), beside)) == {"grasp"}
    past = replace(beside, body_b="platform/rail", class_b="structure")
    assert terms_of(turning_record(scene), past) == {}
    on_arm = rider_scene({}, held=held, worker_at="platform/stand", rules={"budget": STATED})
    assert set(terms_of(turning_record(on_arm), past)) == set(TERMS)
