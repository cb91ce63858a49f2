"""Commands that write, a folder for them to work in, and a program there that runs, kills and starves them of room."""

import hashlib
import json
import os
import shutil
import struct
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from armcarry.files.places import scenarios_folder
from armcarry.record.store import load, save
from short_days import flown as day_flown

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
#: a rest between two acts that is worth not to be computed again for each kill, s
LONG_REST_S = 0.25
SERIES = """format: armcarry series 1
title: Alone
purpose: one outing
outings:
  - {name: one, scenario: short.yaml, date: 20 March 2031}
"""


@dataclass(frozen=True)
class Writer:
    """A command that writes.

    Attributes:
        words: what is typed, in a folder with short.yaml, small.yaml, series.yaml, run/, day/, a.stl and flown/.
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
    "views": Writer(("rehearse", "short.yaml", "--out", "new", "--overwrite")),
    "brief": Writer(("brief", "run", *PARTS, "--out", "views")),
    "page": Writer(("brief", "run", "--part", "page", "--out", "views")),
    "report": Writer(("brief", "run", "--part", "report", "--part", "slides", "--out", "views")),
    "movie": Writer(("brief", "run", "--part", "movie", "--cut", "0 s to 1 s, 4x", "--out", "views")),
    "freeze": Writer(("freeze", "run", "--date", "2031-03-20", "--by", "A"), "run/frozen.json", "run/frozen.json"),
    "compare": Writer(("compare", "run", "run", "--out", "two")),
    "series": Writer(("series", "series.yaml", "--out", "several")),
    "index": Writer(("index", "run", "run", "--out", "all")),
    "verify": Writer(("verify", "--out", "verified")),
    "assumptions": Writer(("assumptions", "run", "--csv", "assumed.csv")),
    "envelope": Writer(("envelope", "run", "--cell", "0.5 m", "--out", "swept.stl")),
    "route": Writer(("route", "small.yaml", "--out", "routed.yaml", "--overwrite")),
    "schedule": Writer(("schedule", "day_that_may_vary", "--out", "best.yaml", "--overwrite")),
    "replan": Writer(("replan", "day", "--at", "0:01", "--out", "on"), "on", "on"),
    "stations": Writer(("stations", "small.yaml", "--step", "8 m", "--picture", "map.png")),
    "disperse": Writer(("disperse", "short.yaml", "--runs", "3", "--workers", "1", "--out", "campaign"),
                       anew="campaign"),
    "inspect": Writer(("inspect", "a.stl", "--no-draw", "--write-model", "model"), "model", "model"),
    "picture": Writer(("inspect", "a.stl", "--picture", "a.png")),
    "new": Writer(("new", "crew", "suit", "--to", "own"), "own/models/crew/suit", "own"),
    "examples": Writer(("examples", "hazard_light", "--to", "copied"), "copied", "copied"),
    "expand": Writer(("expand", "short.yaml", "--out", "spelled.yaml")),
    "edit": Writer(("edit", "short.yaml", "--set", "title=Another", "--out", "changed.yaml")),
    "begun": Writer(("edit", "begun.yaml", "--new", "--set", "title=Another"), anew="begun.yaml"),
    "journal": Writer(("edit", "short.yaml", "--set", "title=Another", "--recover", "--journal", "kept"), anew="kept"),
    "keys": Writer(("handfly", "run", "--write-keys", "own_keys.yaml")),
    "keep": Writer(("handfly", "run", "--keep", "flown"), "flown/run", "flown/run"),
    "fly": Writer(("fly", "try"), anew="try"),
}  # fmt: skip


def whole(path):
    """Tell whether a file that one of the commands wrote is whole, by its own kind."""
    from armcarry.editing.journal import read_journal
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
            read = read_journal if data.startswith(b'{"format":"armcarry editing') else read_session
            return not data or b"\n" not in data or read(path) is not None
    ends = {".pdf": b"%%EOF", ".jpg": b"\xff\xd9", ".png": b"IEND\xaeB`\x82", ".parquet": b"PAR1", ".html": b"</html>",
            ".urdf": b"</robot>"}  # fmt: skip
    return data.rstrip(b"\n").endswith(ends.get(path.suffix, b"")) and len(data) > 0


def names(folder):
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def rests(acts):
    """Return the first act, and after each long rest the next before which a command may be held."""
    found = [1]
    for act in range(2, len(acts) + 1):
        if acts[act - 1][0] - acts[act - 2][0] > LONG_REST_S:
            found += [free for free in range(act, min(act + 6, len(acts) + 1)) if acts[free - 1][1]][:1]
    return sorted({*found})


def _state(path):
    """Return what tells whether a file or folder was changed."""
    inside = [path, *path.rglob("*")] if path.is_dir() else [path]
    return {(str(one), one.lstat().st_mtime_ns, one.lstat().st_size) for one in inside}


class Seen:
    """Looks at what a command left, at each file and run folder of one content once."""

    def __init__(self, room, writer, begun):
        self._folder, self._whole = room.folder, room.folder / writer.whole if writer.whole else None
        self._names = names(self._whole) if self._whole else set()
        self._known = set()
        self.look()
        outputs = [path for path in self._files() if path.stat().st_mtime >= begun - 0.05]
        self.largest = max((path.stat().st_size for path in outputs), default=0)

    def _files(self):
        return [path for path in self._folder.rglob("*") if path.is_file() and "/." not in str(path)]

    def hidden(self):
        return [name for name in names(self._folder) if "/." in f"/{name}"]

    def look(self):
        """Ask that every file is whole, and every folder that is written as a whole and every run."""
        for path in self._files():
            key = (path.name, hashlib.sha256(path.read_bytes()).digest())
            if key not in self._known:
                assert whole(path), path
                self._known.add(key)
        if self._whole and self._whole.exists():
            assert names(self._whole) == self._names
        for run in ("new", "flown/run", "campaign/worst", "several/one"):
            place = self._folder / run
            if place.exists():
                key = (run, frozenset((name, (place / name).read_bytes()) for name in names(place)))
                if key not in self._known:
                    load(place)
                    self._known.add(key)


def _apart(folder):
    """Return the words before a command that let it mount small file systems of its own; none where it may not."""
    for own in (["--user", "--map-root-user", "--mount"], ["--mount"]):  # anybody, and root where users have no own
        probe = ["unshare", *own, "mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(folder)]
        if shutil.which("unshare") is not None and subprocess.run(probe, capture_output=True).returncode == 0:
            return probe[: 1 + len(own)]
    return []


class Held:
    """A command that stands before an act: forks of it go on from there, each time from the same files."""

    def __init__(self, tell, folder, good):
        self._tell, self._folder, self._good = tell, folder, good
        self._keep()

    def _keep(self):
        shutil.rmtree(self._good, ignore_errors=True)
        shutil.copytree(self._folder, self._good)
        self._before = {path.name: _state(path) for path in self._folder.iterdir()}

    def _restore(self):
        for path in self._folder.iterdir():
            if _state(path) != self._before.get(path.name):
                shutil.rmtree(path) if path.is_dir() else path.unlink()
        for name in self._before:
            good, here = self._good / name, self._folder / name
            if not here.exists():
                shutil.copytree(good, here) if good.is_dir() else shutil.copy2(good, here)
                self._before[name] = _state(here)

    def go(self, kill):
        """Have a fork go on and be killed; return what became of it."""
        self._restore()
        return self._tell({"go": kill})

    def on(self, act):
        """Let it go on itself, until just before a later act."""
        self._restore()
        begun = self._tell({"on": act})
        assert begun["held"], begun
        self._keep()


class Room:
    """A folder with short.yaml, small.yaml, run/, day/, a.stl and flown/, where ``killing.py`` runs commands."""

    def __init__(self, folder, short_run, short_path):
        self.folder, self._good = folder / "room", folder / "good"
        self.folder.mkdir()
        folder = self.folder
        shutil.copy(short_path, folder / "short.yaml")
        text = (scenarios_folder() / "unreachable_worksite.yaml").read_text()
        (folder / "small.yaml").write_text(text[: text.index("carries:")] + ROUTED)
        (folder / "a.stl").write_bytes(STL)
        (folder / "series.yaml").write_text(SERIES)
        save(*short_run, folder / "run")
        save(day_flown(scenarios_folder() / "day_that_may_vary.yaml"), (), folder / "day")
        unshare = _apart(folder)
        #: whether it may mount small file systems, which nobody else sees
        self.mounts = bool(unshare)
        self._program = subprocess.Popen(
            [*unshare, sys.executable, "-W", "ignore", str(PROGRAM), str(folder)],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
            # a picture that is drawn with threads would wait for them for ever in a fork
            env={**os.environ, "ARMCARRY_CACHE": os.devnull, "LP_NUM_THREADS": "0",
                 "MESA_SHADER_CACHE_DISABLE": "true"},
        )  # fmt: skip

    def close(self):
        self._program.stdin.close()
        self._program.stdout.close()
        assert self._program.wait() == 0

    def run(self, writer, **how):
        """Run one as if it had not been run before."""
        if writer.anew:
            self._remove(writer.anew)
        return self.ask(writer.words, **how)

    def ready(self, words):
        """Fly a try by hand once a command works on one."""
        if words[0] != "fly" and any("flown" in word for word in words) and not (self.folder / "flown").exists():
            self._tell({"words": ("fly", "flown")})

    def _remove(self, name):
        old = self.folder / name
        old.unlink(missing_ok=True) if old.is_file() else shutil.rmtree(old, ignore_errors=True)

    def ask(self, words, **how):
        """Run a command and return what became of it, as ``killing.py`` says."""
        self.ready(words)
        return self._tell({"words": words, **how})

    @contextmanager
    def held(self, writer, act):
        """Run one until just before an act; give it as ``Held``."""
        if writer.anew:
            self._remove(writer.anew)
        self.ready(writer.words)
        begun = self._tell({"words": writer.words, "hold": act})
        assert begun["held"], begun
        yield Held(self._tell, self.folder, self._good)
        self._tell({"drop": True})

    def _tell(self, asked):
        self._program.stdin.write(json.dumps(asked) + "\n")
        self._program.stdin.flush()
        return json.loads(self._program.stdout.readline())
