"""A script and the changes made to it: plain values at once, the text with its comments and order when it is asked for.

A change is a few plain acts on keys. Undo is a step back in the list of changes, so it has no end, and the list
is all that a session is: the journal keeps it, and a session that was killed is its list done again.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from copy import copy
from dataclasses import dataclass, field
from typing import Any, Literal

from armcarry.errors import InputError
from armcarry.files.yaml_text import YamlPath
from armcarry.files.yaml_write import flow

#: what may be done to a key
KINDS = ("set", "insert", "remove")


@dataclass(frozen=True)
class Op:
    """One act on a key.

    Attributes:
        kind: ``set`` a key to a value, ``insert`` a value before an item of a list, ``remove`` a key or item.
        path: keys and numbers of items, from the top.
        value: as it would stand in a file; none for ``remove``.
    """

    kind: Literal["set", "insert", "remove"]
    path: YamlPath
    value: Any = None


@dataclass(frozen=True)
class Change:
    """What was done at once, and is undone at once: its words, and its acts."""

    title: str
    ops: tuple[Op, ...]

    def as_dict(self) -> dict[str, Any]:
        """Return plain values for the journal."""
        return {"title": self.title, "ops": [[op.kind, list(op.path), op.value] for op in self.ops]}

    @staticmethod
    def of(data: Any) -> Change:
        """Return the change that plain values stand for. Raises InputError for what is none."""
        try:
            ops = tuple(Op(kind, tuple(path), value) for kind, path, value in data["ops"])
            good = isinstance(data["title"], str) and all(op.kind in KINDS and op.path for op in ops)
        except (TypeError, KeyError, ValueError):
            good = False
        if not good:
            raise InputError("not a change of a script", found=str(data)[:80])
        return Change(data["title"], ops)


@dataclass
class Script:
    """The text of a scenario, and the changes done and undone since.

    Attributes:
        text: as it stood in the file.
        original: the same as plain values.
        changes: made so far, those undone among them.
        done: how many of them hold.
    """

    text: str
    original: dict[str, Any]
    changes: list[Change] = field(default_factory=list)
    done: int = 0
    _states: list[dict[str, Any]] = field(default_factory=list)

    @property
    def data(self) -> dict[str, Any]:
        """The script as it is now, as plain values; not to be changed."""
        return self._states[self.done - 1] if self.done else self.original

    def tried(self, change: Change) -> dict[str, Any]:
        """Return what the script would be with one more change. Raises InputError where a key is not there."""
        data = self.data
        for op in change.ops:
            data = _put(data, op, op.path)
        return data

    def do(self, change: Change) -> None:
        """Make a change; what was undone before is forgotten."""
        data = self.tried(change)
        del self.changes[self.done :], self._states[self.done :]
        self.changes.append(change)
        self._states.append(data)
        self.done += 1

    def undo(self) -> Change | None:
        """Take the last change back and return it, None where there is none."""
        if not self.done:
            return None
        self.done -= 1
        return self.changes[self.done]

    def redo(self) -> Change | None:
        """Make the change that was undone last again and return it, None where there is none."""
        if self.done == len(self.changes):
            return None
        self.done += 1
        return self.changes[self.done - 1]

    def written(self) -> str:
        """Return the script as YAML: comments, order and layout of all that was not changed are kept."""
        if not self.done:
            return self.text
        from ruamel.yaml import YAML

        yaml = YAML()
        yaml.width = 4096  # no line of the script is wrapped anew
        yaml.preserve_quotes = True
        offset = _offset(self.text)
        yaml.indent(mapping=2, sequence=2 + offset, offset=offset)
        document = yaml.load(self.text)
        for change in self.changes[: self.done]:
            for op in change.ops:
                _act(document, op)
        stream = io.StringIO()
        yaml.dump(document, stream)
        return stream.getvalue()


def _offset(text: str) -> int:
    """Return how far the items of lists stand from their keys in a script: 0 where they stand below them."""
    found = re.search(r"^( *)[\w-]+:[ \t]*(?:#.*)?\n(?:[ \t]*(?:#.*)?\n)*( *)- ", text, re.MULTILINE)
    return 2 if found is None or len(found[2]) > len(found[1]) else 0


def _put(data: Any, op: Op, path: YamlPath) -> Any:
    """Return plain values with an act done; what is not on its path is shared with the old ones."""
    step, *rest = path
    found = copy(data)
    if rest:
        found[step] = _put(_at(data, step, op), op, tuple(rest))
    elif op.kind == "insert":
        if not isinstance(found, list) or not isinstance(step, int) or not 0 <= step <= len(found):
            raise _nowhere(op)
        found.insert(step, op.value)
    elif op.kind == "remove":
        _at(data, step, op)
        del found[step]
    elif isinstance(found, dict):
        found[str(step)] = op.value
    else:
        _at(data, step, op)
        found[step] = op.value
    return found


def _at(data: Any, step: str | int, op: Op) -> Any:
    try:
        if isinstance(step, int) and step < 0:
            raise IndexError
        return data[step]
    except (KeyError, IndexError, TypeError):
        raise _nowhere(op) from None


def _nowhere(op: Op) -> InputError:
    path = ".".join(map(str, op.path))
    return InputError("no such key in the script", found=path, accepted="a key or item that the script has")


def _act(document: Any, op: Op) -> None:
    """Do an act on a document that keeps its comments."""
    inner = document
    for step in op.path[:-1]:
        inner = inner[step]
    last = op.path[-1]
    if op.kind == "remove":
        del inner[last]
    elif op.kind == "insert":
        inner.insert(last, _in_a_line(op.value))
    else:
        inner[last] = _in_a_line(op.value)


def _in_a_line(value: Any) -> Any:
    """Return a value that is written in a line."""
    from ruamel.yaml.comments import CommentedMap, CommentedSeq

    if isinstance(value, Mapping):
        made: Any = CommentedMap({key: _in_a_line(one) for key, one in value.items()})
    elif isinstance(value, (list, tuple)):
        made = CommentedSeq([_in_a_line(one) for one in value])
    else:
        return value
    made.fa.set_flow_style()
    return made


def told(value: Any) -> str:
    """Return a value in a few words, as it would be written."""
    words = flow(value)
    return words if len(words) <= 60 else words[:57] + "..."
