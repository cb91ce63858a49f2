"""Remedies of findings as changes: each is done at once, proven, and taken back by one undo."""

from pathlib import Path

import pytest

from armcarry.editing import Session
from armcarry.editing.mend import mend, remedies
from armcarry.errors import InputError
from armcarry.record.finding import Finding, Verdict
from armcarry.rehearsal import judge, rehearse

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_radiator_out.yaml"


def test_an_appendage_in_the_way_is_stowed_and_one_undo_takes_that_back(session):
    session.appendage("radiator_port", "deployed")
    before = session.script.data
    finding = Finding("clearance", Verdict.FAIL, "arm/boom_far_tube", "m", "platform/radiator_port_sheet_1_1", 500.0)
    named = {remedy.title: remedy for remedy in remedies(session, finding)}
    assert "radiator_port stowed" in named
    assert "radiator_port deployed" not in named, "as it stands"
    answer = mend(session, named["radiator_port stowed"])
    assert session.script.data["appendages"]["radiator_port"] == "stowed"
    assert not answer.failing
    session.undo()
    assert session.script.data == before


def test_a_move_is_slowed_by_as_much_as_its_finding_asks(session):
    session.option((0, 6), "rate", 0.8)
    finding = Finding("tip_speed", Verdict.FAIL, "arm/tip", "m", remedy="slow out to 60 % of its rate", start_s=500.0)
    (remedy,) = remedies(session, finding)[:1]
    assert remedy.title == "slow out to 60 %"
    mend(session, remedy)
    assert session.move((0, 6))["rate"] == pytest.approx(0.48)


@pytest.mark.long
def test_a_carry_past_the_radiator_is_mended_by_one_choice_and_passes_every_check(tmp_path):
    path = tmp_path / "radiator_out.yaml"
    path.write_text(CARRY.read_text(encoding="utf-8"), encoding="utf-8")
    session = Session(path)
    assert len(session.answer.failing) > 20
    named = {remedy.title: remedy for remedy in remedies(session, session.answer.failing[0])}
    assert not mend(session, named["another way for the arm, found"]).failing
    session.save()
    assert not [finding for finding in judge(rehearse(path)) if finding.verdict is not Verdict.PASS]
    session.undo()
    assert len(session.answer.failing) > 20


def test_what_does_not_help_says_why_and_changes_nothing(session):
    finding = Finding("clearance", Verdict.FAIL, "arm/boom_far_tube", "m", "platform/keel_bay_9_brace_port", 500.0)
    named = {remedy.title: remedy for remedy in remedies(session, finding)}
    with pytest.raises(InputError, match=r"straight lines lead there|no other branch of the arm that was tried"):
        mend(session, named["another branch of the arm"])
    assert session.script.done == 0
