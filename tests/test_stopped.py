"""Ctrl-C prints one line anywhere: what is kept, and how to go on."""

import sys

import pytest

from armcarry import cli
from armcarry.cli import ORDER, stopped


@pytest.mark.parametrize("command", ORDER)
def test_every_command_says_what_is_kept(command):
    told = stopped(["-v", command, "x.yaml"])
    assert told.startswith("stopped; ") and "\n" not in told and len(told) < 120


@pytest.mark.parametrize("where", ["armcarry.planning.left_open.load_scenario", "armcarry.clearance.ready.make_ready"])
def test_ctrl_c_is_one_line_and_exit_code_130(monkeypatch, capsys, short_path, tmp_path, where):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(where, stop)
    monkeypatch.setattr(sys, "argv", ["armcarry", "rehearse", str(short_path), "--out", str(tmp_path / "run")])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 130
    told = capsys.readouterr()
    assert (told.out, told.err.strip().splitlines()[-1]) == (
        "",
        "armcarry: stopped; an earlier run of that name is as it was, or the new one whole; the same command begins "
        "again",
    )
    assert list(tmp_path.iterdir()) == []
