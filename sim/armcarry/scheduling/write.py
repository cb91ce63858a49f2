"""A day in another order as a script: the file's own lines, moved; comments, words and all else stay as they are."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from armcarry.errors import InputError
from armcarry.files.yaml_text import YamlText
from armcarry.files.yaml_write import flow

#: longest name of a step
_LONGEST = 48


@dataclass(frozen=True)
class Going:
    """A way along handrails that the new order takes before a step, in nobody's script yet.

    Attributes:
        name: of its step; empty for one that is made of who goes where.
        after: steps that it comes after.
    """

    who: str
    to: str
    before: str
    name: str = ""
    after: tuple[str, ...] = ()


@dataclass(frozen=True)
class Rearranged:
    """How a day is done otherwise, in the names of steps as they are written.

    Attributes:
        order: the steps in their new order.
        handed: step -> (who is written, who does it now).
        goings: ways that are put in.
        links: step -> steps that it comes after, in addition.
        left_out: every step that is not done.
    """

    order: tuple[str, ...]
    handed: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    goings: tuple[Going, ...] = ()
    links: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    left_out: tuple[str, ...] = ()


def rearranged(yaml: YamlText, names: Sequence[str], new: Rearranged) -> str:
    """Return the text of a script with its day rearranged.

    Args:
        yaml: the script as it is written.
        names: of its steps, in the order written; a step without one has a name of its own here.

    Raises:
        InputError: the steps do not stand one below another, or one that changes is not written on a line.
    """
    lines = yaml.content.decode("utf-8").splitlines()
    blocks = _blocks(yaml, lines, names)
    first, last = min(block.start for block in blocks.values()), max(block.end for block in blocks.values())
    taken = set(names)
    moved: list[str] = []
    for name in new.order:
        block = blocks[name]
        text = block.lines(lines)
        if name in new.handed:
            text = _handed(yaml, block, text, *new.handed[name])
        if new.links.get(name):
            text = _linked(block, text, new.links[name])
        moved += [f"{block.indent}- {flow(going_step(going, taken))}" for going in new.goings if going.before == name]
        moved += text
    whole = [*lines[:first], *moved, *lines[last:]]
    if list(new.left_out) != list(yaml.value(("day", "left_out")) or []):
        whole = _left_out(yaml, whole, new.left_out, first)
    return "\n".join(whole) + "\n"


@dataclass(frozen=True)
class _Block:
    """The lines of one step, numbered from 0: comments above it from ``start``, the step from ``at`` up to ``end``."""

    name: str
    start: int
    at: int
    end: int
    indent: str

    def lines(self, lines: Sequence[str]) -> list[str]:
        return list(lines[self.start : self.end])


def _blocks(yaml: YamlText, lines: Sequence[str], names: Sequence[str]) -> dict[str, _Block]:
    starts = [yaml.line(("day", "steps", k)) - 1 for k in range(len(names))]
    for at in starts:
        if not re.match(r"\s*- ", lines[at]):
            raise InputError("steps are moved as lines of the file", file=yaml.path, line=at + 1, found=lines[at][:80],
                             accepted="steps one below another, each beginning with '- '")  # fmt: skip
    found: dict[str, _Block] = {}
    indent = re.match(r"\s*", lines[starts[0]]).group()  # type: ignore[union-attr]
    tops = [_top(lines, at, starts[k - 1] + 1 if k else 0) for k, at in enumerate(starts)]
    for k, name in enumerate(names):
        end = tops[k + 1] if k + 1 < len(names) else _bottom(lines, starts[k], indent)
        found[name] = _Block(name, tops[k], starts[k], end, indent)
    return found


def _top(lines: Sequence[str], at: int, least: int) -> int:
    """Return where the comments above a step begin, with the blank line above them."""
    while at > least and (not lines[at - 1].strip() or lines[at - 1].lstrip().startswith("#")):
        at -= 1
    return at


def _bottom(lines: Sequence[str], at: int, indent: str) -> int:
    """Return the line behind the last step."""
    end = at + 1
    for k in range(at + 1, len(lines)):
        plain = lines[k].strip()
        if plain and not plain.startswith("#"):
            if len(lines[k]) - len(lines[k].lstrip()) <= len(indent):
                break
            end = k + 1
    return end


def _handed(yaml: YamlText, block: _Block, text: Sequence[str], written: str, now: str) -> list[str]:
    """Return the lines of a step that another does: in its actors, or under who or by of a step by intent."""
    pattern = re.compile(rf"\b(actors:\s*\[\s*|who:\s*|by:\s*){re.escape(written)}\b")
    changed, count = [], 0
    for line in text:
        new, times = (line, 0) if line.lstrip().startswith("#") else pattern.subn(rf"\g<1>{now}", line, count=1)
        changed.append(new)
        count += times
    if count != 1:
        raise InputError(f"step '{block.name}' goes to {now}, but who does it is not written on a line",
                         file=yaml.path, line=block.at + 1, accepted=f"actors: [{written}]")  # fmt: skip
    return changed


def _linked(block: _Block, text: Sequence[str], links: Sequence[str]) -> list[str]:
    """Return the lines of a step that comes after others too."""
    names, changed = ", ".join(links), list(text)
    for k, line in enumerate(changed):
        if not line.lstrip().startswith("#") and re.search(r"\bafter:\s*\[", line):
            changed[k] = re.sub(r"\bafter:\s*\[", f"after: [{names}, ", line, count=1)
            return changed
    at = block.at - block.start
    if changed[at].strip().startswith("- {"):
        end = max(k for k, line in enumerate(changed) if line.rstrip().endswith("}"))
        changed[end] = changed[end].rstrip()[:-1] + f", after: [{names}]" + "}"
        return changed
    return [*changed, f"{block.indent}  after: [{names}]"]


def going_step(going: Going, taken: set[str]) -> dict[str, Any]:
    """Return a way that is put in as a step, under its name or one that is not taken; it is then."""
    name = going.name or going_name(going.who, going.to, taken)
    title = f"to {going.to.rsplit('/', 1)[-1].replace('_', ' ')}"
    links = {"after": list(going.after)} if going.after else {}
    return {"name": name, "title": title, "actors": [going.who], "translate": {"to": going.to}, **links}


def going_name(who: str, to: str, taken: set[str]) -> str:
    """Return a name for a way that is put in which is not taken; it is then."""
    place = to.rsplit("/", 1)[-1]
    base = f"{who}_to_{place}"[: _LONGEST - 4]
    name, number = base, 1
    while name in taken:
        number += 1
        name = f"{base}_{number}"
    taken.add(name)
    return name


def _left_out(yaml: YamlText, lines: list[str], names: Sequence[str], steps: int) -> list[str]:
    """Return the lines with the day's ``left_out`` as it is now."""
    text = f"left_out: [{', '.join(names)}]"
    for k in range(yaml.line(("day",)) - 1, len(lines)):
        found = re.match(r"(\s*)left_out:\s*\[.*\]\s*(#.*)?$", lines[k])
        if found:
            return [*lines[:k], f"{found.group(1)}{text}", *lines[k + 1 :]]
    if yaml.value(("day", "left_out")) is not None:
        raise InputError("what is left out is not written on a line", file=yaml.path,
                         line=yaml.line(("day", "left_out")), accepted="left_out: [a, b]")  # fmt: skip
    head = max(k for k in range(steps) if re.match(r"\s+steps:", lines[k]))
    indent = re.match(r"\s*", lines[head]).group()  # type: ignore[union-attr]
    return [*lines[:head], f"{indent}{text}", *lines[head:]]
