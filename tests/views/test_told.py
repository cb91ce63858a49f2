"""What the terminal shows of findings: one cause in front, one screen for a run that passes, words never broken."""

from dataclasses import replace
from io import StringIO
from types import SimpleNamespace

import pytest
from rich.console import Console as Rich

from armcarry.record.causes import causes, with_causes
from armcarry.record.finding import Cause, ClearanceDetail, Finding, Verdict
from armcarry.record.record import MoveSpan
from armcarry.views import told


def _move(name, start_s, end_s):
    return MoveSpan("round", 1, name, "to_joints", start_s, end_s, "rider")


def _record(plan=None, shortfalls=()):
    moves = (_move("out", 0.0, 40.0), _move("back", 50.0, 90.0))
    loaded = SimpleNamespace(written_at=lambda kind, *name: "")
    scene = SimpleNamespace(loaded=loaded)
    ledger = SimpleNamespace(violations=(), at=lambda time_s: SimpleNamespace(states={}))
    return SimpleNamespace(scene=scene, plan=plan, moves=moves, shortfalls=shortfalls, duration_s=100.0, ledger=ledger)


def _near(subject, other, time_s, check="clearance", verdict=Verdict.FAIL):
    detail = ClearanceDetail(0.1, 0.101, 0.3, time_s, (0.0,) * 3, (0.0,) * 3)
    words = f"{subject} and {other} come within 0.100 m"
    return Finding(check, verdict, subject, words, other, time_s, time_s, 0.1, 0.3, "m", "lead it farther", detail)


def _many():
    """Return what a wrong move gives: hundreds of pairs too near while it lasts and while what it brought stands."""
    pairs = [(f"arm/part_{k}", f"platform/part_{k % 7}", 20.0 + 0.05 * k) for k in range(500)]
    late = [(f"ev1/part_{k}", "platform/rail", 45.0) for k in range(20)]
    return [_near(*pair) for pair in (*pairs, *late)]


def test_hundreds_of_findings_of_one_move_have_one_cause():
    found = with_causes(_record(), [*_many(), _near("arm/part_3", "platform/part_3", 20.15, "stopping")])
    assert {item.cause for item in found} == {Cause("move", "out")}
    assert len(causes(found)) == 1
    assert told.counted(found) == "0 passed, 521 failed of 1 cause, 0 not assessed"


def test_what_fails_in_another_move_has_another_cause_but_not_the_same_two_bodies():
    pairs = (("platform/b", 10.0), ("platform/b", 60.0), ("ev1/c", 60.0))
    first, again, other = with_causes(_record(), [_near("arm/a", *pair) for pair in pairs])
    assert first.cause == again.cause == Cause("move", "out")
    assert other.cause == Cause("move", "back")
    assert [len(same) for same in causes((first, again, other)).values()] == [2, 1]


def test_in_whatever_order_they_stand_the_first_in_time_is_the_cause():
    again, first = with_causes(_record(), [_near("arm/a", "platform/b", 60.0), _near("platform/b", "arm/a", 10.0)])
    assert again.cause == first.cause == Cause("move", "out")


def test_one_body_is_told_to_another_and_what_of_a_thing_beside_it():
    near = _near("arm/a", "platform/b", 10.0, verdict=Verdict.PASS)
    chance = replace(near, check="schedule", subject="day", other="chance", clearance=None)
    shown = Rich(width=200, file=StringIO())
    shown.print(told.passed((near, chance), 200))
    text = shown.file.getvalue()
    assert "arm/a to platform/b" in text and "day, chance" in text and "day to" not in text


def test_a_pass_has_no_cause_and_what_holds_all_the_time_stands_alone():
    rules = Finding("budget", Verdict.NOT_ASSESSED, "rules", "no term")
    whole = Finding("schedule", Verdict.FAIL, "day", "too late", end_s=100.0)
    fine = _near("arm/a", "platform/b", 10.0, verdict=Verdict.PASS)
    assert [item.cause for item in with_causes(_record(), [rules, whole, fine])] == [None, None, None]
    assert told.counted((rules, whole, fine)) == "1 passed, 1 failed of 1 cause, 1 not assessed of 1 cause"


def test_who_takes_part_in_a_step_of_the_day_is_blamed_on_it():
    slots = tuple(
        SimpleNamespace(name=name, actors=actors, start_s=start, end_s=start + 30.0)
        for name, actors, start in (("ride", ("ev1", "arm"), 0.0), ("walk", ("ev2",), 5.0))
    )
    schedule = SimpleNamespace(slots=slots, tasks_done=lambda: ("ride", "walk"))
    record = _record(plan=SimpleNamespace(schedule=schedule))
    found = with_causes(record, [
        _near("ev2/shin", "platform/plate", 10.0), _near("arm/boom", "platform/plate", 10.0),
        Finding("custody", Verdict.FAIL, "box", "not held", "walk", 1.0, 1.0),
    ])  # fmt: skip
    assert [item.cause for item in found] == [Cause("step", "walk"), Cause("step", "ride"), Cause("step", "walk")]


def test_a_move_that_cannot_be_made_is_its_own_cause():
    cut = SimpleNamespace(carry="round", number=3, title="far")
    item = Finding("reach", Verdict.FAIL, "far", "cannot be made", "x", 40.0, 40.0)
    assert with_causes(_record(shortfalls=(cut,)), [item])[0].cause == Cause("move", "far")


def _printed(what, width):
    out = Rich(width=width, force_terminal=False, highlight=False)
    with out.capture() as capture:
        out.print(what)
    return [line.rstrip() for line in capture.get().splitlines()]


def test_one_cause_is_told_once_with_its_remedy_and_the_rest_counted():
    found = with_causes(_record(), [*_many(), _near("arm/part_3", "platform/part_3", 20.15, "stopping")])
    lines = _printed(told.by_cause(found, Verdict.FAIL), 80)
    assert lines[:4] == [
        "FAIL  move out: 521 findings of this cause", "FAIL  clearance 0:00:20.0",
        "  arm/part_0 and platform/part_0 come within 0.100 m", "    lead it farther",
    ]
    assert "  and 519 more of clearance: 499 of arm to platform, 20 of ev1 to platform" in lines
    assert len(lines) < 12


def test_everything_is_everything():
    lines = _printed(told.everything(_many()), 80)
    assert sum(line.startswith("FAIL") for line in lines) == 520


def test_a_check_that_passed_is_one_line_with_its_tightest_figure():
    wide = replace(_near("arm/a", "platform/b", 10.0, verdict=Verdict.PASS), value=0.9)
    tight = replace(wide, subject="arm/z", value=0.3012)
    rate = Finding("joint_rate", Verdict.PASS, "arm/j1", "words", value=0.01, limit=0.02, unit="rad/s")
    quick = Finding("runaway", Verdict.PASS, "arm", "words", value=0.567, limit=0.5, unit="s")
    seen = Finding("held_view", Verdict.PASS, "ev1", "words", value=0.0, limit=0.0, unit="work points")
    lines = [" ".join(line.split()) for line in _printed(told.passed((wide, tight, rate, quick, seen), 99), 99)]
    assert lines == [
        "Check Tightest When On",
        "pass clearance 0.301 m (>= 0.300 m) 0:00:10.0 arm/z to platform/b (and 1 more)",
        "pass joint_rate 0.573 deg/s (<= 1.146 deg/s) arm/j1",
        "pass runaway 0.56 s (>= 0.50 s) arm",
        "pass held_view 0 work points ev1",
    ]
    failed = replace(tight, verdict=Verdict.FAIL, value=0.1)
    assert len(_printed(told.passed((wide, failed, rate), 80), 80)) == 2


@pytest.mark.parametrize("width", [40, 60, 71])
def test_a_narrow_terminal_wraps_lines_and_breaks_no_word(width):
    found = with_causes(_record(), [*_many(), _near("arm/a", "platform/b", 1.0)])
    fine = Finding("grasp", Verdict.PASS, "pump_box", "words", "platform/bay_7_seat", 3.0, 3.0, 0.006, 0.05, "m")
    for part in (told.by_cause(found, Verdict.FAIL), told.passed((fine,), width)):
        narrow, wide = _printed(part, width), _printed(part, 300)
        assert max(map(len, narrow)) <= width
        assert " ".join(narrow).split() == " ".join(wide).split()


def test_a_name_too_long_for_a_line_of_the_table_is_cut_and_takes_no_second():
    fine = Finding("grasp", Verdict.PASS, "pump_box", "words", "platform/" + 80 * "x", 3.0, 3.0, 0.006, 0.05, "m")
    assert len(_printed(told.passed((fine,), 80), 80)) == 2
