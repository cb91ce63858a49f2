"""A run folder frozen: one digest of all that is in it, the date the user gave, and who looked it through.

What ``brief`` makes does not count: it follows from the rest. A frozen run is not written over.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from armcarry.errors import InputError, RecordError
from armcarry.files.atomic import write_json_atomic
from armcarry.record.folder import FROZEN, SUMMARY, open_folder, read_small
from armcarry.texts import shown

FORMAT = "armcarry frozen 1"
#: names at most, and letters of one
_MOST_NAMES, _LETTERS = 40, 120


@dataclass(frozen=True)
class Frozen:
    """When a run was frozen, by whom, the digest of all then, and whether the folder still has it."""

    date: str
    by: tuple[str, ...]
    digest: str
    holds: bool

    @property
    def words(self) -> str:
        """Return what a reader is told: whether what is shown is the frozen run."""
        who = f"Frozen on {self.date}, looked through by {', '.join(self.by)} (digest {self.digest[:12]})"
        return f"{who}; what is shown here is that run." if self.holds else (
            f"{who}, but the run folder has changed since: what is shown here is NOT the frozen run."
        )


NOT_FROZEN = "This run is not frozen: nobody has said that this is the version to go by."


def freeze(folder: Path, day: str, by: Sequence[str], run_format: str) -> Frozen:
    """Freeze a run folder and return what was written.

    Raises:
        InputError: the date is none, or nobody is named.
        RecordError: no run folder, a damaged one, or one that is frozen already.
    """
    try:
        day = date.fromisoformat(day).isoformat()
    except ValueError:
        raise InputError("not a date", found=day, accepted="year-month-day, as 2031-03-20") from None
    names = tuple(" ".join(shown(name).split()) for name in by)
    if not names or not all(names) or len(names) > _MOST_NAMES or max(map(len, names)) > _LETTERS:
        found = ", ".join(repr(name) for name in names) or "nobody"
        raise InputError("nobody is named who looked it through", found=found, accepted="--by NAME, once for each")
    open_folder(folder, run_format)
    before = frozen_state(folder)
    if before is not None:
        raise RecordError(f"{folder} is frozen already, on {before.date}; remove {FROZEN} there to freeze it anew")
    made = Frozen(day, names, digest_of(folder), True)
    write_json_atomic(folder / FROZEN, {"format": FORMAT, "date": day, "by": list(names), "digest": made.digest})
    return made


def frozen_state(folder: Path) -> Frozen | None:
    """Return whether and how a run folder is frozen; None where it is not.

    Raises:
        RecordError: what says so is damaged.
    """
    path = folder / FROZEN
    if not path.exists() and not path.is_symlink():
        return None
    told: Any = read_small(path, folder)
    try:
        if told["format"] != FORMAT:
            raise ValueError(f"another format: {shown(str(told['format']), 80)}")
        day, digest = date.fromisoformat(str(told["date"])).isoformat(), str(told["digest"])
        by = tuple(str(name)[:_LETTERS] for name in told["by"])[:_MOST_NAMES]
        if len(digest) != 64 or not by:
            raise ValueError("no digest, or no names")
    except (KeyError, TypeError, ValueError) as error:
        raise RecordError(f"{folder} is damaged: {FROZEN} is not as freeze writes it ({error})") from error
    return Frozen(day, by, digest, digest == digest_of(folder))


def digest_of(folder: Path) -> str:
    """Return one digest of all that belongs to a run: its summary holds the digests of every other file."""
    with (folder / SUMMARY).open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
