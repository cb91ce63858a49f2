"""What is installed, what is missing and what it would add; each thing that is missing is found."""

import json
import os
import re
import shutil
import tomllib
from importlib.metadata import PackageNotFoundError
from pathlib import Path

import pytest
from typer.testing import CliRunner

from armcarry.clearance import jit
from armcarry.cli import app
from armcarry.errors import ArmcarryError
from armcarry.files import places
from armcarry.views import gl, machine
from armcarry.views.player import display

ROOT = Path(__file__).resolve().parents[2]
#: of developers, or of all together
OTHERS = {"all", "bench", "test", "mutation"}


@pytest.fixture
def quick(monkeypatch):
    """Have nothing drawn for a trial."""
    monkeypatch.setattr(gl, "_trial", lambda: "drawn\nOpenGL renderer string:  a program\n")
    monkeypatch.setattr(machine, "_window", lambda: machine.Part("window", "there"))


def found(name, folder=Path("runs")):
    (part,) = [part for part in machine.look(folder).parts if part.name == name]
    return part


def test_this_machine_is_ready_and_each_part_is_told_once(quick, tmp_path):
    here = machine.look(tmp_path / "runs")
    names = [part.name for part in here.parts]
    assert names == ["program", "core", *machine.ADDS, "examples", "kernels", "folder", "drawing", "window"]
    assert here.ready and not (tmp_path / "runs").exists()
    assert found("drawing").words == "a program"
    core = found("core")
    assert core.state == "there" and any(text.startswith("numpy ") for text in core.versions)
    assert core.words == f"{len(core.versions)} libraries"


def test_every_extra_that_users_may_want_is_told_and_nothing_else():
    extras = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]["optional-dependencies"]
    assert set(machine.ADDS) == set(extras) - OTHERS


def _without(monkeypatch, *gone, old=()):
    real = machine.version

    def version(name):
        if name in gone:
            raise PackageNotFoundError(name)
        return "0.0.1" if name in old else real(name)

    monkeypatch.setattr(machine, "version", version)


def test_a_library_of_the_core_that_is_missing_or_old_keeps_all_from_running(quick, monkeypatch):
    _without(monkeypatch, "scipy", old=("numpy",))
    part = found("core")
    assert (part.state, part.remedy, part.needed) == ("missing", "pip install armcarry", True)
    assert re.search(r"numpy 0.0.1, asked for is >=[\d.]+; ", part.words) and "scipy" in part.words.split("; ")
    assert not machine.look(Path("runs")).ready


def test_an_extra_that_is_missing_says_what_to_type_and_keeps_nothing(quick, monkeypatch):
    _without(monkeypatch, "trimesh")
    part = found("mesh")
    assert (part.state, part.words, part.remedy) == ("missing", "trimesh", "pip install 'armcarry[mesh]'")
    assert part.adds == "meshes from GLB and COLLADA files (inspect)"
    assert machine.look(Path("runs")).ready


def test_what_has_no_wheel_here_is_told_apart_from_what_is_missing(quick, monkeypatch):
    lines = ['numpy>=1', 'coal>=3; sys_platform == "nowhere" and extra == "oracle"']
    monkeypatch.setattr(machine, "requires", lambda name: lines)
    part = found("oracle")
    assert (part.state, part.words, part.remedy) == ("not for this machine", "no wheel here: coal", "")
    lines.append('numpy>=1; extra == "oracle"')
    part = found("oracle")
    assert part.state == "there" and part.words.endswith("; no wheel for this machine: coal")
    assert found("mesh").words == "the package as it is installed does not know it"


def test_a_checkout_that_was_never_installed_says_so(quick, monkeypatch):
    def requires(name):
        raise PackageNotFoundError(name)

    monkeypatch.setattr(machine, "requires", requires)
    assert found("core").state == "missing" and not machine.look(Path("runs")).ready
    assert found("core").words == "armcarry is not installed as a package, so what it needs is not listed"


def test_a_folder_that_cannot_be_written_or_is_full_is_told(quick, monkeypatch, tmp_path):
    assert found("folder", tmp_path / "runs").state == "there"
    monkeypatch.setattr(shutil, "disk_usage", lambda place: shutil._ntuple_diskusage(10**9, 0, 499_999_999))
    part = found("folder", tmp_path / "runs")
    assert part.state == "missing" and part.words.endswith("0.5 GB free; a run and its pictures may take 0.5 GB")
    (tmp_path / "file").write_text("")
    assert found("folder", tmp_path / "file" / "runs").words == f"{tmp_path / 'file'} cannot be written"
    monkeypatch.setattr(os, "access", lambda place, mode: False)
    part = found("folder", tmp_path / "runs")
    assert (part.state, part.needed) == ("missing", True) and "--out" in part.remedy


def test_kernels_that_are_not_compiled_or_cannot_be_kept_are_told(quick, monkeypatch, tmp_path):
    monkeypatch.setattr(jit, "compiled_marker", lambda: tmp_path / "mark")
    assert found("kernels").words == f"compiled at the first start, into {tmp_path}"
    (tmp_path / "mark").write_text("")
    assert found("kernels").state == "there"
    monkeypatch.setattr(jit, "compiled_marker", lambda: None)
    part = found("kernels")
    assert (part.state, part.remedy) == ("to be done", "set NUMBA_CACHE_DIR to a folder that can be written")
    assert machine.look(Path("runs")).ready  # slower, no more


def test_examples_that_did_not_come_along_are_told(quick, monkeypatch):
    monkeypatch.setattr(places, "known_scenarios", dict)
    assert found("examples").state == "missing" and not machine.look(Path("runs")).ready


def test_a_machine_that_cannot_draw_is_told_and_still_ready(monkeypatch):
    monkeypatch.setattr(gl, "_trial", lambda: None)

    def stop():
        raise ArmcarryError(display.NO_DISPLAY)

    monkeypatch.setattr(display, "need_libraries", lambda: None)
    monkeypatch.setattr(display, "prepare", stop)
    here = {part.name: part for part in machine.look(Path("runs")).parts}
    assert (here["drawing"].state, here["drawing"].words) == ("missing", gl.HINT)
    assert (here["window"].state, here["window"].words) == ("missing", display.NO_DISPLAY)
    assert machine.look(Path("runs")).ready


@pytest.mark.parametrize(("card", "words"), [(True, "drawn by a graphics card"), (False, "drawn in software, slower")])
def test_a_window_that_opens_says_what_draws_it(monkeypatch, card, words):
    monkeypatch.setattr(display, "need_libraries", lambda: None)
    monkeypatch.setattr(display, "prepare", lambda: None)
    monkeypatch.setattr(display, "Trial", lambda: type("Trial", (), {"result": lambda self: card})())
    assert machine._window().words == words


def test_the_command_prints_all_parts_and_its_exit_code_says_whether_the_main_job_runs(quick, monkeypatch):
    told = CliRunner().invoke(app, ["doctor"])
    assert told.exit_code == 0 and told.output.rstrip().endswith("ready to rehearse")
    assert all(name in told.output for name in machine.ADDS)
    _without(monkeypatch, "numba")
    told = CliRunner().invoke(app, ["doctor", "--json"])
    said = json.loads(told.output)
    assert told.exit_code == 1 and said["ready"] is False
    assert {part["name"]: part["words"] for part in said["parts"]}["core"] == "numba"
    assert CliRunner().invoke(app, ["doctor"]).output.rstrip().endswith("something that rehearsing needs is missing")
