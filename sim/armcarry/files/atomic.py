"""Files written whole or not at all: a temporary file beside the target, flushed, then renamed over it."""

from __future__ import annotations

import contextlib
import errno
import json
import os
import platform
import tempfile
from pathlib import Path
from typing import Any

from armcarry.errors import RecordError

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


def write_bytes_atomic(path: Path, content: bytes) -> None:
    """Write a file; whoever reads it at any moment finds the old content or the new, never a part.

    Raises:
        RecordError: it cannot be written; the old file is as it was.
    """
    temporary: str | None = None
    try:
        handle, temporary = tempfile.mkstemp(prefix=f".{path.name[:40]}.", suffix=".tmp", dir=path.parent)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.chmod(temporary, 0o666 & ~_umask())  # noqa: PTH101  # mkstemp makes it private
        os.replace(temporary, path)  # noqa: PTH105  # the name is the point: atomic on all systems
        temporary = None
        sync_folder(path.parent)
    except OSError as error:
        raise RecordError(f"cannot write {path}: {reason(error)}; nothing there was changed") from error
    finally:
        if temporary is not None:
            with contextlib.suppress(OSError):
                Path(temporary).unlink()


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


def _umask() -> int:
    current = os.umask(0)
    os.umask(current)
    return current
