"""The package as others get it: what its metadata says, and that sdist and wheel install and run outside a checkout."""

import os
import re
import subprocess
import sys
import tarfile
import tomllib
import zipfile
from email.parser import Parser
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
#: extras that only those need who change the code
OURS = {"all", "bench", "test", "mutation"}
#: nobody may be asked over a network
NO_NETWORK = """
import socket
def refuse(*args, **kwargs):
    raise OSError("no network here")
socket.socket.connect = socket.create_connection = socket.getaddrinfo = refuse
"""


def test_all_brings_every_extra_of_a_user():
    extras = PROJECT["optional-dependencies"]
    (named,) = re.findall(r"armcarry\[(.+)\]", " ".join(extras["all"]))
    assert set(named.split(",")) == set(extras) - OURS


def test_licence_and_changes_are_there():
    assert PROJECT["license"] == "Apache-2.0" and PROJECT["authors"] == [{"name": "armcarry developers"}]
    (path,) = PROJECT["license-files"]
    text = (ROOT / path).read_text()
    assert "Version 2.0, January 2004" in text and "END OF TERMS AND CONDITIONS" in text
    assert f"## {PROJECT['version']}" in (ROOT / "shared" / "changelog.md").read_text()


def test_the_core_names_nothing_that_only_some_machines_can_install():
    assert [line for line in PROJECT["dependencies"] if ";" in line] == []


def test_every_extra_stands_on_the_page_of_installs():
    page = (ROOT / "shared" / "reference" / "install.md").read_text()
    assert set(re.findall(r"^\| `(\w+)` \|", page, re.MULTILINE)) == set(PROJECT["optional-dependencies"]) - OURS


def _run(command: list[str], folder: Path, env: dict[str, str] | None = None, expected: int = 0) -> str:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=500, env=env)
    assert done.returncode == expected, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


@pytest.mark.long
def test_sdist_and_wheel_install_and_run_offline_outside_a_checkout(tmp_path):
    pytest.importorskip("hatchling")
    built, away, here = tmp_path / "built", tmp_path / "installed", tmp_path / "elsewhere"
    here.mkdir()
    _run([sys.executable, "-m", "hatchling", "build", "-t", "sdist", "-d", str(built)], ROOT)
    (sdist,) = built.glob("armcarry-*.tar.gz")
    with tarfile.open(sdist) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {"README.md", "pyproject.toml", "shared/LICENSE", "sim/armcarry/__init__.py"} <= names
    assert [name for name in names if "node_modules" in name or name.startswith("runs/")] == []
    pip = [sys.executable, "-m", "pip"]
    # the wheel of the sdist, so that nothing is missing in it
    _run([*pip, "wheel", "--no-index", "--no-deps", "--no-build-isolation", "-w", str(built), str(sdist)], here)
    (wheel,) = built.glob("armcarry-*.whl")
    with zipfile.ZipFile(wheel) as archive:
        (name,) = [name for name in archive.namelist() if name.endswith(".dist-info/METADATA")]
        told = Parser().parsestr(archive.read(name).decode())
        assert any(name.endswith("licenses/shared/LICENSE") for name in archive.namelist())
    assert told["License-Expression"] == "Apache-2.0" and told["Description-Content-Type"] == "text/markdown"
    assert told.get_payload().startswith("# armcarry") and "all" in told.get_all("Provides-Extra")
    _run([*pip, "install", "--no-index", "--no-deps", "--quiet", "--target", str(away), str(wheel)], here)
    (tmp_path / "offline").mkdir()
    (tmp_path / "offline" / "sitecustomize.py").write_text(NO_NETWORK)
    env = os.environ | {"PYTHONPATH": f"{away}{os.pathsep}{tmp_path / 'offline'}", "HOME": str(here)}
    python = [sys.executable, "-W", "ignore"]
    place = _run([*python, "-c", "import armcarry; print(armcarry.__file__)"], here, env)
    assert Path(place.strip()).is_relative_to(away)
    armcarry = [*python, "-m", "armcarry"]
    assert "pump_box_to_bay_7" in _run([*armcarry, "examples"], here, env)
    _run([*armcarry, "rehearse", "unreachable_worksite", "--no-views", "--out", "run"], here, env, expected=1)
    assert "assumptions" in _run([*armcarry, "assumptions", "run", "--csv", "numbers.csv"], here, env)
    assert {path.name for path in here.iterdir()} >= {"run", "numbers.csv"}
