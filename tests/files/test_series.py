"""A series names scenarios in order; what it names must be there."""

import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_series, validate_files

HEAD = "format: armcarry series 1\ntitle: Two\npurpose: to test\noutings:\n"


@pytest.fixture
def write(tmp_path, short_path):
    (tmp_path / "short.yaml").write_text(short_path.read_text())

    def make(outings):
        path = tmp_path / "series.yaml"
        path.write_text(HEAD + outings)
        return path

    return make


def test_scenarios_are_found_beside_the_file_or_by_name(write):
    why = "{base: moved, cart_1: pushed}"
    path = write("  - {name: one, scenario: short.yaml}\n"
                 f"  - {{name: two, scenario: unreachable_worksite, date: 2 May, changes: {why}}}\n")
    made = load_series(path)
    assert [outing.name for outing, _ in made.outings] == ["one", "two"]
    assert made.outings[0][1].scenario.title == "Short"
    assert validate_files([path]) == []


@pytest.mark.parametrize(
    ("outings", "line", "problem"),
    [
        ("  - {name: one, scenario: nowhere.yaml}", 5, "no scenario 'nowhere.yaml' beside this file"),
        ("  - {name: one, scenario: short.yaml}\n  - {name: one, scenario: short.yaml}", 6,
         "two outings are named 'one'"),
        ("  - {name: a, scenario: short.yaml}\n  - {name: b, scenario: short.yaml, changes: {pump_bax: why}}", 6,
         "nothing named 'pump_bax' in this outing; accepted: pump_box (nearest)"),
        ("  - {name: a, scenario: short.yaml, changes: {pump_box: why}}", 4, "the first outing follows none"),
        ("  []", 4, "outings"),
    ],
)
def test_what_is_not_there_is_refused_with_its_line(write, outings, line, problem):
    path = write(outings)
    with pytest.raises(InputError) as told:
        load_series(path)
    assert problem in str(told.value)
    assert f"series.yaml:{line}:" in str(told.value) or "two outings" in problem or "first outing" in problem
    assert validate_files([path])


def test_a_broken_scenario_of_a_series_is_told_at_its_own_line(write, tmp_path):
    text = (tmp_path / "short.yaml").read_text()
    (tmp_path / "bad.yaml").write_text(text.replace("station: 11 m", "station: 11"))
    with pytest.raises(InputError, match=r"bad\.yaml:8: "):
        load_series(write("  - {name: one, scenario: bad.yaml}"))
