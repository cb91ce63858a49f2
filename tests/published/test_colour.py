"""Colours and contrast against the tables of published values."""

import csv
from pathlib import Path

import pytest

from armcarry.views import palette

TABLES = Path(__file__).resolve().parents[2] / "shared" / "tables"


def _rows(name):
    with (TABLES / name).open() as file:
        return list(csv.DictReader(file))


def test_the_hues_are_those_of_the_table():
    assert {row["name"]: row["colour"] for row in _rows("okabe_ito.csv")} == palette.OKABE_ITO


@pytest.mark.parametrize("row", _rows("wcag_contrast.csv"), ids=lambda row: row["one"])
def test_contrast_is_that_of_the_guidelines(row):
    found = palette.contrast(row["one"], row["other"])
    assert found == pytest.approx(float(row["ratio"]), abs=6e-4)
    # printed with one digit, rounded or cut
    assert -0.05 <= found - float(row["printed"]) < 0.1


def test_which_hues_may_carry_text_on_white_and_on_black():
    # thresholds of WCAG 2.2, success criteria 1.4.3 and 1.4.11: 4.5 for text, 3 for signs; never rounded
    on_white = {name: palette.contrast(colour, palette.PAPER) for name, colour in palette.OKABE_ITO.items()}
    assert {name for name, ratio in on_white.items() if ratio >= 4.5} == {"black", "blue"}
    assert {name for name, ratio in on_white.items() if ratio < 3} == {"orange", "sky blue", "yellow"}
    expected = {"blue": 5.19, "bluish green": 3.42, "vermillion": 3.87, "reddish purple": 3.06, "orange": 2.25}
    for name, ratio in expected.items():
        assert on_white[name] == pytest.approx(ratio, abs=6e-3)
    on_black = {name: palette.contrast(colour, palette.BLACK) for name, colour in palette.OKABE_ITO.items()}
    assert {name for name, ratio in on_black.items() if ratio < 4.5} == {"black", "blue"}
    assert on_black["blue"] == pytest.approx(4.05, abs=6e-3)
