"""Commands killed at any moment: every output is whole or not there, and a rerun leaves nothing of the killed one."""

import json
import os
import random
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

import pytest

from armcarry.files.places import scenarios_folder
from armcarry.record.store import load, save

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks, SIGKILL and files without a name")

STL = b"x".ljust(80) + struct.pack("<I", 4) + b"".join(
    struct.pack("<12fH", 0, 0, 0, *a, *b, *c, 0)
    for a, b, c in (
        ((0, 0, 0), (0, 1, 0), (1, 0, 0)), ((0, 0, 0), (1, 0, 0), (0, 0, 1)), ((0, 0, 0), (0, 0, 1), (0, 1, 0)),
        ((1, 0, 0), (0, 1, 0), (0, 0, 1)),
    )
)  # fmt: skip
ROUTED = """carries:
  - name: aside
    moves:
      - {hold: 10 s, name: ready, say: Ready}
      - {to_joints: {shoulder_turn: 80 deg}, name: over, say: Over}
"""


@dataclass(frozen=True)
class Writer:
    """A command that writes.

    Attributes:
        words: what is typed, in a folder with short.yaml, small.yaml, run/, a.stl and flown/.
        whole: a folder that it writes as a whole, empty for none.
        anew: what is removed before each call, because it is not written over.
    """

    words: tuple[str, ...]
    whole: str = ""
    anew: str = ""


WRITERS = {
    "rehearse": Writer(("rehearse", "short.yaml", "--out", "new", "--overwrite", "--no-views"), "new"),
    "brief": Writer(("brief", "run", "--part", "gltf", "--part", "cards", "--out", "views")),
    "envelope": Writer(("envelope", "run", "--cell", "0.5 m", "--out", "swept.stl")),
    "route": Writer(("route", "small.yaml", "--out", "routed.yaml", "--overwrite")),
    "stations": Writer(("stations", "small.yaml", "--step", "8 m", "--picture", "map.png")),
    "disperse": Writer(("disperse", "short.yaml", "--runs", "3", "--workers", "1", "--no-views", "--out", "campaign"),
                       anew="campaign"),
    "inspect": Writer(("inspect", "a.stl", "--no-draw", "--write-model", "model"), "model", "model"),
    "new": Writer(("new", "crew", "suit", "--to", "own"), "own/models/crew/suit", "own"),
    "examples": Writer(("examples", "hazard_light", "--to", "copied"), "copied", "copied"),
    "keep": Writer(("handfly", "run", "--keep", "flown"), "flown/run", "flown/run"),
    "fly": Writer(("fly", "try"), anew="try"),
}  # fmt: skip


def whole(path):
    """Tell whether a file that one of the commands wrote is whole, by its own kind."""
    from armcarry.files.yaml_text import read_yaml
    from armcarry.handfly.session import read_session

    data = path.read_bytes()
    match path.suffix:
        case ".glb":
            return len(data) == struct.unpack_from("<I", data, 8)[0]
        case ".stl":
            return len(data) == 84 + 50 * struct.unpack_from("<I", data, 80)[0]
        case ".json":
            return json.loads(data) is not None
        case ".yaml":
            return "format" in read_yaml(path).data
        case ".jsonl":  # written as it is flown: a last line that was cut off is left out
            return not data or b"\n" not in data or read_session(path) is not None
    ends = {".pdf": b"%%EOF", ".png": b"IEND\xaeB`\x82", ".parquet": b"PAR1", ".html": b"</html>", ".urdf": b"</robot>"}
    return data.rstrip(b"\n").endswith(ends.get(path.suffix, b"")) and len(data) > 0


def names(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


class Killer:
    """Runs commands in a folder by ``killing.py`` and looks at what a killed one left."""

    def __init__(self, folder):
        self.folder = folder
        self._program = subprocess.Popen(
            [sys.executable, "-W", "ignore", str(Path(__file__).with_name("killing.py")), str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        )  # fmt: skip

    def close(self):
        self._program.stdin.close()
        self._program.stdout.close()
        assert self._program.wait() == 0

    def run(self, writer, **kill):
        if writer.anew:
            shutil.rmtree(self.folder / writer.anew, ignore_errors=True)
        return self.again(writer, **kill)

    def again(self, writer, **kill):
        self._program.stdin.write(json.dumps({"words": writer.words, **kill}) + "\n")
        self._program.stdin.flush()
        return json.loads(self._program.stdout.readline())

    def kill_often(self, writer, kills):
        """Kill a command before acts on files spread over all of them, and at moments spread over its time.

        After each kill every file is whole, and the same command again ends well and leaves nothing behind.
        """
        for _ in range(2):  # a first call may make folders that stay
            first = self.run(writer)
            assert first["code"] in (0, 1) and "Traceback" not in first["said"], first["said"]
        whole_names, every = names(self.folder / writer.whole), names(self.folder)
        dice, killed = random.Random(writer.words[0]), 0
        by_act = sorted({1 + round(k * (first["acts"] - 1) / max(1, kills // 2)) for k in range(kills // 2 + 1)})
        by_time = [{"after_s": dice.uniform(0.1, 1.0) * first["took_s"]} for _ in range(kills - len(by_act))]
        for number, kill in enumerate([*({"act": act} for act in by_act), *by_time]):
            done = self.run(writer, **kill)
            assert done["killed"] or "after_s" in kill, done
            killed += done["killed"]
            left = [path for path in self.folder.rglob("*") if path.is_file() and "/." not in str(path)]
            assert [path for path in left if not whole(path)] == []
            if writer.whole and (self.folder / writer.whole).exists():
                assert names(self.folder / writer.whole) == whole_names
            for run in ("new", "flown/run"):
                if (self.folder / run).exists():
                    load(self.folder / run)
            if number % 10 == 0 or number == kills - 1:
                after = self.run(writer) if writer.words[0] == "fly" else self.again(writer)
                told = after["code"] == 2 and writer.whole == writer.anew != "" and "already" in after["said"]
                assert after["code"] in (0, 1) or told, after["said"]  # killed at its very end, when all was there
                assert names(self.folder) == every
        return killed


@pytest.fixture(scope="module")
def killer(short_run, short_path, tmp_path_factory):
    folder = tmp_path_factory.mktemp("killed")
    shutil.copy(short_path, folder / "short.yaml")
    text = (scenarios_folder() / "unreachable_worksite.yaml").read_text()
    (folder / "small.yaml").write_text(text[: text.index("carries:")] + ROUTED)
    (folder / "a.stl").write_bytes(STL)
    save(*short_run, folder / "run")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ARMCARRY_CACHE", os.devnull)
        made = Killer(folder)
    made.again(Writer(("fly", "flown")))
    yield made
    made.close()


@pytest.mark.long
@pytest.mark.parametrize("command", list(WRITERS))
def test_commands_killed_at_any_moment_leave_whole_files(killer, command):
    kills = int(os.environ.get("ARMCARRY_KILLS", "50"))
    # those at acts surely, those by time as far as the call before told how long it takes
    assert killer.kill_often(WRITERS[command], kills) > kills // 2


@pytest.mark.parametrize("command", ["inspect", "examples", "fly"])
def test_a_command_killed_a_few_times_leaves_whole_files(killer, command):
    assert killer.kill_often(WRITERS[command], 3) >= 2
