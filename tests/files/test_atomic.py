"""Atomic writing: the old file or the new, never a part, and words for what went wrong."""

import errno
import json
import os
import stat
import subprocess
import sys
import time

import pytest

from armcarry.errors import RecordError
from armcarry.files import atomic
from armcarry.files.atomic import write_bytes_atomic, write_json_atomic, write_text_atomic


def test_content_arrives_and_nothing_else_is_left(tmp_path):
    path = tmp_path / "a.json"
    write_json_atomic(path, {"b": 1, "a": [1.5, None, "é"]})
    assert path.read_bytes() == '{\n  "b": 1,\n  "a": [\n    1.5,\n    null,\n    "é"\n  ]\n}\n'.encode()
    write_text_atomic(path, "line\nline\n")
    assert path.read_bytes() == b"line\nline\n"
    assert [child.name for child in tmp_path.iterdir()] == ["a.json"]


def test_json_has_no_nan(tmp_path):
    path = tmp_path / "a.json"
    with pytest.raises(ValueError, match="not JSON compliant"):
        write_json_atomic(path, {"a": float("nan")})
    assert not path.exists()


@pytest.mark.skipif(os.name != "posix", reason="permission bits of POSIX")
def test_the_file_may_be_read_by_those_the_umask_allows(tmp_path):
    old = os.umask(0o027)
    try:
        write_bytes_atomic(tmp_path / "a", b"x")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a").stat().st_mode) == 0o640


@pytest.mark.parametrize(
    ("code", "words"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EDQUOT, "the disk quota is used up"),
        (errno.EROFS, "the file system is read-only"),
        (errno.EACCES, "no permission to write there"),
        (errno.EPERM, "no permission to write there"),
        (errno.EIO, os.strerror(errno.EIO)),
    ],
)
def test_a_failure_while_writing_leaves_the_old_file(tmp_path, monkeypatch, code, words):
    path = tmp_path / "a.txt"
    path.write_text("old")

    def fail(*_):
        raise OSError(code, os.strerror(code))

    for step in ("fsync", "replace"):
        with monkeypatch.context() as patch:
            patch.setattr(atomic.os, step, fail)
            with pytest.raises(RecordError) as caught:
                write_text_atomic(path, "new")
        assert str(caught.value) == f"cannot write {path}: {words}; nothing there was changed"
        assert path.read_text() == "old"
        assert [child.name for child in tmp_path.iterdir()] == ["a.txt"]


def test_places_that_cannot_be_written(tmp_path):
    (tmp_path / "file").write_text("x")
    (tmp_path / "folder").mkdir()
    for path, words in (
        (tmp_path / "gone" / "a", "its folder does not exist"),
        (tmp_path / "file" / "a", "its folder is a file"),
        (tmp_path / "folder", "it is a folder"),
        (tmp_path / ("x" * 300), "the name is too long"),
    ):
        with pytest.raises(RecordError, match=words):
            write_text_atomic(path, "new")
    assert sorted(child.name for child in tmp_path.iterdir()) == ["file", "folder"]


@pytest.mark.skipif(sys.platform != "linux", reason="a device that is always full, of Linux")
def test_a_disk_that_is_really_full():
    # /dev/full refuses every write with ENOSPC: the words are those for a real full disk
    with pytest.raises(OSError) as caught, open("/dev/full", "wb", buffering=0) as full:  # noqa: PTH123
        full.write(b"x")
    assert atomic.reason(caught.value) == "the disk is full"


def test_a_reader_never_sees_a_part_even_when_the_writer_is_killed(tmp_path):
    path = tmp_path / "a.json"
    program = (
        "import sys, itertools\nfrom pathlib import Path\nfrom armcarry.files.atomic import write_json_atomic\n"
        "for n in itertools.count():\n    write_json_atomic(Path(sys.argv[1]), {'n': n, 'values': [n] * 20000})\n"
    )
    for _ in range(3):
        writer = subprocess.Popen([sys.executable, "-c", program, str(path)])
        try:
            end, newest = time.monotonic() + 60.0, -1
            while newest < 3 and time.monotonic() < end:
                if path.exists():
                    found = json.loads(path.read_text())
                    assert found["values"] == [found["n"]] * 20000
                    newest = found["n"]
            assert newest >= 3
        finally:
            writer.kill()
            writer.wait()
        found = json.loads(path.read_text())
        assert found["values"] == [found["n"]] * 20000
        path.unlink()
