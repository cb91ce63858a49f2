"""What can be named is listed: models, and everything a script may speak of in one of them."""

import json
import shutil

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files.listing import MODEL_KINDS, model_rows, models_here, rows_of
from armcarry.files.places import models_folder


def test_every_model_that_comes_along_is_listed_once_by_kind():
    rows = model_rows()
    assert [row[0] for row in rows] == sorted((row[0] for row in rows), key=MODEL_KINDS.index)
    files = {path.stem for path in models_folder().glob("*/*/*.yaml") if path.parent.name == path.stem}
    assert {name for _, name, _ in rows} == files
    assert all(title for *_, title in rows)


def test_ones_own_model_goes_before_one_of_the_same_name(tmp_path):
    shutil.copytree(models_folder() / "arms" / "heron", tmp_path / "models" / "arms" / "heron")
    assert models_here(tmp_path)["arms", "heron"].is_relative_to(tmp_path)
    assert models_here()["arms", "heron"].resolve().is_relative_to(models_folder())


@pytest.mark.parametrize(
    ("model", "rows"),
    [
        ("tern_yard", [("cart", "cart_1", "-20.3 m to 20.3 m"), ("mount", "quay", "stands still"),
                       ("appendage", "solar_wing", "states edge_on, level, sloped"),
                       ("seat", "bay_7_seat", "takes pump_box; 4 bolts, 1 connectors")]),
        ("heron", [("joint", "shoulder_turn", "-270.0 deg to 270.0 deg")]),
        ("pump_box", [("fastener", "cover", "cover, 1"), ("hold", "two_hands",
                      "before it is carried: cover open, tethered")]),
        ("foot_restraint", [("setting", "pitch", "-30 deg to 120 deg in steps of 15 deg")]),
        ("suited", [("posture", "carry", "")]),
    ],
)  # fmt: skip
def test_all_that_a_script_may_name_is_listed(model, rows):
    found = rows_of(model)
    for row in rows:
        assert row[:2] in [one[:2] for one in found], row
    told = {one[:2]: one[2] for one in found}
    assert [told[row[:2]] for row in rows if row[0] not in ("cart", "joint")] == [
        row[2] for row in rows if row[0] not in ("cart", "joint")
    ]
    assert all(" to " in told[row[:2]] for row in rows if row[0] in ("cart", "joint"))


def test_a_wrong_name_is_told_with_the_nearest():
    with pytest.raises(InputError) as caught:
        rows_of("tern_yrad")
    assert str(caught.value).startswith("no model named 'tern_yrad'; accepted: tern_yard (nearest), or one of: ")


def test_the_command_lists_in_full_into_a_pipe(monkeypatch):
    monkeypatch.delenv("COLUMNS", raising=False)  # set, it is a wish for that width: whoever starts tests may set it
    printed = CliRunner().invoke(app, ["list", "tern_yard"])
    assert printed.exit_code == 0
    words = "rack A, bay 11 port: where the pump box is stowed; seat rack_a_seat; handrail keel_port_11"
    assert words in printed.output
    told = json.loads(CliRunner().invoke(app, ["list", "--json"]).output)["names"]
    assert {"kind": "arms", "name": "heron", "title": "Heron, seven turning joints, booms of 7.6 m and 6.5 m"} in told
