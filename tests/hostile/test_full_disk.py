"""Commands onto a disk that is really full, of any size: good files stay good, one plain line, exit code 2."""

import shutil
from contextlib import nullcontext
from dataclasses import dataclass

import pytest

from armcarry.record.store import load
from writers import PARTS, WRITERS, Writer, names, rests, whole

SIZES = 12


@dataclass(frozen=True)
class Onto:
    """How a command is called to write into disk/.

    Attributes:
        words: what is typed.
        kept: what of a good run of it already lies there, "." for all, "" for nothing.
        needs: a folder that it works on, which lies in disk/ too.
        partly: it writes several things, each whole or not at all, so that some may be new when it is refused.
        held: its work is done once, and it writes from there onto each disk.
    """

    words: tuple[str, ...]
    kept: str = ""
    needs: str = ""
    partly: bool = False
    held: bool = False


ONTO = {
    "rehearse": Onto(("rehearse", "short.yaml", "--out", "disk/new", "--overwrite", "--no-views"), "new", held=True),
    "brief": Onto(("brief", "run", *PARTS, "--out", "disk"), ".", partly=True),
    "page": Onto(("brief", "run", "--part", "page", "--out", "disk"), ".", held=True),
    "report": Onto(("brief", "run", "--part", "report", "--part", "slides", "--out", "disk"), ".", partly=True),
    "freeze": Onto(("freeze", "disk/run", "--date", "2031-03-20", "--by", "A"), needs="run"),
    "compare": Onto(("compare", "run", "run", "--out", "disk/two"), partly=True),
    "series": Onto(("series", "series.yaml", "--out", "disk/several"), partly=True),
    "index": Onto(("index", "run", "run", "--out", "disk/all"), partly=True),
    "verify": Onto(("verify", "--out", "disk/verified"), "verified", partly=True, held=True),
    "assumptions": Onto(("assumptions", "run", "--csv", "disk/assumed.csv"), "assumed.csv", held=True),
    "envelope": Onto(("envelope", "run", "--cell", "0.5 m", "--out", "disk/swept.stl"), "swept.stl", held=True),
    "route": Onto(("route", "small.yaml", "--out", "disk/routed.yaml", "--overwrite"), "routed.yaml", held=True),
    "schedule": Onto(("schedule", "day_that_may_vary", "--out", "disk/best.yaml", "--overwrite"), partly=True,
                     held=True),
    "replan": Onto(("replan", "day", "--at", "0:01", "--out", "disk/on")),
    "stations": Onto(("stations", "small.yaml", "--step", "8 m", "--picture", "disk/map.png"), "map.png", held=True),
    "disperse": Onto(("disperse", "short.yaml", "--runs", "3", "--workers", "1", "--no-views", "--out", "disk/far"),
                     partly=True),
    "inspect": Onto(("inspect", "a.stl", "--no-draw", "--write-model", "disk/model")),
    "picture": Onto(("inspect", "a.stl", "--picture", "disk/a.png"), "a.png", held=True),
    "new": Onto(("new", "crew", "suit", "--to", "disk/own"), partly=True),
    "examples": Onto(("examples", "hazard_light", "--to", "disk/copied")),
    "expand": Onto(("expand", "short.yaml", "--out", "disk/spelled.yaml"), "spelled.yaml"),
    "edit": Onto(("edit", "short.yaml", "--set", "title=Another", "--journal", "disk/kept", "--out",
                  "disk/changed.yaml"), partly=True),
    "keys": Onto(("handfly", "run", "--write-keys", "disk/own_keys.yaml"), "own_keys.yaml"),
    "keep": Onto(("handfly", "run", "--keep", "disk/flown"), needs="flown", partly=True),
    "fly": Onto(("fly", "disk/try"), partly=True),
}  # fmt: skip


def _kb(path):
    return -(-path.stat().st_size // 4096) * 4 if path.is_file() else 0


def blocks_kb(folder):
    return sum(map(_kb, folder.rglob("*")))


def laid(room, name, *parts):
    """Make a folder of copies of others, to be laid onto disks."""
    folder = room.folder / name
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir()
    for part in parts:
        place = folder if part.name == "after" else folder / part.name
        shutil.copytree(part, place, dirs_exist_ok=True)
    return folder


def fill(room, command, shares):
    """Run a command on disks with room for shares of what it writes; return how often it was refused, how often due."""
    onto = ONTO[command]
    needed = [room.folder / onto.needs] if onto.needs else []
    room.ready(onto.words)
    shutil.rmtree(room.folder / "flown" / "run", ignore_errors=True)  # what another test kept
    empty, after = laid(room, "empty", *needed), room.folder / "after"
    first = room.ask(onto.words, disk={"kb": 65536, "good": empty.name})
    assert first["code"] in (0, 1), first["said"]
    need_kb, every = blocks_kb(after) - blocks_kb(empty), names(after)
    good = laid(room, f"good_{command}", *needed, *([after] if onto.kept else []))
    (good / "notes").write_text("mine")
    before = {path: path.read_bytes() for path in sorted(good.rglob("*")) if path.is_file()}
    used_kb, refused = blocks_kb(good), 0
    begin = rests(first["acts"])[-1]
    with room.held(Writer(onto.words), begin) if onto.held else nullcontext():
        for share in shares:
            kb = max(4, used_kb + int(share * need_kb))
            refused += _one(room, onto, {"kb": kb, "good": good.name}, before, every, first["code"])
    if onto.kept and onto.partly:  # files are replaced one by one: only the largest needs as much again
        return refused, sum(share * need_kb < 0.9 * max(map(_kb, after.rglob("*"))) for share in shares)
    # a disk of memory comes in pages of 4 kB, so that a small file fits on it or does not
    return refused, max(1, min(len(shares) // 2, need_kb // 8))


def _one(room, onto, disk, before, every, code):
    """Run a command on one disk; return whether it was refused."""
    done, after = room.ask(onto.words, disk=disk), room.folder / "after"
    lines = done["said"].strip().splitlines()
    assert [path for path in after.rglob("*") if path.name.startswith(".")] == []
    assert [path for path in after.rglob("*") if path.is_file() and not whole(path)] == []
    for path, content in before.items():
        here = after / path.relative_to(room.folder / disk["good"])
        assert here.is_file() and (here.read_bytes() == content or done["code"] != 2 or onto.partly)
    for run in ("new", "flown/run", "several/one", "far/worst"):
        if (after / run).exists():
            load(after / run)
    if done["code"] != 2:  # a little less was needed than was counted
        assert done["code"] == code and every <= names(after)
        return False
    assert "Traceback" not in done["said"] and "Error" not in done["said"], done["said"]
    assert "the disk is full" in lines[-1], done["said"]
    if not onto.kept and not onto.partly:
        assert names(after) == {path.relative_to(room.folder / disk["good"]).as_posix() for path in before}
    return True


@pytest.fixture
def disks(room):
    if not room.mounts:
        pytest.skip("no file system may be mounted here: unshare --user --mount is refused")
    return room


def test_every_command_that_is_killed_meets_a_full_disk_too():
    assert {writer.words[0] for writer in WRITERS.values()} == {onto.words[0] for onto in ONTO.values()}


@pytest.mark.long
@pytest.mark.parametrize("command", list(ONTO))
def test_on_a_disk_of_any_size_good_files_stay_good(disks, command, record_property):
    shares = [(k + 0.5) / SIZES for k in range(SIZES)]
    refused, due = fill(disks, command, shares)
    record_property("refused", refused)
    assert refused >= due


def test_on_a_full_disk_good_files_stay_good(disks):
    assert fill(disks, "inspect", [0.2]) == (1, 1)
