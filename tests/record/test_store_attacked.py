"""The run folder attacked: writers killed at any moment, disk full, no permission, two at once, files damaged."""

import hashlib
import json
import os
import pickle
import random
import shutil
import subprocess
import sys
import time

import pytest

from armcarry.errors import RecordError
from armcarry.files import atomic
from armcarry.record import store
from armcarry.record.store import load, save

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="signals and limits of POSIX")

WRITER = """
import pickle, resource, signal, sys
from pathlib import Path
from armcarry.errors import RecordError
from armcarry.files import atomic
from armcarry.record.store import save
record, findings = pickle.loads(Path(sys.argv[1]).read_bytes())
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
if len(sys.argv) > 4:
    resource.setrlimit(resource.RLIMIT_FSIZE, (int(sys.argv[4]),) * 2)
print("ready", flush=True)
for _ in range(int(sys.argv[3])):
    try:
        save(record, findings, Path(sys.argv[2]), overwrite=True)
    except RecordError as error:
        print(error, file=sys.stderr)
        sys.exit(2)
"""


@pytest.fixture(scope="module")
def pickled(short_run, tmp_path_factory):
    path = tmp_path_factory.mktemp("pickled") / "run"
    path.write_bytes(pickle.dumps(short_run))
    return path


def _start(pickled, folder, times=1, limit=()):
    command = [sys.executable, "-c", WRITER, str(pickled), str(folder), str(times), *map(str, limit)]
    writer = subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    assert writer.stdout is not None and writer.stdout.readline() == "ready\n"
    return writer


def _kill_at_random(short_run, pickled, folder, kills):
    save(*short_run, folder)
    dice, caught = random.Random(8), 0
    for _ in range(kills):
        writer = _start(pickled, folder, 1000)
        time.sleep(dice.uniform(0.0, 0.6))
        writer.kill()
        writer.communicate()
        record, findings = load(folder)  # whole, old or new: every digest fits
        assert record.pairs == short_run[0].pairs
        assert len(findings) == len(short_run[1])
        # a writer that dies while it writes leaves its partial folder, and the next writer removes it
        left = list(folder.parent.glob(".run.partial-*"))
        assert len(left) <= 1
        caught += len(left)
    assert caught >= kills // 2  # the kills were not all before or after
    save(record, findings, folder, overwrite=True)
    assert [path.name for path in folder.parent.iterdir() if path.name.startswith(".")] == []


@pytest.mark.long
def test_a_writer_that_is_killed_leaves_a_whole_run(short_run, pickled, tmp_path):
    _kill_at_random(short_run, pickled, tmp_path / "run", 3)


@pytest.mark.long
def test_fifty_kills_leave_a_whole_run(short_run, pickled, tmp_path):
    _kill_at_random(short_run, pickled, tmp_path / "run", 50)


@pytest.mark.parametrize("locks", [True, False])
def test_what_a_killed_writer_left_is_removed_and_what_one_still_writes_is_not(
    short_run, tmp_path, monkeypatch, locks
):
    monkeypatch.setattr(atomic, "_HAS_LOCKS", locks)
    left, others = tmp_path / ".run.partial-abcdefgh", tmp_path / ".run.partial-notes"
    for folder in (left, others):
        folder.mkdir()
        (folder / "part").write_text("x")
        for path in (folder / "part", folder):
            os.utime(path, (1.0, 1.0))
    with atomic.building(tmp_path / "run") as busy:
        (busy / "part").write_text("x")
        save(*short_run, tmp_path / "run")
        assert (busy / "part").exists()
    assert sorted(path.name for path in tmp_path.iterdir()) == [others.name, "run"]


def test_a_run_may_be_read_by_those_the_umask_allows(short_run, tmp_path):
    before = os.umask(0o027)
    try:
        save(*short_run, tmp_path / "run")
    finally:
        os.umask(before)
    modes = {path: path.stat().st_mode & 0o777 for path in [tmp_path / "run", *(tmp_path / "run").rglob("*")]}
    assert {mode for path, mode in modes.items() if path.is_dir()} == {0o750}
    assert {mode for path, mode in modes.items() if path.is_file()} == {0o640}


def test_a_disk_that_fills_up_is_told_and_leaves_the_old_run(short_run, pickled, tmp_path):
    folder = tmp_path / "run"
    save(*short_run, folder)
    before = {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()}
    writer = _start(pickled, folder, limit=(4096,))
    _, told = writer.communicate(timeout=60)
    assert writer.returncode == 2
    assert told.startswith(f"cannot write {folder}: ") and told.endswith("nothing there was changed\n")
    assert {path: path.read_bytes() for path in folder.rglob("*") if path.is_file()} == before
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_a_place_that_cannot_be_written_is_told(short_run, tmp_path):
    with pytest.raises(RecordError, match=r"cannot write /proc/self/run: "):
        save(*short_run, store.Path("/proc/self/run"))
    closed = tmp_path / "closed"
    closed.mkdir()
    closed.chmod(0o555)
    if os.geteuid() != 0:  # the superuser may write anywhere
        with pytest.raises(RecordError, match="no permission to write there"):
            save(*short_run, closed / "run")
    closed.chmod(0o755)


@pytest.mark.parametrize("name", ["/etc/hostname", "../other", "x" * 300, "gone\0"])
def test_a_name_that_leads_elsewhere_is_refused(short_run, tmp_path, name):
    folder = tmp_path / "run"
    save(*short_run, folder)
    (tmp_path / "other").write_text("x")
    summary = json.loads((folder / "summary.json").read_text())
    summary["digests"][name] = hashlib.sha256(b"x").hexdigest()
    (folder / "summary.json").write_text(json.dumps(summary))
    with pytest.raises(RecordError) as caught:
        load(folder)
    shown = name.replace("\0", "\\x00")
    assert str(caught.value) == f"{folder} is damaged: {shown} is missing"


def test_a_name_too_long_for_the_system_is_told(short_run, tmp_path):
    with pytest.raises(RecordError, match=r"cannot write .*x: the name is too long"):
        save(*short_run, tmp_path / ("x" * 300))


@pytest.mark.long
def test_two_writers_at_once_leave_one_whole_run(short_run, pickled, tmp_path):
    folder = tmp_path / "run"
    save(*short_run, folder)
    writers = [_start(pickled, folder, 3) for _ in range(2)]
    for writer in writers:
        _, told = writer.communicate(timeout=120)
        assert writer.returncode == 0, told
    assert load(folder)[0].pairs == short_run[0].pairs
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_without_an_exchange_a_run_is_replaced_all_the_same(short_run, tmp_path, monkeypatch):
    monkeypatch.setattr(atomic, "exchange", lambda one, other: False)
    for _ in range(2):
        save(*short_run, tmp_path / "run", overwrite=True)
    load(tmp_path / "run")
    assert [path.name for path in tmp_path.iterdir()] == ["run"]


def test_any_file_that_is_damaged_is_named(short_run, tmp_path):
    folder = tmp_path / "run"
    save(*short_run, folder)
    for path in sorted(path for path in folder.rglob("*") if path.is_file() and path.name != "summary.json"):
        name, whole = path.relative_to(folder).as_posix(), path.read_bytes()
        path.write_bytes(whole[: len(whole) // 2] + b"\0" + whole[len(whole) // 2 + 1 :] + b" ")
        with pytest.raises(RecordError, match=rf"is damaged: {name} does not fit its digest"):
            load(folder)
        path.write_bytes(whole)
    shutil.rmtree(folder / "scenario")
    with pytest.raises(RecordError, match=r"is damaged: scenario/.* is missing"):
        load(folder)
