"""Assumptions of a run: each has its page, and verdicts turn where the table says, tried by judging anew."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import replace

import pytest
from typer.testing import CliRunner

from armcarry.checks import registry
from armcarry.cli import app
from armcarry.evidence import turning
from armcarry.evidence.assumptions import (
    HEADINGS,
    Assumed,
    as_csv,
    assumptions,
    deciding,
    in_short,
    kind_of,
    reference_key,
)
from armcarry.files.loaded import Assumption
from armcarry.record.finding import Verdict
from armcarry.record.store import save

#: told by documents, entering nothing that decides
TOLD_ALONE = {"crew.sizes.<name>.mass", "hardware.mass"}
#: what changes one number of the rules -> the key of the assumption
RULES = {
    "margins.joint_position": lambda rules, to: rules.model_copy(
        update={"margins": rules.margins.model_copy(update={"joint_position": to})}
    ),
    "margins.smallest_singular_value": lambda rules, to: rules.model_copy(
        update={"margins": rules.margins.model_copy(update={"smallest_singular_value": to})}
    ),
    "rider_tip_speed": lambda rules, to: rules.model_copy(update={"rider_tip_speed": to}),
    "safe_return": lambda rules, to: rules.model_copy(update={"safe_return": to}),
    "tether_reach": lambda rules, to: rules.model_copy(update={"tether_reach": to}),
    "way_home.go_in": lambda rules, to: rules.model_copy(
        update={"way_home": rules.way_home.model_copy(update={"go_in": to})}
    ),
    **{
        f"budget.{name}.amount": lambda rules, to, name=name: rules.model_copy(
            update={"budget": {**rules.budget, name: rules.budget[name].model_copy(update={"amount": to})}}
        )
        for name in ("boom_bending", "grasp", "structure_placement")
    },
}


@pytest.fixture(scope="module")
def table(short_run):
    return assumptions(*short_run)


def verdicts(record, turn):
    """Return the verdicts of the check of a turn on what it turns, judged anew."""
    found = registry()[turn.check](record)
    return {one.verdict for one in found if {one.subject, one.other} == {turn.subject, turn.other}}


def with_rules(record, rules):
    return replace(record, scene=replace(record.scene, loaded=replace(record.scene.loaded, rules=rules)))


@pytest.mark.parametrize("key", RULES)
def test_a_verdict_turns_where_the_table_says(key, table, short_run):
    one = next(one for one in table if one.number.key == key and kind_of(one.number.file) == "rules")
    turn, record = one.turn, short_run[0]
    assert turn is not None and turn.sure
    rules, step = record.scene.loaded.rules, 0.01 * (turn.at - turn.now)
    near = verdicts(with_rules(record, RULES[key](rules, turn.at - step)), turn)
    beyond = verdicts(with_rules(record, RULES[key](rules, turn.at + step)), turn)
    assert (Verdict.FAIL in near) != (Verdict.FAIL in beyond)


def test_a_required_distance_turns_at_the_least_that_is_proven(table, short_run):
    one = next(one for one in table if one.number.key == "required[0].distance")
    rule = short_run[0].scene.loaded.rules.required[0]
    rows = [row for row in short_run[0].pairs if {row.class_a, row.class_b} == set(rule.between) and row.why == "rule"]
    assert one.turn.at == min(row.lower_m for row in rows if row.required_m == rule.distance)


def test_a_worker_who_comes_faster_needs_what_there_is(short_run, monkeypatch):
    class Terms:
        worker_m = 0.8

    class Near:
        separation, margin_m, body = Terms(), 0.4, "arm/hand"

    monkeypatch.setattr(turning, "nearness", lambda record, crew: Near())
    monkeypatch.setattr(turning, "worker_speed_m_s", lambda record: 0.5)
    (found, *_) = turning._worker_speed(short_run[0], (), ())
    assert found.at == pytest.approx(0.75)  # 0.8 m of way at 0.5 m/s, and 0.4 m more


def test_every_assumption_has_its_meaning_and_what_it_enters(table):
    for one in table:
        key = reference_key(kind_of(one.number.file), one.number.key)
        assert key is not None and one.meaning, one.number
        assert one.used or f"{key.document}.{key.spelled}" in TOLD_ALONE, one.number


@pytest.mark.parametrize(
    ("document", "key", "spelled"),
    [
        ("arm", "loads.rider.joint_rate.wrist_turn", "loads.<name>.joint_rate"),
        ("rules", "required[12].distance", "required[].distance"),
        ("platform", "seats.rack_a_seat.near[1].at_least", "seats.<name>.near[].at_least"),
        ("arm", "cameras.eye.pan[0]", "cameras.<name>.pan"),
    ],
)
def test_a_number_finds_its_key_of_the_reference(document, key, spelled):
    found = reference_key(document, key)
    assert found is not None and found.spelled == spelled


def test_those_come_first_by_which_a_verdict_turns_soonest(table):
    rooms = [one.turn.room for one in deciding(table)]
    assert rooms == sorted(rooms) and len(rooms) >= len(RULES)
    assert all(one.turn is None for one in table[len(rooms):])


def test_the_line_of_a_run_says_what_the_table_says(short_run, table):
    record, findings = short_run
    first = table[0]
    assert in_short(record, findings) == (
        f"{len(deciding(table))} assumptions decide a verdict; soonest {first.number.key} {first.number.text}: "
        f"{first.turn.check} turns at {first.turn.said}"
    )

    def with_assumptions(*numbers):
        loaded = replace(record.scene.loaded, assumptions=numbers)
        return replace(record, scene=replace(record.scene, loaded=loaded))

    assert in_short(with_assumptions(), findings) == ""
    assert in_short(with_assumptions(first.number), findings).startswith("1 assumption decides a verdict; soonest ")


def test_the_table_is_read_back_by_a_spreadsheet_and_runs_no_formula(table):
    hostile = Assumed(Assumption("scenario.yaml", "=cmd|' /C calc'!A0", "-5 deg"), "+1", (), None, None)
    rows = list(csv.reader(io.StringIO(as_csv((hostile, *table)).removeprefix("\ufeff"))))
    assert tuple(rows[0]) == HEADINGS and len(rows) == len(table) + 2
    assert rows[1][1].startswith("'=") and rows[1][2] == "-5 deg"
    assert {row[-1] for row in rows[1:]} == {""}, "the last column is the user's"


def test_the_command_lists_them_and_writes_the_table(short_run, table, tmp_path):
    save(*short_run, tmp_path / "run")
    done = CliRunner().invoke(app, ["assumptions", str(tmp_path / "run"), "--csv", str(tmp_path / "numbers.csv")])
    assert done.exit_code == 0, done.output
    left = len(table) - len(deciding(table))
    assert f"{len(table)} assumptions; of {left} it is not worked out" in done.stdout
    assert (tmp_path / "numbers.csv").read_bytes().decode("utf-8") == as_csv(table)
    told = json.loads(CliRunner().invoke(app, ["assumptions", str(tmp_path / "run"), "--json"]).stdout)
    assert [one["key"] for one in told["assumptions"]] == [one.number.key for one in table]
    every = CliRunner().invoke(app, ["assumptions", str(tmp_path / "run"), "--all"])
    assert every.stdout.count("\n") > done.stdout.count("\n") + left // 2
