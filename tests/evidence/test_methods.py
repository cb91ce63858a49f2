"""Pages of methods: one for every check, each says what it must, names what is there, and agrees with the code."""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from armcarry.checks import registry
from armcarry.evidence.basis import BASES
from armcarry.evidence.methods import (
    HEADINGS,
    INDEX,
    MADE,
    as_html,
    index,
    keys_of,
    made_part,
    shown,
    with_made_part,
    write_pages,
)
from armcarry.files.places import known_scenarios
from armcarry.files.reference import all_keys

ROOT = Path(__file__).resolve().parents[2]
PAGES, TESTS = ROOT / "shared" / "methods", ROOT / "tests"


def test_every_check_has_a_page_and_every_page_its_row():
    assert {name for name, basis in BASES.items() if basis.check} == set(registry())
    assert {path.name for path in PAGES.iterdir()} == {*(f"{name}.md" for name in BASES), INDEX}


@pytest.mark.parametrize("name", BASES)
def test_a_page_says_what_it_must(name):
    above, _, below = (PAGES / f"{name}.md").read_text().partition(MADE)
    assert below, "python -m armcarry.evidence.methods writes the lower part"
    assert above.startswith(f"# {name}\n\n**Question.** ")
    assert re.findall(r"^## (.+)$", above, re.MULTILINE) == list(HEADINGS)
    assert all(len(part.strip()) > 30 for part in re.split(r"^## .+$", above, flags=re.MULTILINE))


@pytest.mark.parametrize("name", BASES)
def test_the_lower_part_is_that_of_code_and_tests(name):
    # after a change of a key, a constant or a test's first line: python -m armcarry.evidence.methods
    page = (PAGES / f"{name}.md").read_text()
    assert page == with_made_part(page, made_part(name, TESTS))


def test_the_index_is_that_of_the_rows():
    assert (PAGES / INDEX).read_text() == index(TESTS)


@pytest.mark.parametrize("name", BASES)
def test_what_a_page_names_is_there(name):
    above = (PAGES / f"{name}.md").read_text().partition(MADE)[0]
    named = re.findall(r"`((?:tests|scenarios)/[\w./]+)`", above)
    assert [path for path in named if not (ROOT / path).exists()] == []
    shipped = set(known_scenarios())
    assert set(re.findall(r"armcarry rehearse (\w+)", above)) <= shipped and set(BASES[name].shows) <= shipped
    constants = {number.partition(":")[2] for number in BASES[name].numbers}
    told = set(re.findall(r"`([A-Z][A-Z_]+)`", above))
    assert told <= constants, "a constant that the page speaks of stands in its table of numbers"


def test_every_number_of_the_rules_is_an_input_of_some_page():
    named = {key for basis in BASES.values() for spelled in basis.keys for key in keys_of(spelled)}
    heads = {"title", "basis", "sources", "notes", "format", "checks"}
    every = {key for key in all_keys()["rules"] if key.path[0] not in heads and not key.holds}
    assert {key.spelled for key in every - named} == set()


def test_a_key_that_holds_others_stands_for_them():
    assert {key.path[-1] for key in keys_of("rules.way_home")} == {
        "leave_restraint", "stow_held", "cross_gap", "go_in", "tether_change", "all_inside"
    }  # fmt: skip
    with pytest.raises(KeyError, match=r"rules\.no_such_key"):
        keys_of("rules.no_such_key")


def test_text_by_hand_is_kept_when_pages_are_made(tmp_path):
    for path in PAGES.iterdir():
        (tmp_path / path.name).write_text(path.read_text().partition(MADE)[0])
    write_pages(tmp_path, TESTS)
    assert {path.name: path.read_text() for path in tmp_path.iterdir()} == {
        path.name: path.read_text() for path in PAGES.iterdir()
    }


def test_a_scenario_that_comes_along_is_said_to_fail_only_what_it_is_expected_to_fail():
    assert shown("stopping", BASES["stopping"]) == ["fails in `hazard_stopping`"]
    assert shown("schedule", replace(BASES["schedule"], shows=("change_places",))) == ["at work in `change_places`"]


def test_pages_of_a_runs_checks_are_ready_for_a_report():
    pages = dict(as_html(["stopping", "stopping", "check_of_others"]))
    assert set(pages) == {"stopping", "proof", "motion", "requirement"}
    assert "<h4>Limits of validity</h4>" in pages["stopping"] and "<table>" in pages["stopping"]
    assert "href" not in pages["stopping"] and MADE not in pages["stopping"]
    assert as_html([]) == ()
