"""Commands that write, a folder for them to work in, and a program there that runs, kills and starves them of room."""

import json
import os
import shutil
import struct
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from armcarry.files.places import scenarios_folder
from armcarry.record.store import save

PROGRAM = Path(__file__).parents[1] / "hostile" / "killing.py"
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


#: parts of a briefing that need no movie
PARTS = tuple(word for part in ("gltf", "procedure", "cards", "script") for word in ("--part", part))
WRITERS = {
    "rehearse": Writer(("rehearse", "short.yaml", "--out", "new", "--overwrite", "--no-views"), "new"),
    "brief": Writer(("brief", "run", *PARTS, "--out", "views")),
    "freeze": Writer(("freeze", "run", "--date", "2031-03-20", "--by", "A"), "run/frozen.json", "run/frozen.json"),
    "compare": Writer(("compare", "run", "run", "--out", "two")),
    "index": Writer(("index", "run", "run", "--out", "all")),
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
    ends = {".pdf": b"%%EOF", ".jpg": b"\xff\xd9", ".png": b"IEND\xaeB`\x82", ".parquet": b"PAR1", ".html": b"</html>",
            ".urdf": b"</robot>"}  # fmt: skip
    return data.rstrip(b"\n").endswith(ends.get(path.suffix, b"")) and len(data) > 0


def names(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


class Room:
    """A folder with short.yaml, small.yaml, run/, a.stl and flown/, where ``killing.py`` runs commands."""

    def __init__(self, folder, short_run, short_path):
        self.folder = folder
        shutil.copy(short_path, folder / "short.yaml")
        text = (scenarios_folder() / "unreachable_worksite.yaml").read_text()
        (folder / "small.yaml").write_text(text[: text.index("carries:")] + ROUTED)
        (folder / "a.stl").write_bytes(STL)
        save(*short_run, folder / "run")
        unshare = ["unshare", "--user", "--map-root-user", "--mount"]
        probe = [*unshare, "mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)]
        #: whether it may mount small file systems, which nobody else sees
        self.mounts = shutil.which("unshare") is not None and subprocess.run(probe, capture_output=True).returncode == 0
        self._program = subprocess.Popen(
            [*(unshare if self.mounts else ()), sys.executable, "-W", "ignore", str(PROGRAM), str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env={**os.environ, "ARMCARRY_CACHE": os.devnull},
        )  # fmt: skip
        self.ask(("fly", "flown"))

    def close(self):
        self._program.stdin.close()
        self._program.stdout.close()
        assert self._program.wait() == 0

    def run(self, writer, **kill):
        """Run one as if it had not been run before."""
        if writer.anew:
            old = self.folder / writer.anew
            old.unlink(missing_ok=True) if old.is_file() else shutil.rmtree(old, ignore_errors=True)
        return self.ask(writer.words, **kill)

    def ask(self, words, **how):
        """Run a command and return what became of it, as ``killing.py`` says."""
        self._program.stdin.write(json.dumps({"words": words, **how}) + "\n")
        self._program.stdin.flush()
        return json.loads(self._program.stdout.readline())
