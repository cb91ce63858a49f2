"""The procedure of one actor as Markdown: the document of record.

It is written anew each time; own words stand in the scenario (``say``, ``note``, ``caution``, ``see``, ``if_not``).
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from armcarry.files.atomic import write_text_atomic
from armcarry.procedure.lines import lines, opening
from armcarry.procedure.model import Procedure, Task, role
from armcarry.procedure.tasks import planned
from armcarry.views.words import CAUTION

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>#|~])")
OWN_WORDS = (
    "Written by armcarry from the scenario. To change words, write them in the scenario under say, note, caution, see "
    "or if_not of the step or move, and write the briefing again: what is changed here is lost then."
)


def write_markdown(procedure: Procedure, actor: str, path: Path, frozen: str = "") -> Path:
    """Write the procedure of one actor and return its path. Raises RecordError."""
    write_text_atomic(path, "\n".join(_document(procedure, actor, frozen)) + "\n")
    return path


def _document(procedure: Procedure, actor: str, frozen: str) -> Iterator[str]:
    yield f"# {plain_text(procedure.title)}: {plain_text(role(actor))}\n"
    yield f"{plain_text(procedure.purpose.strip())}\n"
    if frozen:
        yield f"{plain_text(frozen)}\n"
    yield f"> {CAUTION}\n"
    for words in opening(procedure, actor):
        yield f"- {plain_text(words)}"
    yield f"\n<!-- {OWN_WORDS} -->\n"
    yield "## At the start\n\n| what | where |\n|---|---|"
    for what, where in procedure.start:
        yield f"| {plain_text(what)} | {plain_text(where)} |"
    yield "\n## Tasks\n"
    for task in procedure.of(actor):
        yield from _task(procedure, task, actor, "")
    if procedure.left_out:
        yield "\n## Not done\n"
        for item in procedure.left_out:
            yield f"- {plain_text(item.title)}: {plain_text(item.why)}"


def _task(procedure: Procedure, task: Task, actor: str, margin: str) -> Iterator[str]:
    place = f", {plain_text(task.place)}" if task.place else ""
    optional = " (as time permits)" if task.optional else ""
    yield (f"{margin}- [ ] **{task.number} {plain_text(task.title)}**{place}{optional}: planned "
           f"{planned(task, procedure.day_start_s)}; actual \\_\\_\\_\\_ to \\_\\_\\_\\_; remarks \\_\\_\\_\\_")
    for line in lines(task, actor, procedure):
        yield f"{margin}  - {plain_text(line.text)}"
    for move in task.moves:
        if actor == procedure.reader or move.concerns(actor):
            yield from _task(procedure, move, actor, margin + "  ")


def plain_text(words: str) -> str:
    """Return words that Markdown shows as they are, on one line."""
    return _SPECIAL.sub(r"\\\1", " ".join(words.split()))
