"""Files written whole or not at all: a temporary file beside the target, flushed, then renamed over it."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import platform
import re
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from functools import lru_cache
from pathlib import Path
from typing import Any

from armcarry.errors import RecordError

_HAS_LOCKS = os.name == "posix"
if _HAS_LOCKS:
    import fcntl

#: what tempfile puts into a name
_RANDOM = "[a-z0-9_]{8}"
#: without locks: what was left untouched for so long belongs to no program that still runs
STALE_S = 3600.0
_REASONS = {
    errno.ENOSPC: "the disk is full",
    errno.EDQUOT: "the disk quota is used up",
    errno.EROFS: "the file system is read-only",
    errno.EACCES: "no permission to write there",
    errno.EPERM: "no permission to write there",
    errno.ENOENT: "its folder does not exist",
    errno.ENOTDIR: "its folder is a file",
    errno.EISDIR: "it is a folder",
    errno.ENAMETOOLONG: "the name is too long",
}


def reason(error: OSError) -> str:
    """Return why the system refused, in words for the user."""
    return _REASONS.get(error.errno or 0) or error.strerror or str(error)


_WHOLE: dict[Path, None] = {}  # what this process put in its place, in order


def note_whole(path: Path) -> None:
    """Note a file or folder that stands in its place, for whoever is asked what a stopped command left."""
    _WHOLE[path] = None


def whole_so_far() -> list[Path]:
    """Return what this process put in its place and is still there."""
    return [path for path in _WHOLE if path.exists()]


@contextmanager
def writing(path: Path, *, noted: bool = True) -> Iterator[Path]:
    """Give a place to write what is to stand at ``path``; it comes there whole at the end, or not at all.

    Whoever reads ``path`` at any moment finds the old content or the new, never a part. A link that stands there is
    replaced, never followed. What killed programs left of the same file is removed.

    Raises:
        RecordError: it cannot be written; the old file is as it was.
    """
    temporary: Path | None = None
    handle = -1
    try:
        _sweep_files(path.parent)
        while handle < 0:
            handle, name = tempfile.mkstemp(prefix=f".{path.stem[:40]}.part-", suffix=path.suffix[:20], dir=path.parent)
            temporary = Path(name)
            handle = claimed(handle, temporary)
        assert temporary is not None  # noqa: S101
        yield temporary
        os.fsync(handle)
        os.chmod(temporary, 0o666 & ~umask())  # noqa: PTH101  # mkstemp makes it private
        os.replace(temporary, path)  # noqa: PTH105  # the name is the point: atomic on all systems
        temporary = None
        if noted:
            note_whole(path)
        sync_folder(path.parent)
    except OSError as error:
        raise RecordError(f"cannot write {path}: {reason(error)}; nothing there was changed") from error
    finally:
        if handle >= 0:
            os.close(handle)
        if temporary is not None:
            with contextlib.suppress(OSError):
                temporary.unlink()


def write_bytes_atomic(path: Path, content: bytes, *, noted: bool = True) -> None:
    """Write a file whole or not at all; see ``writing``."""
    with writing(path, noted=noted) as place:
        place.write_bytes(content)


@contextmanager
def building(folder: Path) -> Iterator[Path]:
    """Give a folder beside ``folder`` to build what is to stand there, for ``swap``; it is removed at the end.

    What killed programs left beside it is removed first. Its mode is what the user's umask gives.
    """
    sweep(folder.parent, re.escape(f".{folder.name}.partial-") + _RANDOM)
    handle = -1
    while handle < 0:
        partial = Path(tempfile.mkdtemp(prefix=f".{folder.name}.partial-", dir=folder.parent))
        if os.name != "posix":  # folders cannot be opened, nor locked
            break
        handle = claimed(os.open(partial, os.O_RDONLY), partial)
    try:
        partial.chmod(0o777 & ~umask())  # mkdtemp makes it private
        yield partial
    finally:
        shutil.rmtree(partial, ignore_errors=True)
        if handle >= 0:
            os.close(handle)


def swap(partial: Path, folder: Path) -> None:
    """Put a whole new folder in the place of an old one or of none; an old one comes to ``partial``, to be removed."""
    if folder.exists() and not exchange(partial, folder):
        # this system cannot exchange: between two renames the old run stands beside, under a name that says so
        old = Path(tempfile.mkdtemp(prefix=f".{folder.name}.old-", dir=folder.parent))
        folder.replace(old / folder.name)
        partial.replace(folder)
        shutil.rmtree(old, ignore_errors=True)
    elif not folder.exists():
        partial.replace(folder)
    note_whole(folder)
    sync_folder(folder.parent)


def write_text_atomic(path: Path, text: str) -> None:
    """Write UTF-8 text with the line ends as given; see ``write_bytes_atomic``."""
    write_bytes_atomic(path, text.encode("utf-8"))


def write_json_atomic(path: Path, value: Any) -> None:
    """Write JSON, two spaces an indent, keys as given, no NaN or infinity; see ``write_bytes_atomic``.

    Raises:
        ValueError: a value JSON does not have.
    """
    write_text_atomic(path, json_text(value))


def json_text(value: Any) -> str:
    """Return the JSON text that ``write_json_atomic`` writes."""
    return json.dumps(value, indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def sync_folder(folder: Path) -> None:
    """Flush a folder's entries to disk, where the system can."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in (errno.EINVAL, errno.ENOTSUP):  # some file systems cannot sync a folder
            raise
    finally:
        os.close(handle)


def exchange(one: Path, other: Path) -> bool:
    """Exchange two folders in one step, so that each name holds a whole folder at every moment.

    Returns:
        False where the system or its file system cannot; nothing was changed then. Linux renameat2(2) with
        RENAME_EXCHANGE, macOS renamex_np(2) with RENAME_SWAP.
    """
    import ctypes

    try:
        library = ctypes.CDLL(None, use_errno=True)
        first, second = os.fsencode(one), os.fsencode(other)
        if platform.system() == "Linux":
            here = -100  # AT_FDCWD
            return int(library.renameat2(here, first, here, second, 2)) == 0
        if platform.system() == "Darwin":
            return int(library.renamex_np(first, second, 2)) == 0
    except (AttributeError, OSError, TypeError):  # a C library without it
        return False
    return False


def claimed(handle: int, path: Path) -> int:
    """Lock a temporary file or folder that was just made, as long as its handle is open.

    Returns:
        The handle, or -1 where somebody who sweeps took it for one of a killed program, and it is gone: make another.
    """
    if not _HAS_LOCKS:
        return handle
    with contextlib.suppress(OSError):  # a file system without locks: age alone tells then
        fcntl.flock(handle, fcntl.LOCK_EX)
    with contextlib.suppress(OSError):
        if os.path.samestat(os.fstat(handle), path.lstat()):
            return handle
    os.close(handle)
    return -1


def sweep(folder: Path, pattern: str) -> None:
    """Remove temporary files and folders that killed programs left, those whose whole name fits a pattern.

    One whose lock nobody holds has nobody who writes it; where there are no locks, one that lies untouched an hour.
    """
    named = re.compile(pattern)
    with os.scandir(folder) as entries:
        found = [Path(entry.path) for entry in entries if named.fullmatch(entry.name) and not entry.is_symlink()]
    for left in found:
        with contextlib.suppress(OSError):
            if not _is_left(left):
                continue
            if left.is_dir():
                shutil.rmtree(left, ignore_errors=True)
            else:
                left.unlink()


@lru_cache(maxsize=1024)  # once: a campaign writes tens of thousands of files into one folder
def _sweep_files(folder: Path) -> None:
    sweep(folder, rf"\..+\.part-{_RANDOM}(\.\w+)?")


def _is_left(path: Path) -> bool:
    if not _HAS_LOCKS:
        newest = max(one.stat().st_mtime for one in (path, *path.rglob("*")))
        return time.time() - newest > STALE_S
    if not (path.is_dir() or path.is_file()):  # opening a pipe would wait
        return False
    handle = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    finally:
        os.close(handle)
    return True


def inner_folder(path: Path) -> Path:
    """Make a folder inside one that may come from others, and return it.

    Raises:
        RecordError: a link stands there, which would lead what is written elsewhere, or it cannot be made.
    """
    try:
        if path.is_symlink():
            raise RecordError(f"{path} is a link; nothing is written through links, remove it or choose another --out")
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise RecordError(f"cannot write {path}: {reason(error)}") from error
    return path


def umask() -> int:
    """Return what the user's new files are not allowed."""
    current = os.umask(0)
    os.umask(current)
    return current
