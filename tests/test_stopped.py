"""Ctrl-C prints one line anywhere: what is kept, and how to go on."""

import builtins
import io
import os
import sys
from pathlib import Path

import pytest

from armcarry import cli
from armcarry.cli import ORDER, stopped
from armcarry.files import atomic
from armcarry.files.places import data_folder
from armcarry.record.store import save
from writers import ROUTED, SERIES, STL

#: how each command is called in a folder with short.yaml, series.yaml, a.stl and run/
CALLS = {
    "validate": ("short.yaml",), "rehearse": ("short.yaml", "--out", "new"), "play": ("run",),
    "brief": ("run", "--out", "views"), "compare": ("run", "run", "--out", "two"),
    "freeze": ("run", "--date", "2031-03-20", "--by", "A"), "series": ("series.yaml", "--out", "several"),
    "index": ("run", "--out", "all"), "envelope": ("run", "--out", "swept.stl"), "restraint": ("small.yaml", "bay_7"),
    "stations": ("small.yaml",), "route": ("small.yaml", "--out", "routed.yaml"),
    "disperse": ("short.yaml", "--runs", "3", "--out", "campaign"), "handfly": ("run", "--write-keys", "keys.yaml"),
    "inspect": ("a.stl", "--no-draw", "--write-model", "model"), "new": ("crew", "suit", "--to", "own"),
    "examples": ("hazard_light", "--to", "copied"), "list_names": ("short.yaml",), "explain": ("rate",),
    "expand": ("short.yaml", "--out", "spelled.yaml"), "assumptions": ("run", "--csv", "assumed.csv"),
    "verify": ("--out", "verified"), "doctor": (),
    "edit": ("short.yaml", "--set", "title=Another", "--out", "changed.yaml"),
    "schedule": ("day_that_may_vary", "--out", "best.yaml"), "replan": ("run", "--at", "0:01"),
}  # fmt: skip
#: what each of those says once it has written all that it writes
WRITTEN = {
    **{command: f"{name} kept, whole; the same command makes what is missing" for command, name in (
        ("freeze", "run/frozen.json"), ("inspect", "model"), ("new", "crew.schema.json"), ("examples", "copied"),
        ("expand", "spelled.yaml"),
    )},
    "handfly": "keys.yaml kept, whole; handfly RUN --keep FOLDER makes a run",
    "assumptions": "assumed.csv kept, whole; the same command makes all again",
}  # fmt: skip


@pytest.fixture(scope="module")
def prepared(short_run, short_path, tmp_path_factory):
    folder = tmp_path_factory.mktemp("stopped")
    (folder / "short.yaml").write_bytes(Path(short_path).read_bytes())
    text = (data_folder() / "scenarios" / "unreachable_worksite.yaml").read_text()
    (folder / "small.yaml").write_text(text[: text.index("carries:")] + ROUTED)
    (folder / "series.yaml").write_text(SERIES)
    (folder / "a.stl").write_bytes(STL)
    save(*short_run, folder / "run")
    return folder


@pytest.fixture
def typed(prepared, monkeypatch, capsys):
    """Type a command in a folder, and return its exit code and what it said."""
    monkeypatch.chdir(prepared)
    monkeypatch.setattr(atomic, "_WHOLE", {})

    def type_(command):
        name = REGISTERED[command].name or command
        monkeypatch.setattr(sys, "argv", ["armcarry", name, *CALLS[command]])
        with pytest.raises(SystemExit) as ended:
            cli.main()
        monkeypatch.undo()
        return ended.value.code, capsys.readouterr().err.strip().splitlines()

    return type_


REGISTERED = {command.callback.__name__: command for command in cli.app.registered_commands}


def test_every_command_of_the_command_line_is_stopped_here():
    assert set(CALLS) == set(REGISTERED) == set(ORDER)


@pytest.mark.parametrize("command", ORDER)
def test_ctrl_c_at_the_first_file_that_is_read_or_written(typed, prepared, monkeypatch, command):
    """Whatever a command does first with a file of the user's or of ours: it is stopped there."""
    ours = (str(prepared), str(data_folder()))
    touched = []

    def stop_at(module, name):
        real = getattr(module, name)

        def stops(path, *more, **options):
            if isinstance(path, int):  # a pipe to a process beside
                return real(path, *more, **options)
            here = Path(os.fsdecode(path)).absolute()
            if not touched and str(here).startswith(ours) and "sim" not in here.parts:
                touched.append(path)
                raise KeyboardInterrupt
            return real(path, *more, **options)

        monkeypatch.setattr(module, name, stops)

    before = {path: path.lstat().st_mtime_ns for path in prepared.rglob("*")}
    for module, name in ((io, "open"), (builtins, "open"), (os, "open"), (os, "mkdir"), (os, "scandir")):
        stop_at(module, name)
    code, said = typed(command)
    assert touched or command in UNTOUCHED
    if touched:
        assert (code, said[-1]) == (130, "armcarry: stopped; nothing was changed; the same command begins again")
        assert len([line for line in said if "stopped" in line]) == 1 and "Traceback" not in "".join(said)
    assert {path: path.lstat().st_mtime_ns for path in prepared.rglob("*")} == before


#: commands that read and write no file with these words, or look first whether there is a display
UNTOUCHED = ("explain", "play", "doctor")


@pytest.mark.parametrize("command", list(WRITTEN))
def test_ctrl_c_once_all_is_written_says_what_is_kept(typed, prepared, monkeypatch, command):
    real = atomic.sync_folder

    def stops(folder):
        real(folder)
        if any(prepared in path.absolute().parents for path in atomic.whole_so_far()):
            raise KeyboardInterrupt

    for name in ("armcarry.files.atomic", "armcarry.files.together"):
        monkeypatch.setattr(f"{name}.sync_folder", stops)
    code, said = typed(command)
    assert code == 130, said
    assert said[-1].startswith("armcarry: stopped; ") and WRITTEN[command] in said[-1], said


@pytest.mark.parametrize("command", ORDER)
def test_every_command_says_what_is_kept(command):
    for written in ((), [Path("a"), Path("a/b"), Path("c")]):
        told = stopped(["-v", command, "x.yaml"], written)
        assert told.startswith("stopped; ") and "\n" not in told and len(told) < 130
        assert ("a and 1 more kept, whole; " in told) == bool(written)


@pytest.mark.parametrize("where", ["armcarry.files.load.load_scenario", "armcarry.clearance.ready.make_ready"])
def test_ctrl_c_is_one_line_and_exit_code_130(monkeypatch, capsys, short_path, tmp_path, where):
    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr(where, stop)
    monkeypatch.setattr(atomic, "_WHOLE", {})
    monkeypatch.setattr(sys, "argv", ["armcarry", "rehearse", str(short_path), "--out", str(tmp_path / "run")])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    assert ended.value.code == 130
    told = capsys.readouterr()
    assert (told.out, told.err.strip().splitlines()[-1]) == (
        "", "armcarry: stopped; nothing was changed; the same command begins again",
    )  # fmt: skip
    assert list(tmp_path.iterdir()) == []


def test_a_run_stopped_while_it_is_drawn_says_that_it_has_no_pictures(monkeypatch, short_run, tmp_path):
    from armcarry.views.rehearsed import write_views

    def stop(*_):
        raise KeyboardInterrupt

    monkeypatch.setattr("armcarry.views.plots.joint_rate_figure", stop)
    with pytest.raises(KeyboardInterrupt):
        write_views(*short_run, tmp_path / "views")
    assert "drawing was stopped" in (tmp_path / "views" / "pictures_left_out.txt").read_text()
