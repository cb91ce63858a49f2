"""armcarry edit without a window: keys set, a killed session gone on with, what is wrong said."""

import json

from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.editing import Session

RUNNER = CliRunner()


def test_keys_are_set_and_what_comes_of_it_is_told_and_written(script, tmp_path):
    out = tmp_path / "slow.yaml"
    done = RUNNER.invoke(app, ["edit", str(script), "--set", "carries.0.moves.6.rate=0.5", "--out", str(out)])
    assert done.exit_code == 0, done.output
    lines = done.output.splitlines()
    assert lines[3].startswith("+      - {line: {frame: platform/rack_a_stand") and "rate: 0.5" in lines[3]
    assert any("platform/rack_a_locker to pump_box/connector" in line for line in lines)
    assert lines[-1] == f"Written to {out}"
    assert "rate: 0.5" in out.read_text()
    assert "rate: 0.5, name: out" not in script.read_text()


def test_a_killed_session_is_gone_on_with(script, tmp_path):
    session = Session(script, journal=tmp_path / "kept")
    session.option((0, 6), "rate", 0.5)
    session._journal.close()
    done = RUNNER.invoke(app, ["edit", str(script), "--journal", str(tmp_path / "kept"), "--recover", "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert told["changes"] == ["out: rate 0.5"]
    assert told["failing"] == []
    assert told["written"] is None
    again = Session(script, journal=tmp_path / "kept")
    assert again.resumed == 1
    again.close()


def test_what_is_no_key_or_fails_at_once_is_said(script):
    done = RUNNER.invoke(app, ["edit", str(script), "--set", "nothing"])
    assert "not a key and its value; found 'nothing'; accepted: carries.0.moves.9.rate=0.6" in str(done.exception)
    done = RUNNER.invoke(app, ["edit", str(script), "--set", "carries.0.moves.6.line.to=[-60 m, 0 m, 0 m]"])
    assert done.exit_code == 1
    assert "fail reach: out cannot be made" in done.output


def test_a_script_is_begun_from_its_models_alone(tmp_path):
    path, named = tmp_path / "mine.yaml", ["--platform", "tern_yard", "--arm", "heron", "--rules", "tern_yard"]
    done = RUNNER.invoke(app, ["edit", str(path), "--new", *named, "--set", "title=Mine", "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert told["failing"] == []
    assert "+title: Mine" in told["difference"]
    assert Session(path).script.data.keys() == {"format", "title", "purpose", "platform", "arm", "rules", "base"}
    again = RUNNER.invoke(app, ["edit", str(path), "--new", "--set", "title=Mine"])
    assert f"{path}: something stands here already; accepted: another name" in str(again.exception)
    other = RUNNER.invoke(app, ["edit", str(tmp_path / "other.yaml"), "--new", "--arm", "crane"])
    assert "crane" in str(other.exception)
    assert not (tmp_path / "other.yaml").exists()
    lone = RUNNER.invoke(app, ["edit", str(path), "--arm", "heron"])
    assert "--arm goes with --new" in str(lone.exception)
