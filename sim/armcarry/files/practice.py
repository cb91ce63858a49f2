"""Recorded tries of a day's steps: a CSV of who took how long for what, made into three-point durations.

Of the tries of one step by one person the shortest is ``least``, the longest ``most``, the middle one ``likely`` (of an
even number the mean of the middle two).
"""

from __future__ import annotations

import csv
from collections.abc import Collection, Iterator
from pathlib import Path
from statistics import median

from armcarry.errors import InputError, QuantityError
from armcarry.files import names
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.step_parts import Takes
from armcarry.files.yaml_text import read_bytes, shorten
from armcarry.quantities import parse

COLUMNS = ("step", "who", "took")
#: fewer tries say nothing of how long something may take
LEAST_TRIES = 3
_MAX_BYTES = 1_000_000


def practised(script: ScenarioDocument, path: Path, content: bytes) -> ScenarioDocument:
    """Return a script, in its long form, whose steps take whom tries were recorded of as long as those took.

    Args:
        script: in its long form.
        path, content: the table and its bytes.

    Raises:
        InputError: the first row that cannot be used, or tries of a step that states ``takes_by`` for the same person.
    """
    day = script.day
    if day is None:
        return script
    people = list(script.crew) + list(day.others)
    tries: dict[tuple[str, str], list[tuple[int, float]]] = {}
    for line, step, who, took_s in _rows(path, content, [step.name for step in day.steps], people):
        tries.setdefault((step, who), []).append((line, took_s))
    stated = {(step.name, who) for step in day.steps for who in step.takes_by}
    by_step: dict[str, dict[str, Takes]] = {}
    for (step, who), found in tries.items():
        last = found[-1][0]
        if (step, who) in stated:
            raise InputError(f"step '{step}' states under takes_by how long it takes {who}", file=path, line=last,
                             accepted="takes_by, or recorded tries")  # fmt: skip
        if len(found) < LEAST_TRIES:
            raise InputError(f"too few tries of '{step}' by {who} to tell how long it takes", file=path, line=last,
                             found=str(len(found)), accepted=f"{LEAST_TRIES} tries at least")  # fmt: skip
        took = [took_s for _, took_s in found]
        by_step.setdefault(step, {})[who] = Takes.model_construct(least=min(took), likely=median(took), most=max(took))
    steps = [step.model_copy(update={"takes_by": {**step.takes_by, **by_step.get(step.name, {})}})
             for step in day.steps]  # fmt: skip
    return script.model_copy(update={"day": day.model_copy(update={"steps": steps})})


def read_practice(path: Path) -> bytes:
    """Return the bytes of a table of tries. Raises InputError."""
    return read_bytes(path, _MAX_BYTES, "practice")


def _rows(
    path: Path, content: bytes, steps: Collection[str], people: Collection[str]
) -> Iterator[tuple[int, str, str, float]]:
    """Yield line, step, who and seconds of each try."""
    try:
        lines = content.decode("utf-8-sig").splitlines()
    except UnicodeDecodeError as error:
        line = content[: error.start].count(b"\n") + 1
        raise InputError("not text in UTF-8", file=path, line=line) from error
    reader = csv.reader(lines)
    heading: list[str] | None = None
    try:
        for cells in reader:
            line, cells = reader.line_num, [cell.strip() for cell in cells]
            if not any(cells) or cells[0].startswith("#"):
                continue
            if heading is None:
                heading = cells
                if any(heading.count(name) != 1 for name in COLUMNS):
                    raise InputError("not a table of tries", file=path, line=line, found=shorten(",".join(cells)),
                                     accepted=f"a heading with {', '.join(COLUMNS)}, each once")  # fmt: skip
                continue
            if len(cells) != len(heading):
                raise InputError(f"the row has {len(cells)} cells, the heading {len(heading)}", file=path, line=line)
            step, who, took = (cells[heading.index(name)] for name in COLUMNS)
            for kind, name, known in (("step", step, steps), ("actor", who, people)):
                if name not in known:
                    raise InputError(f"no {kind} named '{shorten(name)}'", file=path, line=line,
                                     accepted=names.accepted(name, known, kind))  # fmt: skip
            yield line, step, who, _took_s(took, path, line)
    except csv.Error as error:
        raise InputError(f"not a table: {error}", file=path, line=reader.line_num) from error
    if heading is None:
        raise InputError("an empty table of tries", file=path, line=1, accepted=",".join(COLUMNS))


def _took_s(text: str, path: Path, line: int) -> float:
    try:
        took_s = parse(text, "time")
    except QuantityError as error:
        raise InputError(f"took: {error.problem}", file=path, line=line, found=shorten(text),
                         accepted=error.accepted) from error  # fmt: skip
    if took_s <= 0.0:
        raise InputError("a try that took no time", file=path, line=line, found=shorten(text), accepted="more than 0 s")
    return took_s
