"""A disk that is really full: a small file system in memory, mounted where only the test sees it."""

import json
import pickle
import shutil
import subprocess
import sys

import pytest

from armcarry.record.store import load, save

WORDS = "the disk is full"


def _own_file_systems():
    """Return the command that runs another where it may mount, or None."""
    if sys.platform != "linux" or shutil.which("unshare") is None:
        return None
    unshare = ["unshare", "--user", "--map-root-user", "--mount"]
    probe = "mount -t tmpfs -o size=64k tmpfs /mnt"
    return unshare if subprocess.run([*unshare, "sh", "-c", probe], capture_output=True).returncode == 0 else None


@pytest.fixture(scope="module")
def apart():
    command = _own_file_systems()
    if command is None:
        pytest.skip("no file system may be mounted here: unshare --user --mount is refused")
    return command


# saves a run onto disks of several sizes, without and with an old run there, and tells what is left each time
PROGRAM = """
import json, pickle, subprocess, sys
from pathlib import Path
from armcarry.errors import RecordError
from armcarry.record.store import load, save
record, findings = pickle.loads(Path(sys.argv[1]).read_bytes())
disk, told = Path(sys.argv[2]), []
for size_kb, old in json.loads(sys.argv[3]):
    subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={size_kb}k,nr_inodes=4096", "tmpfs", str(disk)], check=True)
    if old:
        save(record, findings, disk / "run")
    before = {str(path): path.read_bytes() for path in disk.rglob("*") if path.is_file()}
    try:
        save(record, findings, disk / "run", overwrite=True)
        said = "saved"
    except RecordError as error:
        said = str(error)
    after = {str(path): path.read_bytes() for path in disk.rglob("*") if path.is_file()}
    whole = (disk / "run").exists() and load(disk / "run")[0].pairs == record.pairs
    told.append([said, after == before, sorted(path.name for path in disk.iterdir()), whole])
    subprocess.run(["umount", str(disk)], check=True)
print(json.dumps(told))
"""


@pytest.mark.long
def test_a_run_is_whole_or_not_there_on_a_disk_of_any_size(apart, short_run, tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    save(*short_run, tmp_path / "run")
    (tmp_path / "pickled").write_bytes(pickle.dumps(load(tmp_path / "run")))  # with what was judged, as saved
    need_kb = sum(-(-path.stat().st_size // 4096) * 4 for path in (tmp_path / "run").rglob("*") if path.is_file())
    assert need_kb > 200
    shares = [0.02, 0.2, 0.4, 0.6, 0.8, 0.9, 0.97, 1.0]  # at 1.0 only the last file, summary.json, may miss its place
    plan = [(int(share * need_kb), False) for share in shares] + [(int(share * need_kb), True) for share in (1.3, 1.9)]
    plan += [(3 * need_kb, False), (3 * need_kb, True)]
    command = [*apart, sys.executable, "-c", PROGRAM, str(tmp_path / "pickled"), str(disk), json.dumps(plan)]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    for (_, old), (said, unchanged, left, whole) in zip(plan[:-2], told[:-2], strict=True):
        if said == "saved":  # the run needed a little less than it was counted
            assert whole and left == ["run"]
            continue
        assert said == f"cannot write {disk / 'run'}: {WORDS}; nothing there was changed"
        assert unchanged and whole == old and left == (["run"] if old else [])
    assert [said for said, *_ in told[-2:]] == ["saved", "saved"]
    assert sum(said != "saved" for said, *_ in told) >= 9
    assert list(disk.iterdir()) == []


def test_rehearse_onto_a_full_disk_exits_with_2_and_one_message(apart, short_path, tmp_path):
    disk = tmp_path / "disk"
    disk.mkdir()
    script = (
        f"mount -t tmpfs -o size=64k tmpfs {disk} && cp -r {short_path} {disk}/short.yaml && cd {disk} && "
        f"{sys.executable} -m armcarry rehearse short.yaml --out run; "
        "code=$?; echo; ls -A; exit $code"
    )
    done = subprocess.run([*apart, "sh", "-c", script], capture_output=True, text=True)
    assert done.returncode == 2, done.stderr
    assert done.stderr.splitlines()[-1] == f"armcarry: cannot write run: {WORDS}; nothing there was changed"
    assert "Traceback" not in done.stderr
    assert done.stdout.splitlines()[-1] == "short.yaml"  # and no run, whole or half
