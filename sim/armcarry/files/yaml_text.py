"""Strict YAML 1.2 to plain values, with the line of every key.

Anchors, aliases, merge keys, tags, duplicate keys and several documents are refused, size and depth are
limited. Only true/false, null and plain decimal numbers are anything but text: ``yes``, ``1:30:00`` and
``2026-01-01`` arrive as text (YAML 1.2 core schema; octal and hexadecimal are left out on purpose).
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ruamel.yaml import YAML
from ruamel.yaml import events as ev
from ruamel.yaml.error import MarkedYAMLError, YAMLError
from ruamel.yaml.reader import ReaderError

from armcarry.errors import InputError

#: the parser reads about 200 kB a second, so this bounds the time too
MAX_BYTES = 500_000
MAX_DEPTH = 24

YamlPath = tuple[str | int, ...]

_INTEGER = re.compile(r"[-+]?[0-9]{1,30}")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]{1,4})?")
_NOT_FINITE = re.compile(r"[-+]?\.(inf|Inf|INF)|\.(nan|NaN|NAN)")


@dataclass(frozen=True)
class YamlText:
    """A YAML file as read.

    Attributes:
        path: where it was read from.
        content: its bytes.
        data: a mapping of text keys to text, numbers, booleans, None, lists and mappings.
        lines: path of a key or list item -> 1-based line.
    """

    path: Path
    content: bytes
    data: dict[str, Any]
    lines: dict[YamlPath, int] = field(default_factory=dict)

    def line(self, path: YamlPath) -> int:
        """Return the line of ``path``, or of the nearest enclosing key that stands in the file."""
        return self.lines[self.known(path)]

    def known(self, path: YamlPath) -> YamlPath:
        """Return the longest beginning of ``path`` that stands in the file."""
        while path and path not in self.lines:
            path = path[:-1]
        return path

    def value(self, path: YamlPath) -> Any:
        """Return the value at ``path``, None where there is none."""
        value: Any = self.data
        for step in path:
            try:
                value = value[step]
            except (KeyError, IndexError, TypeError):
                return None
        return value


def read_bytes(path: Path, max_bytes: int, kind: str) -> bytes:
    """Return the bytes of a file.

    Raises:
        InputError: missing, a folder, a pipe, unreadable, or larger than ``max_bytes``.
    """
    try:
        with open(path, "rb", opener=_without_waiting) as file:  # Path.open takes no opener
            if stat.S_ISFIFO(os.fstat(file.fileno()).st_mode):
                raise InputError("a pipe, which may never end", file=path, accepted=f"a plain {kind} file")
            content = file.read(max_bytes + 1)
    except FileNotFoundError:
        raise InputError(f"no such {kind} file", file=path) from None
    except IsADirectoryError:
        raise InputError(f"a folder, not a {kind} file", file=path) from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) and error.strerror else str(error)
        raise InputError(f"cannot read this {kind} file: {reason}", file=path) from error
    if len(content) > max_bytes:
        raise InputError(f"{kind} file too large", file=path, accepted=f"at most {max_bytes} bytes")
    return content


def _without_waiting(path: str, flags: int) -> int:
    """Open a file; a pipe that nobody writes into would otherwise be waited for."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))


def read_yaml(path: Path) -> YamlText:
    """Read a YAML file.

    Raises:
        InputError: not readable, not UTF-8, not YAML, or YAML of a kind that is refused.
    """
    return parse_yaml(read_bytes(path, MAX_BYTES, "YAML"), path)


def parse_yaml(content: bytes, path: Path) -> YamlText:
    """Parse YAML bytes; ``path`` is only named in errors. Raises InputError."""
    if len(content) > MAX_BYTES:
        raise InputError("YAML file too large", file=path, accepted=f"at most {MAX_BYTES} bytes")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line: int | None = content.count(b"\n", 0, error.start) + 1
        raise InputError(f"not UTF-8 text (byte {error.start})", file=path, line=line, accepted="UTF-8") from None
    builder = _Builder(path)
    try:
        builder.read(YAML(typ="safe", pure=True).parse(text))
    except MarkedYAMLError as error:
        mark = error.problem_mark or error.context_mark
        line = None if mark is None else mark.line + 1
        raise InputError(f"not YAML: {_words(error)}", file=path, line=line) from None
    except ReaderError as error:
        line = text.count("\n", 0, int(error.position)) + 1
        raise InputError(
            "a control character, which YAML does not allow", file=path, line=line, found=_character(error.character)
        ) from None
    except YAMLError as error:
        raise InputError(f"not YAML: {error}", file=path) from None
    except (ValueError, OverflowError, IndexError, TypeError, AttributeError) as error:
        # the parser's own slips on malformed escapes and directives
        raise InputError(f"not YAML: {error}", file=path) from error
    if not isinstance(builder.result, dict):
        raise InputError("not a mapping of keys to values", file=path, line=1, accepted="lines such as 'key: value'")
    return YamlText(path, content, builder.result, builder.lines)


def _character(character: object) -> str:
    return chr(character) if isinstance(character, int) else str(character)


def _words(error: MarkedYAMLError) -> str:
    problem = " ".join(str(error.problem or error.context or "malformed").split())
    if "\\t" in problem or "'\t'" in problem:
        return "a tab stands where only spaces may indent"
    if problem == "mapping values are not allowed here":
        return "a colon and a blank inside a text, which then needs quotes, or a line that is indented wrongly"
    return problem


class _Builder:
    """Builds values from parser events without recursion."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.result: Any = None
        self.lines: dict[YamlPath, int] = {(): 1}
        self.stack: list[tuple[dict[str, Any] | list[Any], YamlPath]] = []
        self.key: list[str | None] = []
        self.documents = 0

    def read(self, events: Iterator[Any]) -> None:
        for event in events:
            line = event.start_mark.line + 1
            if isinstance(event, ev.DocumentStartEvent):
                self.documents += 1
                if self.documents > 1:
                    raise self.refuse("a second document begins", line, "one document a file")
                if event.version not in (None, (1, 2)) or event.tags:
                    raise self.refuse("a %YAML or %TAG directive", line, "YAML 1.2 without directives")
            elif isinstance(event, ev.AliasEvent):
                raise self.refuse("an alias (*name) is not accepted", line, "the value itself")
            elif isinstance(event, ev.NodeEvent):
                self.node(event, line)
            elif isinstance(event, (ev.MappingEndEvent, ev.SequenceEndEvent)):
                self.stack.pop()
                self.key.pop()

    def refuse(self, problem: str, line: int, accepted: str, found: object = None) -> InputError:
        return InputError(problem, file=self.path, line=line, found=found, accepted=accepted)

    def node(self, event: Any, line: int) -> None:
        if event.anchor is not None:
            raise self.refuse("an anchor (&name) is not accepted", line, "the value itself")
        scalar = isinstance(event, ev.ScalarEvent)
        # a quoted scalar carries the tag '!' in some versions of the parser; a written tag is never empty
        if event.tag is not None and str(event.tag) != "!":
            raise self.refuse("a tag is not accepted", line, "values without tags", str(event.tag))
        if scalar and not event.value.isascii():
            event.value = self.characters(event.value, line)
        if self.stack and isinstance(self.stack[-1][0], dict) and self.key[-1] is None:
            self.take_key(event, line)
            return
        if scalar:
            self.place(self.scalar(event, line), line)
            return
        if len(self.stack) >= MAX_DEPTH:
            raise self.refuse("nested too deep", line, f"at most {MAX_DEPTH} levels")
        value: dict[str, Any] | list[Any] = {} if isinstance(event, ev.MappingStartEvent) else []
        self.stack.append((value, self.place(value, line)))
        self.key.append(None)

    def characters(self, text: str, line: int) -> str:
        """Return text in which a pair of escapes, as JSON writes characters beyond U+FFFF, is one character."""
        try:
            return text.encode("utf-16", "surrogatepass").decode("utf-16")
        except UnicodeDecodeError:
            problem = "an escape that is half a character (a lone surrogate)"
            raise self.refuse(problem, line, "the character itself") from None

    def take_key(self, event: Any, line: int) -> None:
        if not isinstance(event, ev.ScalarEvent):
            raise self.refuse("a key that is a list or a mapping", line, "keys of plain text")
        key, (mapping, path) = str(event.value), self.stack[-1]
        if event.implicit[0] and key in ("<<", "", "~", "null"):
            raise self.refuse("an empty or merge key", line, "keys of plain text", key)
        if key in mapping:
            raise self.refuse(
                f"key '{shorten(key)}' stands twice, first in line {self.lines[(*path, key)]}", line, "each key once"
            )
        self.key[-1] = key
        self.lines[(*path, key)] = line

    def place(self, value: Any, line: int) -> YamlPath:
        if not self.stack:
            self.result = value
            return ()
        parent, path = self.stack[-1]
        if isinstance(parent, dict):
            key = self.key[-1]
            parent[str(key)] = value
            self.key[-1] = None
            return (*path, str(key))
        here = (*path, len(parent))
        parent.append(value)
        self.lines[here] = line
        return here

    def scalar(self, event: Any, line: int) -> Any:
        text = str(event.value)
        value = scalar_value(text) if event.implicit[0] else text
        if isinstance(value, float) and not abs(value) <= 1e300:
            problem = "not a finite number" if _NOT_FINITE.fullmatch(text) else "a number too large to be meant"
            raise self.refuse(problem, line, "finite numbers", shorten(text))
        return value


def scalar_value(text: str) -> str | int | float | bool | None:
    """Return what plain (unquoted) text stands for: null, a boolean, a decimal number, or itself."""
    if text in ("", "~", "null", "Null", "NULL"):
        return None
    if text in ("true", "True", "TRUE", "false", "False", "FALSE"):
        return text.lower() == "true"
    if _INTEGER.fullmatch(text):
        return int(text)
    if _FLOAT.fullmatch(text):
        return float(text)
    if _NOT_FINITE.fullmatch(text):
        return float(text.lower().replace(".", ""))
    return text


def shorten(text: str, longest: int = 80) -> str:
    """Return text cut to ``longest`` characters, for messages."""
    return text if len(text) <= longest else text[: longest - 3] + "..."
