"""Commands killed at any moment: every output is whole or not there, and a rerun leaves nothing of the killed one."""

import json
import os
import random
import re
import shutil
import struct
import subprocess
import sys
import time

import pytest

from armcarry.record.store import load, save

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")

STL = b"x".ljust(80) + struct.pack("<I", 4) + b"".join(
    struct.pack("<12fH", 0, 0, 0, *a, *b, *c, 0)
    for a, b, c in (
        ((0, 0, 0), (0, 1, 0), (1, 0, 0)), ((0, 0, 0), (1, 0, 0), (0, 0, 1)), ((0, 0, 0), (0, 0, 1), (0, 1, 0)),
        ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    )
)  # fmt: skip
#: command -> what it is called with, in a folder with short.yaml, run/ and a.stl
COMMANDS = {
    "rehearse": ["rehearse", "short.yaml", "--out", "new", "--overwrite", "--no-views"],
    "brief": ["brief", "run", "--part", "gltf", "--part", "cards", "--out", "views"],
    "inspect": ["inspect", "a.stl", "--no-draw", "--write-model", "model"],
    "envelope": ["envelope", "run", "--cell", "0.5 m", "--out", "swept.stl"],
}


def whole(path):
    """Tell whether a file that one of the commands wrote is whole, by its own kind."""
    data = path.read_bytes()
    if path.suffix == ".glb":
        return len(data) == struct.unpack_from("<I", data, 8)[0]
    if path.suffix == ".stl":
        return len(data) == 84 + 50 * struct.unpack_from("<I", data, 80)[0]
    if path.suffix == ".pdf":
        return data.rstrip().endswith(b"%%EOF")
    if path.suffix == ".json":
        return json.loads(data) is not None
    return bool(data)


def kill_often(folder, command, kills):
    """Kill a command at moments spread over the time it takes, then let it end; return how often it was killed."""
    start = [sys.executable, "-m", "armcarry", *COMMANDS[command]]
    quiet = {"stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
    begun = time.monotonic()
    subprocess.run(start, **quiet)
    took, dice, killed = time.monotonic() - begun, random.Random(command), 0
    for _ in range(kills):
        if command == "inspect":
            shutil.rmtree(folder / "model", ignore_errors=True)
        running = subprocess.Popen(start, **quiet)
        time.sleep(dice.uniform(0.5, 1.0) * took)  # what comes before is Python starting
        killed += running.poll() is None
        running.kill()
        running.wait()
        made = [path for path in folder.rglob("*") if path.is_file() and not re.search(r"/\.", str(path))]
        assert [path for path in made if not whole(path)] == []
        if (folder / "new").exists():
            load(folder / "new")
    if command == "inspect":
        shutil.rmtree(folder / "model", ignore_errors=True)
    done = subprocess.run(start, cwd=folder, capture_output=True, text=True)
    assert done.returncode in (0, 1), done.stderr
    assert [path for path in folder.rglob(".*") if path.name != ".cache"] == []
    return killed


@pytest.fixture
def place(short_run, short_path, tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", os.devnull)
    shutil.copy(short_path, tmp_path / "short.yaml")
    (tmp_path / "a.stl").write_bytes(STL)
    save(*short_run, tmp_path / "run")
    return tmp_path


@pytest.mark.long
@pytest.mark.parametrize("command", list(COMMANDS))
def test_commands_killed_at_any_moment_leave_whole_files(place, command):
    kills = int(os.environ.get("ARMCARRY_KILLS", "50"))
    assert kill_often(place, command, kills) >= kills // 2


def test_a_command_killed_a_few_times_leaves_whole_files(place):
    assert kill_often(place, "inspect", 2) >= 1
