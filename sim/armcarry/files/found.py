"""The file beside a script that holds what was found for it: read, told stale, applied to the long form, written."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.documents.found import FoundDocument
from armcarry.files.places import is_file
from armcarry.files.validate import Source, validate
from armcarry.files.yaml_text import YamlText, parse_yaml, read_yaml

FORMAT = "armcarry found 1"
#: keys of a script on which nothing that is found depends
_WORDS = ("title", "purpose", "notes", "basis", "sources", "expect", "cameras_off", "environment")


@dataclass(frozen=True)
class Found:
    """What was found for a script, with the file it stands in or would stand in."""

    source: Source[FoundDocument]

    @property
    def document(self) -> FoundDocument:
        """What was found."""
        return self.source.document

    @property
    def data(self) -> dict[str, Any]:
        """The same as it is written."""
        return self.source.yaml.data


def path_beside(script: Path) -> Path:
    """Return where what is found for a script is kept."""
    return script.with_name(f"{script.stem}.found.json")


def digest_of(script: YamlText, inputs: Mapping[str, str]) -> str:
    """Return the SHA-256 of all that is looked at when something is found: the script but for its words, and models.

    Args:
        script: as it was written.
        inputs: role path -> SHA-256 of each file that was read.
    """
    said = {key: value for key, value in script.data.items() if key not in _WORDS}
    models = {role: digest for role, digest in inputs.items() if role.startswith("models/")}
    return hashlib.sha256(json.dumps([said, models], sort_keys=True).encode()).hexdigest()


def read_found(script: Path) -> Found | None:
    """Return what stands beside a script, for whichever state of it; None where nothing does.

    Raises:
        InputError: the file is damaged; InputErrors for several problems.
    """
    path = path_beside(script)
    if not is_file(path):
        return None
    return _found(read_yaml(path))


def found_of(script: Path, data: dict[str, Any]) -> Found:
    """Return what was found as it will stand beside a script."""
    text = json.dumps(data, indent=1, ensure_ascii=False) + "\n"
    return _found(parse_yaml(text.encode(), path_beside(script)))


def _found(yaml: YamlText) -> Found:
    if yaml.data.get("format") != FORMAT:
        raise InputError("not what armcarry found for a script", file=yaml.path, line=1, accepted=f"format: {FORMAT}; "
                         "delete the file, and all is found anew")  # fmt: skip
    return Found(Source(validate(yaml, FoundDocument), yaml))


def write_found(found: Found) -> bool:
    """Write what was found beside its script; tell whether the folder takes it (that of an install may not)."""
    from armcarry.errors import RecordError
    from armcarry.files.atomic import write_bytes_atomic

    try:
        write_bytes_atomic(found.source.path, found.source.yaml.content)
    except (OSError, RecordError):
        return False
    return True


def applied(data: dict[str, Any], found: FoundDocument, written: dict[str, Any]) -> dict[str, Any]:
    """Return the data of a long form with what was found in it.

    Args:
        data: of the long form.
        found: for this script.
        written: the file's data, in which quantities stand as they are written.
    """
    new = dict(data)
    if found.base is not None:
        new["base"] = written["base"]
    if found.start:
        new["start"] = written["start"]
    if found.settings and isinstance(data.get("restraint"), dict):
        new["restraint"] = {**data["restraint"], "settings": written["settings"]}
    carries = with_ways(data.get("carries", []), written.get("ways", []))
    if found.past and "day" in data:
        new = with_past(new, {one["step"]: one for one in written["past"]})
    if found.waits and "day" in data:
        new = with_waits(new, [(wait.step, wait.after) for wait in found.waits])
    return {**new, "carries": carries} if "carries" in data else new


def with_ways(carries: Iterable[dict[str, Any]], ways: Iterable[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return carries with the ways that were found for their free moves in the place of these."""
    known = {(way["carry"], way["move"]): way for way in ways}
    return [
        {**carry, "moves": [_flown(move, known.get((carry["name"], move.get("name")))) for move in carry["moves"]]}
        if "moves" in carry else carry for carry in carries
    ]


def with_waits(data: dict[str, Any], waits: Iterable[tuple[str, str]]) -> dict[str, Any]:
    """Return the data of a long form in whose day steps wait for others too: each wait a step and what it follows."""
    links: dict[str, list[str]] = {}
    for step, after in waits:
        links.setdefault(step, []).append(after)
    return {**data, "day": {**data["day"], "steps": [_waiting(step, links) for step in data["day"]["steps"]]}}


def with_past(data: dict[str, Any], past: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    """Return the data of a long form in whose day who goes along handrails knows where the arm stands, by step."""
    return {**data, "day": {**data["day"], "steps": [_passing(step, past) for step in data["day"]["steps"]]}}


def _passing(step: dict[str, Any], past: Mapping[str, dict[str, Any]]) -> dict[str, Any]:
    """Return a step with where the arm stands meanwhile, if that was found for it."""
    one = past.get(step.get("name", ""))
    if one is None or "translate" not in step:
        return step
    arm = {key: value for key, value in one.items() if key != "step"}
    return {**step, "translate": {**step["translate"], "past": arm}}


def _waiting(step: dict[str, Any], links: Mapping[str, list[str]]) -> dict[str, Any]:
    """Return a step with the waits that were found for it."""
    more = links.get(step.get("name", ""))
    return {**step, "after": [*step.get("after", []), *more]} if more else step


def _flown(move: dict[str, Any], way: dict[str, Any] | None) -> dict[str, Any]:
    """Return a free move as the way that was found for it."""
    if way is None:
        return move
    kept = {key: value for key, value in move.items() if key in ("name", "say", "rate", "tip_speed", "relax")}
    via = {"via": way["via"]} if way.get("via") else {}
    return {"to_joints": way["to_joints"], **via, **kept}
