"""A run with other words: those of a scenario that differs from the run's own in its words and pictures alone."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.documents.base import OwnWords
from armcarry.files.load import load_scenario
from armcarry.record.record import Record
from armcarry.timeline.variants import repeated

#: keys whose text changes nothing that was computed
WORDS = (*OwnWords.model_fields, "title", "purpose", "notes", "pictures")


def rewritten(record: Record, path: Path) -> Record:
    """Return the record with the words of a scenario, so that a lead may edit them without rehearsing anew.

    Raises:
        InputError: the scenario is none, or differs from that of the run in more than its words.
    """
    loaded = load_scenario(path)
    ours, theirs = (_bare(script.model_dump(mode="json")) for script in (record.scene.loaded.scenario, loaded.scenario))
    other = _first_difference(ours, theirs, "")
    if other is not None:
        raise InputError(
            "this is another scenario than the run's, not only in its words", file=path, found=f"another {other}",
            accepted=f"changes of {', '.join(WORDS)}; rehearse it for any other",
        )
    scene = replace(record.scene, loaded=replace(record.scene.loaded, scenario=loaded.scenario))
    said = {
        (carry.name, number): move.say
        for carry in repeated(scene, loaded.scenario.carries) for number, move in enumerate(carry.moves, start=1)
    }
    moves = tuple(replace(move, say=said.get((move.carry, move.number), move.say)) for move in record.moves)
    return replace(record, scene=scene, moves=moves)


def _bare(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _bare(item) for key, item in value.items() if key not in WORDS}
    return [_bare(item) for item in value] if isinstance(value, list) else value


def _first_difference(ours: Any, theirs: Any, where: str) -> str | None:
    """Return the path of the first key that differs, None where none does."""
    if isinstance(ours, dict) and isinstance(theirs, dict):
        for key in {**ours, **theirs}:
            found = _first_difference(ours.get(key), theirs.get(key), f"{where}.{key}" if where else str(key))
            if found is not None:
                return found
        return None
    if isinstance(ours, list) and isinstance(theirs, list) and len(ours) == len(theirs):
        pairs = enumerate(zip(ours, theirs, strict=True))
        return next((found for k, (a, b) in pairs if (found := _first_difference(a, b, f"{where}[{k}]"))), None)
    return None if ours == theirs else where
