"""Commands onto a disk that is really full, of any size: good files stay good, one plain line, exit code 2."""

import shutil

import pytest

from armcarry.record.store import load
from writers import PARTS, names, whole

SIZES = 12
#: command -> how it is called to write into disk/, and what of a good run already lies there, "" for nothing
ONTO = {
    "rehearse": (("rehearse", "short.yaml", "--out", "disk/new", "--overwrite", "--no-views"), "new"),
    "brief": (("brief", "run", *PARTS, "--out", "disk"), "."),
    "route": (("route", "small.yaml", "--out", "disk/routed.yaml", "--overwrite"), "routed.yaml"),
    "inspect": (("inspect", "a.stl", "--no-draw", "--write-model", "disk/model"), ""),
    "disperse": (
        ("disperse", "short.yaml", "--runs", "3", "--workers", "1", "--no-views", "--out", "disk/campaign"), "",
    ),
}  # fmt: skip


def blocks_kb(folder):
    return sum(-(-path.stat().st_size // 4096) * 4 for path in folder.rglob("*") if path.is_file())


def fill(room, command, shares):
    """Run a command on disks with room for shares of what it writes; return how often it was refused."""
    words, kept = ONTO[command]
    good, after = room.folder / f"good_{command}", room.folder / "after"
    empty = room.folder / "empty"
    empty.mkdir(exist_ok=True)
    first = room.ask(words, disk={"kb": 65536, "good": "empty"})
    assert first["code"] in (0, 1), first["said"]
    need_kb, every = blocks_kb(after), names(after)
    shutil.rmtree(good, ignore_errors=True)
    shutil.copytree(after, good) if kept else good.mkdir()
    (good / "notes").write_text("mine")
    before = {path: path.read_bytes() for path in sorted(good.rglob("*")) if path.is_file()}
    used_kb, refused = blocks_kb(good), 0
    for share in shares:
        done = room.ask(words, disk={"kb": max(4, used_kb + int(share * need_kb)), "good": good.name})
        lines = done["said"].strip().splitlines()
        assert [path for path in after.rglob("*") if path.name.startswith(".")] == []
        assert [path for path in after.rglob("*") if path.is_file() and not whole(path)] == []
        for path, content in before.items():
            here = after / path.relative_to(good)
            assert here.is_file() and (here.read_bytes() == content or done["code"] != 2 or command == "brief")
        if kept == "new":
            load(after / "new")
        if done["code"] != 2:  # a little less was needed than was counted
            assert done["code"] == first["code"] and every <= names(after)
            continue
        refused += 1
        assert "Traceback" not in done["said"] and "Error" not in done["said"], done["said"]
        assert "the disk is full" in lines[-1], done["said"]
        if command == "inspect":
            assert names(after) == {"notes"}
    return refused


@pytest.fixture
def disks(room):
    if not room.mounts:
        pytest.skip("no file system may be mounted here: unshare --user --mount is refused")
    return room


@pytest.mark.long
@pytest.mark.parametrize("command", list(ONTO))
def test_on_a_disk_of_any_size_good_files_stay_good(disks, command):
    shares = [(k + 0.5) / SIZES for k in range(SIZES)]
    assert fill(disks, command, shares) >= SIZES // 2


@pytest.mark.parametrize("command", [pytest.param("brief", marks=pytest.mark.long), "route", "inspect"])
def test_on_a_full_disk_good_files_stay_good(disks, command):
    assert fill(disks, command, [0.2]) == 1
