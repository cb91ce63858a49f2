"""A run folder that may come from others: plain files only, of a bearable size, each as its digest says.

Whatever reads a run reads it through here: nothing outside the folder is opened, nothing waits, nothing large is
unpacked before its size is known, and no file is taken that summary.json does not name with its digest.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import stat
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn

from armcarry.errors import RecordError
from armcarry.files.atomic import reason
from armcarry.files.parquet import Limits, Table, read_table
from armcarry.texts import shown

SUMMARY, VIEWS = "summary.json", "views"
#: what freeze writes into a run; it names the digest of the rest, so it has none itself
FROZEN = "frozen.json"
#: what a killed freeze leaves, until the next one sweeps it away: nobody reads it
_LEFT = ".frozen.part-"
#: what systems put into folders by themselves
_SYSTEM = (".DS_Store", "Thumbs.db", "desktop.ini")
MOST_FILES = 5_000
MOST_DEPTH = 12
MOST_BYTES = 400_000_000
#: JSON takes up to twenty times its size when it is read
MOST_JSON_BYTES = 40_000_000
MOST_JSON_DEPTH = 24
#: rows of a table at most; a day of six hours has a few hundred thousand
LIMITS = Limits(rows=2_000_000)


def check_target(folder: Path, *, overwrite: bool = False) -> None:
    """Refuse a folder that no run may be written to, before hours are spent on what is to go there.

    Raises:
        RecordError: something is there that is no run, or a run that is not to be replaced, or nobody may look.
    """
    try:
        taken = folder.exists() and any(folder.iterdir() if folder.is_dir() else [folder])
        is_run = (folder / "summary.json").is_file()
        frozen = (folder / FROZEN).exists()
    except OSError as error:  # a name too long, a folder that may not be entered
        raise RecordError(f"cannot write {folder}: {reason(error)}") from error
    if taken and not is_run:
        raise RecordError(f"{folder} exists and is not a run folder; choose another --out")
    if taken and frozen:
        raise RecordError(f"{folder} holds a frozen run, which is not written over; choose another --out")
    if taken and not overwrite:
        raise RecordError(f"{folder} holds a run already; choose another --out or add --overwrite")


@dataclass(frozen=True)
class Folder:
    """A run folder whose files are as their digests say.

    Attributes:
        path: of the folder.
        summary: what summary.json holds, every text in it fit to be shown.
    """

    path: Path
    summary: dict[str, Any]

    def read(self, name: str, most: int = MOST_BYTES) -> bytes:
        """Return the bytes of a file of the folder. Raises RecordError."""
        if name not in self.summary["digests"]:
            raise RecordError(f"{self.path} is damaged: no digest in {SUMMARY} names {name}")
        content = _read(self.path / name, self.path, most)
        if hashlib.sha256(content).hexdigest() != self.summary["digests"][name]:
            self.damaged(f"{name} does not fit its digest in {SUMMARY}")
        return content

    def json(self, name: str) -> Any:
        """Return what a JSON file holds, every text in it fit to be shown, every number finite. Raises RecordError."""
        return _json(self.read(name, MOST_JSON_BYTES), name, self.path)

    def table(self, name: str, limits: Limits = LIMITS) -> Table:
        """Return a Parquet file as a table. Raises RecordError."""
        try:
            return read_table(self.read(name), limits)
        except ValueError as error:
            self.damaged(f"{name}: {error}")

    def damaged(self, why: str) -> NoReturn:
        """Raise RecordError with what is wrong in the folder."""
        raise RecordError(f"{self.path} is damaged: {why}")


def open_folder(path: Path, format_name: str) -> Folder:
    """Open a run folder and check every file in it against its digest.

    Raises:
        RecordError: not a run folder, another format, a link or anything else that is no plain file, too much in it,
            a file that is missing or does not fit its digest, or one that no digest names.
    """
    summary = _json(_read(path / SUMMARY, path, MOST_JSON_BYTES), SUMMARY, path)
    if not isinstance(summary, dict) or summary.get("format") != format_name:
        raise RecordError(f"{path} is not a run of format '{format_name}'")
    digests = summary.get("digests")
    if not isinstance(digests, dict) or not all(isinstance(digest, str) for digest in digests.values()):
        raise RecordError(f"{path}/{SUMMARY} is damaged: no digests")
    there = _listed(path)
    for name in digests:
        plain = PurePosixPath(name)
        if plain.is_absolute() or ".." in plain.parts or name not in there:
            raise RecordError(f"{path} is damaged: {name} is missing")
    for name in there:
        if name not in digests and name not in (SUMMARY, FROZEN):
            raise RecordError(f"{path} holds {name}, which no digest in {SUMMARY} names; move it elsewhere")
    for name, digest in digests.items():
        with _opened(path / name, path) as file:
            if hashlib.file_digest(file, "sha256").hexdigest() != digest:
                raise RecordError(f"{path} is damaged: {name} does not fit its digest in {SUMMARY}")
    return Folder(path, summary)


def _listed(folder: Path) -> dict[str, int]:
    """Return name -> size of every file that belongs to the run; what ``brief`` and ``play`` make does not."""
    found: dict[str, int] = {}
    for name, info in _walked(folder, "", 0):
        if len(found) >= MOST_FILES:
            raise RecordError(f"{folder} is damaged: more than {MOST_FILES} files")
        if stat.S_ISLNK(info.st_mode):
            raise RecordError(f"{folder} is damaged: {name} is a link, and a run holds its own files only")
        if not stat.S_ISREG(info.st_mode):
            raise RecordError(f"{folder} is damaged: {name} is not a plain file")
        if info.st_size > MOST_BYTES:
            raise RecordError(f"{folder} is damaged: {name} has {info.st_size} bytes, at most {MOST_BYTES} are read")
        found[name] = info.st_size
    return found


def _walked(folder: Path, above: str, depth: int) -> Iterator[tuple[str, os.stat_result]]:
    if depth > MOST_DEPTH:
        raise RecordError(f"{folder} is damaged: folders nested deeper than {MOST_DEPTH}")
    try:
        with os.scandir(folder / above) as entries:
            for entry in entries:
                name = f"{above}{entry.name}"
                if entry.name in _SYSTEM or name == VIEWS or name.startswith(_LEFT):
                    continue
                if entry.is_dir(follow_symlinks=False):
                    yield from _walked(folder, f"{name}/", depth + 1)
                else:
                    yield name, entry.stat(follow_symlinks=False)
    except OSError as error:
        raise RecordError(f"{folder} is damaged: {above or 'it'} cannot be read ({error.strerror})") from error


def _opened(path: Path, folder: Path) -> Any:
    """Open a plain file: through no link, and without waiting at a pipe."""
    name = path.relative_to(folder).as_posix()
    try:
        # POSIX names these; elsewhere a link is told by the list of files
        quick = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
        handle = os.open(path, os.O_RDONLY | quick)
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            os.close(handle)
            raise RecordError(f"{folder} is damaged: {name} is not a plain file")
        return os.fdopen(handle, "rb")
    except (FileNotFoundError, NotADirectoryError):
        raise RecordError(f"{folder} is not a run folder: {name} is missing") from None
    except (OSError, ValueError) as error:
        why = "it is a link" if path.is_symlink() else str(error)
        raise RecordError(f"{folder} is damaged: {name} cannot be read ({why})") from error


def _read(path: Path, folder: Path, most: int) -> bytes:
    with _opened(path, folder) as file:
        size = os.fstat(file.fileno()).st_size
        content: bytes = file.read(min(size, most) + 1)
    if len(content) > most:
        raise RecordError(f"{folder} is damaged: {path.name} has more than {most} bytes")
    return content


def read_small(path: Path, folder: Path) -> Any:
    """Return what a small JSON file of a run folder holds that no digest names. Raises RecordError."""
    return _json(_read(path, folder, 100_000), path.name, folder)


def read_json(content: bytes) -> Any:
    """Return what JSON says, every text fit to be shown, every number finite. Raises ValueError, RecursionError."""
    return _checked(json.loads(content.decode("utf-8"), parse_constant=_refuse), 0)


def _json(content: bytes, name: str, folder: Path) -> Any:
    try:
        return read_json(content)
    except (ValueError, RecursionError) as error:
        raise RecordError(f"{folder} is damaged: {name} cannot be read ({shown(str(error), 200)})") from error


def _refuse(text: str) -> NoReturn:
    raise ValueError(f"{text} is no number")


def _checked(value: Any, depth: int) -> Any:
    """Return a value of JSON with its texts fit to be shown. Raises ValueError: nested deep, or a number not finite."""
    if depth > MOST_JSON_DEPTH:
        raise ValueError(f"nested deeper than {MOST_JSON_DEPTH}")
    if isinstance(value, str):
        return shown(value)
    if isinstance(value, float) and not math.isfinite(value):
        raise ValueError("a number that is not finite")
    if isinstance(value, list):
        return [_checked(item, depth + 1) for item in value]
    if isinstance(value, dict):
        return {shown(key): _checked(item, depth + 1) for key, item in value.items()}
    return value
