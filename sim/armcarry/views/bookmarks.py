"""Instants of a run that somebody wants to come back to, with a view and a note, in a small file beside its pictures.

The player writes the file, the page carries what was in it when it was made and hands out a file of the same form.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import RecordError
from armcarry.files.atomic import inner_folder, write_text_atomic
from armcarry.record.folder import read_small

#: the file, in the folder of what is made of a run
FILE = "bookmarks.json"
FORMAT = "armcarry bookmarks 1"
#: how many there may be, and characters of a note and of a view's name
MOST, LONGEST = 200, 200
#: two are of the same instant within this, s
_SAME_S = 1e-6
Triple = tuple[float, float, float]


@dataclass(frozen=True)
class Bookmark:
    """One of them.

    Attributes:
        time_s: the instant, from the start of the run.
        view: from where it is seen: ``free``, ``follow``, a person or a camera.
        note: what somebody wrote.
        eye_m, focus_m: where a free view looks from and to; None for other views.
    """

    time_s: float
    view: str = "free"
    note: str = ""
    eye_m: Triple | None = None
    focus_m: Triple | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return it as the file has it."""
        free = {} if self.eye_m is None or self.focus_m is None else {
            "eye_m": [round(v, 4) for v in self.eye_m], "focus_m": [round(v, 4) for v in self.focus_m],
        }
        return {"time_s": round(self.time_s, 3), "view": self.view, "note": self.note, **free}


def read_bookmarks(folder: Path) -> tuple[Bookmark, ...]:
    """Return the bookmarks kept in a folder, by time; none where there is no file.

    Raises:
        RecordError: the file cannot be read, or is not of that form.
    """
    path = folder / FILE
    if not path.exists() and not path.is_symlink():
        return ()
    found = read_small(path, folder)
    listed = found.get("bookmarks") if isinstance(found, dict) and found.get("format") == FORMAT else None
    if not isinstance(listed, list) or len(listed) > MOST:
        raise RecordError(
            f"{path} holds no bookmarks; accepted: '{FORMAT}' under format, a list of at most {MOST} under bookmarks"
        )
    return tuple(sorted((_read(path, k, item) for k, item in enumerate(listed, 1)), key=lambda mark: mark.time_s))


def write_bookmarks(folder: Path, marks: Iterable[Bookmark]) -> Path:
    """Write bookmarks into a folder, which is made when missing, and return the file. Raises RecordError."""
    inner_folder(folder)
    text = {"format": FORMAT, "bookmarks": [mark.as_dict() for mark in sorted(marks, key=lambda mark: mark.time_s)]}
    write_text_atomic(folder / FILE, json.dumps(text, indent=1, ensure_ascii=False) + "\n")
    return folder / FILE


class Shelf:
    """The bookmarks of a run while it is looked at; every change is written at once."""

    def __init__(self, folder: Path) -> None:
        """Read what is there; a file that cannot be read is left as it is, and ``trouble`` says why."""
        self.folder, self.trouble = folder, ""
        self.marks: tuple[Bookmark, ...] = ()
        try:
            self.marks = read_bookmarks(folder)
        except RecordError as error:
            self.trouble = str(error)

    def keep(self, mark: Bookmark) -> int:
        """Add a bookmark, in place of one of the same instant, and return its place. Raises RecordError."""
        others = [each for each in self.marks if abs(each.time_s - mark.time_s) > _SAME_S]
        if len(others) >= MOST:
            raise RecordError(f"{self.folder / FILE} holds {MOST} bookmarks, and no more are kept; drop some first")
        self._write([*others, mark])
        return self.marks.index(mark)

    def drop(self, place: int) -> None:
        """Take a bookmark away. Raises RecordError."""
        self._write([*self.marks[:place], *self.marks[place + 1 :]])

    def after(self, time_s: float, count: int) -> int | None:
        """Return the place of the next bookmark after an instant, or before it where count < 0, round both ends."""
        if not self.marks:
            return None
        if count > 0:
            return next((k for k, mark in enumerate(self.marks) if mark.time_s > time_s + 1e-3), 0)
        earlier = [k for k, mark in enumerate(self.marks) if mark.time_s < time_s - 1e-3]
        return earlier[-1] if earlier else len(self.marks) - 1

    def _write(self, marks: Iterable[Bookmark]) -> None:
        if self.trouble:
            raise RecordError(f"{self.trouble}; it is left as it is: move it elsewhere, and open the run anew")
        marks = tuple(sorted(marks, key=lambda mark: mark.time_s))
        write_bookmarks(self.folder, marks)
        self.marks = marks


def _read(path: Path, number: int, item: Any) -> Bookmark:
    """Return one bookmark of a file, its words cut to what is shown. Raises RecordError."""
    item = item if isinstance(item, dict) else {}
    time_s, view, note = item.get("time_s"), item.get("view", "free"), item.get("note", "")
    places = [item.get("eye_m"), item.get("focus_m")]
    if not _number(time_s) or not isinstance(view, str) or not isinstance(note, str) \
            or not all(place is None or _triple(place) for place in places):
        raise RecordError(
            f"{path}: bookmark {number} is none; accepted: time_s, a number of seconds; view and note, text; "
            "eye_m and focus_m, three numbers each, for a free view"
        )
    eye, focus = (None if place is None else (float(place[0]), float(place[1]), float(place[2])) for place in places)
    return Bookmark(float(time_s), view[:LONGEST], note[:LONGEST], eye, focus)


def _number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _triple(value: Any) -> bool:
    return isinstance(value, list) and len(value) == 3 and all(map(_number, value))
