"""The journal of a session: every change as it is made, on disk before it is answered, so that a kill loses nothing.

One JSON document a line. The first holds the script as it was; the others are a change, a step back, a step forward,
or the SHA-256 of what was saved. A last line that was cut off is left out.
"""

from __future__ import annotations

import hashlib
import json
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.editing.script import Change, Script
from armcarry.errors import InputError, RecordError
from armcarry.files.atomic import note_whole, reason
from armcarry.files.yaml_text import parse_yaml, read_bytes

FORMAT = "armcarry editing session 1"
#: of a journal that may come from others
MOST_BYTES = 50_000_000


def digest(content: bytes) -> str:
    """Return the SHA-256 of a script, hexadecimal."""
    return hashlib.sha256(content).hexdigest()


class Journal:
    """Appends to the file of a session.

    Args:
        path: where it stands; begun anew where it is not there.
        scenario: name of the script.
        text: the script when the session began.

    Raises:
        RecordError: it cannot be written.
    """

    def __init__(self, path: Path, scenario: str, text: str) -> None:
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True)
            if path.is_symlink():
                raise RecordError(f"{path} cannot be written: it is a link, which is not followed")
            whole = read_bytes(path, MOST_BYTES, "journal").rfind(b"\n") + 1 if path.exists() else 0
            # without a buffer: what a full disk refuses is not tried again when the file is closed
            self._file = path.open("ab", buffering=0)
            note_whole(path)
            self._file.truncate(whole)  # what a kill cut off
        except OSError as error:
            raise RecordError(f"{path} cannot be written: {reason(error)}") from error
        if not whole:
            self.note({"format": FORMAT, "scenario": scenario, "text": text})

    def note(self, content: dict[str, Any]) -> None:
        """Write a line and force it to disk. Raises RecordError."""
        line, begin = json.dumps(content, separators=(",", ":")).encode() + b"\n", self._file.seek(0, os.SEEK_END)
        try:
            while line:  # a disk that is nearly full takes a part
                line = line[self._file.write(line) :]
            os.fsync(self._file.fileno())
        except OSError as error:
            self._file.truncate(begin)  # so that the next line, once there is room, ends no broken one
            raise RecordError(f"{self.path} cannot be written: {reason(error)}") from error

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()


@dataclass(frozen=True)
class Kept:
    """A journal as it was read.

    Attributes:
        path: where it stands.
        text: the script when it began.
        lines: what was done since.
    """

    path: Path
    text: str
    lines: tuple[dict[str, Any], ...]

    def script(self) -> Script:
        """Return the script with all that was done. Raises InputError naming a line that asks for what cannot be."""
        script = Script(self.text, parse_yaml(self.text.encode(), self.path).data)
        for number, content in enumerate(self.lines, start=2):
            try:
                if "change" in content:
                    script.do(Change.of(content["change"]))
                elif "undo" in content:
                    script.undo()
                elif "redo" in content:
                    script.redo()
            except InputError as error:
                raise InputError(error.problem, file=self.path, line=number, found=error.found) from error
        return script

    @property
    def on_disk(self) -> str:
        """SHA-256 of the script as this session last left it on disk."""
        saved = [str(content["saved"]) for content in self.lines if "saved" in content]
        return saved[-1] if saved else digest(self.text.encode())


def begun(path: Path) -> bool:
    """Tell whether a journal is there; one that was killed in its first line says nothing and is begun anew."""
    return path.exists() and b"\n" in read_bytes(path, MOST_BYTES, "journal")


def read_journal(path: Path) -> Kept:
    """Read a journal.

    Raises:
        InputError: it is none, or a line other than a last one that was cut off is damaged.
    """
    raw = read_bytes(path, MOST_BYTES, "journal").decode("utf-8", errors="replace").split("\n")
    lines: list[dict[str, Any]] = []
    for number, line in enumerate(raw[:-1], start=1):
        try:
            content = json.loads(line)
        except (ValueError, RecursionError) as error:
            raise InputError("a damaged line", file=path, line=number, found=line[:60]) from error
        good = isinstance(content, dict)
        if not good or (number == 1 and not (content.get("format") == FORMAT and isinstance(content.get("text"), str))):
            raise InputError("not an editing session", file=path, line=number, found=line[:60], accepted=FORMAT)
        lines.append(content)
    if not lines:
        raise InputError("not an editing session", file=path, found="an empty file", accepted=FORMAT)
    return Kept(path, lines[0]["text"], tuple(lines[1:]))
