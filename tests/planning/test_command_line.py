"""The commands route and stations as a user types them: output, files and exit codes."""

import json
import sys

import pytest

from armcarry.cli import main
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder

#: too far along the track for its one worksite
UNREACHABLE = scenarios_folder() / "unreachable_worksite.yaml"
SMALL = """carries:
  - name: aside
    title: A little aside
    moves:
      - {hold: 10 s, name: ready, say: Ready}
      - {to_joints: {shoulder_turn: 80 deg}, name: over, say: Over}
"""


@pytest.fixture
def small(tmp_path):
    """Write a scenario with one short swing through free space."""
    whole = UNREACHABLE.read_text()
    path = tmp_path / "small.yaml"
    path.write_text(whole[: whole.index("carries:")] + SMALL)
    return path


@pytest.fixture
def command(monkeypatch, capsys):
    """Type a command and return its exit code, output and error output."""

    def typed(*words):
        monkeypatch.setattr(sys, "argv", ["armcarry", *map(str, words)])
        with pytest.raises(SystemExit) as end:
            main()
        told = capsys.readouterr()
        return end.value.code, told.out, told.err

    return typed


@pytest.mark.long
def test_a_route_is_written_as_a_scenario_and_told_as_one_json_document(command, small, tmp_path):
    before = small.read_bytes()
    code, out, _ = command("route", small, "--out", tmp_path / "new.yaml", "--carry", "aside", "--json")
    told = json.loads(out)
    assert code == 0
    assert set(told) == {"stretches", "written", "new", "seed", "failed", "caused"}
    (stretch,) = told["stretches"]
    assert (stretch["carry"], stretch["first_move"], stretch["moves"], stretch["title"]) == ("aside", 2, 1, "over")
    assert 0.0 < stretch["script_m"] < 1.0
    assert told["new"] == sum(item["better"] for item in told["stretches"])
    assert (told["written"], told["failed"]) == (str(tmp_path / "new.yaml"), [])
    assert small.read_bytes() == before
    moves = load_scenario(tmp_path / "new.yaml").scenario.carries[0].moves
    assert (moves[0].name, moves[-1].name) == ("ready", "over")
    # the same seed again, over the same file
    code, again, _ = command("route", small, "--out", tmp_path / "new.yaml", "--overwrite", "--json")
    assert (code, again) == (0, out)


def test_a_stretch_without_a_way_ends_with_1_and_says_why(command, tmp_path):
    code, out, _ = command("route", UNREACHABLE, "--out", tmp_path / "new.yaml")
    assert code == 1
    assert "0 of 1 stretches written anew" in out
    assert "new.yaml: 1 finding fails, all of them in the script too" in " ".join(out.split())
    assert "reach: mast cannot be made" in out


def test_a_route_refuses_what_it_cannot_read_or_write_before_it_works(command, small, tmp_path):
    new = tmp_path / "new.yaml"
    code, out, err = command("route", small, "--out", new, "--carry", "asid")
    assert (code, out) == (2, "")
    assert err.strip() == "armcarry: no carry with moves of its own named 'asid'; did you mean 'aside'?"
    assert not new.exists()
    new.write_text("by hand")
    code, out, err = command("route", small, "--out", new)
    assert (code, out) == (2, "")
    words = "there is something of this name already; accepted: another --out, or --overwrite"
    assert err.strip() == f"armcarry: {new}: {words}"
    assert new.read_text() == "by hand"
    code, _, err = command("route", small, "--out", tmp_path / "absent" / "new.yaml")
    assert code == 2
    assert "no such folder to write into" in err
    code, _, err = command("route", tmp_path / "absent.yaml", "--out", tmp_path / "other.yaml")
    assert code == 2
    assert "absent.yaml" in err
    code, _, err = command("route", small, "--out", small, "--overwrite")
    assert code == 2
    assert "a route is written to a new file, the script stays as it is" in err
    assert command("route", small)[0] == 2
    assert command("route", small, "--out", tmp_path / "other.yaml", "--seed", "-1")[0] == 2
    assert not (tmp_path / "other.yaml").exists()


def test_stations_end_with_1_where_a_worksite_is_out_of_reach_and_with_2_for_bad_input(command, small):
    code, out, _ = command("stations", small, "mast_top", "rack_a", "--step", "12 m", "--json")
    told = json.loads(out)
    assert code == (1 if told["unreached"] else 0)
    assert told["worksites"] == ["mast_top", "rack_a"]
    for words, said in (
        (("rack_c",), "no worksite 'rack_c'"),
        (("rack_a", "--step", "12"), "unit"),
        (("rack_a", "--step", "0 m"), "stations need a step of more than zero"),
    ):
        code, out, err = command("stations", small, *words)
        assert (code, out) == (2, "")
        assert said in err
