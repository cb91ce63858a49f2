"""armcarry handfly without a window: keys written, tries scored, what is wrong said."""

import json

import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.handfly import cockpit as cockpit_module
from armcarry.handfly.cockpit import Cockpit, course_of
from armcarry.handfly.command import Command
from armcarry.handfly.keys import read_keys

RUNNER = CliRunner()


def test_the_keys_are_written_to_edit(tmp_path):
    done = RUNNER.invoke(app, ["handfly", "any", "--write-keys", str(tmp_path / "keys.yaml")])
    assert done.exit_code == 0
    assert done.output.strip() == str(tmp_path / "keys.yaml")
    assert read_keys(tmp_path / "keys.yaml") == read_keys(None)


@pytest.mark.long
def test_tries_are_scored_side_by_side_and_one_is_kept(course, short_script, tmp_path, monkeypatch):
    for name, ticks in (("try_1", 30), ("try_2", 90)):
        cockpit = Cockpit(course, tmp_path / name)
        for _ in range(ticks):
            cockpit.tick(Command(frame="platform", push=(0.0, -1.0, 0.0)))
        cockpit.close()
    tries = ["--score", str(tmp_path / "try_1"), "--score", str(tmp_path / "try_2" / "session.jsonl")]
    done = RUNNER.invoke(app, ["handfly", str(short_script), *tries], catch_exceptions=False)
    assert done.exit_code == 0, done.output
    lines = done.stdout.strip().splitlines()
    assert lines[0].startswith("try  time  way of the tool  least margin")
    assert lines[1].startswith("try_1  1 s")
    assert lines[2].startswith("try_2  3 s")
    done = RUNNER.invoke(app, ["handfly", str(short_script), *tries, "--json"])
    scores = json.loads(done.output)["scores"]
    assert scores["try_1"]["way_m"] < scores["try_2"]["way_m"]
    assert scores["try_2"]["corrections"] == 0
    # what keeping writes is tested in test_flight.py
    kept = []
    monkeypatch.setattr(cockpit_module, "keep", lambda flight, at, tell: kept.append((flight, at)) or at / "run")
    done = RUNNER.invoke(app, ["handfly", str(short_script), "--keep", str(tmp_path / "try_2" / "session.jsonl")])
    assert done.stdout.strip() == str(tmp_path / "try_2" / "run")
    ((flight, at),) = kept
    assert at == tmp_path / "try_2"
    assert flight.pilot.time_s == pytest.approx(3.0, abs=0.1)


def test_a_scenario_without_a_carry_cannot_be_flown(short_script, tmp_path):
    path = tmp_path / "none.yaml"
    text = short_script.read_text(encoding="utf-8")
    path.write_text(text.split("\ncarries:", 1)[0] + "\ncarries: []\n", encoding="utf-8")
    with pytest.raises(InputError, match="there is nothing to fly by hand"):
        course_of(path)
