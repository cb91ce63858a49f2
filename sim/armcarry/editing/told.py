"""An answer in words and plain values, for a terminal, JSON or a notebook."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from armcarry.editing.answer import Answer
from armcarry.editing.session import Session
from armcarry.errors import InputError
from armcarry.files.yaml_text import parse_yaml
from armcarry.quantities import clock


def changed_by_keys(path: Path, keys: list[str], journal: Path | None) -> Session:
    """Return a session in which keys were set.

    Args:
        path: the script.
        keys: ``carries.0.moves.9.rate=0.6``, the value as it would stand in the file.
        journal: folder of the journal of a session to go on with, None to begin from the file.

    Raises:
        InputError: no such key, or a value that is not accepted.
    """
    session = Session(path, journal=journal)
    for text in keys:
        key, sign, value = text.partition("=")
        if not sign or not key.strip():
            raise InputError("not a key and its value", found=text, accepted="carries.0.moves.9.rate=0.6")
        session.set(key.strip(), parse_yaml(f"value: {value.strip()}".encode(), Path("--set")).data["value"])
    return session


def lines(session: Session) -> list[str]:
    """Return the difference, and what came of it."""
    answer = session.answer
    told = [line for line in session.difference().splitlines() if line[:1] in "+-"]
    told += [f"{clock(answer.duration_s)}, {len(answer.moves)} moves; tightest of what comes near:"]
    told += [f"  {one}" for one in answer.tightest]
    told += [f"fail {one.check}: {one.message}" for one in answer.failing]
    return [*told, "Only what is known at once was judged; armcarry rehearse runs every check"]


def as_dict(session: Session) -> dict[str, Any]:
    """Return what is known of the script as it is now."""
    answer: Answer = session.answer
    return {
        "changes": [change.title for change in session.script.changes[: session.script.done]],
        "duration_s": answer.duration_s,
        "tightest": [
            {"body_a": one.row.body_a, "body_b": one.row.body_b, "required_m": one.row.required_m,
             "lower_m": one.row.lower_m if one.row.status != "contact" else None, "time_s": one.row.time_s}
            for one in answer.tightest
        ],
        "failing": [finding.as_dict() for finding in answer.failing],
        "difference": session.difference(),
    }  # fmt: skip
