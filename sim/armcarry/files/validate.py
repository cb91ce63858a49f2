"""Documents from YAML files: every problem of a file at once, each with its line."""

from __future__ import annotations

import json
import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from pydantic import ValidationError

from armcarry.errors import InputError, InputErrors
from armcarry.files import document_types, names
from armcarry.files.document_types import spell
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.base import NAME_WORDS, Document
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.log import LogColumnsDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.series import SeriesDocument
from armcarry.files.yaml_text import YamlPath, YamlText, read_yaml, shorten
from armcarry.texts import all_shown

#: value of the key ``format`` -> document
FORMATS: dict[str, type[Document]] = {
    "armcarry arm 1": ArmDocument,
    "armcarry columns 1": LogColumnsDocument,
    "armcarry crew 1": CrewDocument,
    "armcarry hardware 1": HardwareDocument,
    "armcarry platform 1": PlatformDocument,
    "armcarry restraint 1": RestraintDocument,
    "armcarry rules 1": RulesDocument,
    "armcarry scenario 1": ScenarioDocument,
    "armcarry series 1": SeriesDocument,
}

D = TypeVar("D", bound=Document)

_NAMED = re.compile(r"(?:step|carry|outing) '([^']*)'")
_TWICE = re.compile(r"two (?:steps|carries|outings) are named '([^']*)'")

_SHAPES = {
    "string_type": "text",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "int_from_float": "a whole number",
    "float_type": "a number",
    "list_type": "a list: [a, b] or lines that begin with '- '",
    "tuple_type": "a list: [a, b] or lines that begin with '- '",
    "dict_type": "a mapping: lines 'key: value'",
    "model_type": "a mapping: lines 'key: value'",
    "model_attributes_type": "a mapping: lines 'key: value'",
}


@dataclass(frozen=True)
class Source(Generic[D]):
    """A document together with the YAML it was read from, so that later problems can name the line."""

    document: D
    yaml: YamlText

    @property
    def path(self) -> Path:
        """The file."""
        return self.yaml.path

    def problem(
        self, path: YamlPath, problem: str, *, found: object = None, accepted: str | None = None
    ) -> InputError:
        """Return (not raise) a problem at a key of this file."""
        if isinstance(found, str):
            found = shorten(found)
        return InputError(problem, file=self.path, line=self.yaml.line(path), found=found, accepted=accepted)


def raise_all(problems: list[InputError]) -> None:
    """Raise the problems, if any: one as itself, several as InputErrors."""
    if len(problems) == 1:
        raise problems[0]
    if problems:
        raise InputErrors(problems)


def read_document(path: Path, document: type[D]) -> D:
    """Read a document of a wanted type. Raises InputError, or InputErrors with every problem."""
    return read_source(path, document).document


def read_source(path: Path, document: type[D]) -> Source[D]:
    """Read a document of a wanted type and keep its lines. Raises InputError or InputErrors."""
    yaml = read_yaml(path)
    found = _format(yaml)
    if found is not document:
        wanted = next(text for text, kind in FORMATS.items() if kind is document)
        raise InputError(
            "a file of another kind", file=path, line=yaml.line(("format",)), found=yaml.data["format"], accepted=wanted
        )
    return Source(validate(yaml, document), yaml)


def read_any(path: Path) -> Source[Any]:
    """Read a document of the type that its key ``format`` names. Raises InputError or InputErrors."""
    yaml = read_yaml(path)
    return Source(validate(yaml, _format(yaml)), yaml)


def _format(yaml: YamlText) -> type[Document]:
    if "format" not in yaml.data:
        problem = "key 'format' is missing, so the kind of file is unknown"
        raise InputError(problem, file=yaml.path, line=1, accepted=", ".join(FORMATS))
    text = yaml.data["format"]
    if not isinstance(text, str) or text not in FORMATS:
        raise InputError(
            "unknown format",
            file=yaml.path,
            line=yaml.line(("format",)),
            found=shorten(text) if isinstance(text, str) else text,
            accepted=names.accepted(str(text), FORMATS),
        )
    return FORMATS[text]


def validate(yaml: YamlText, document: type[D]) -> D:
    """Return the document that a YAML file holds. Raises InputError, or InputErrors with every problem."""
    try:
        # through JSON, where strict reading still takes lists for tuples but never "3" for 3
        return document.model_validate_json(json.dumps(all_shown(yaml.data)), strict=True)
    except ValidationError as error:
        problems = _problems(error, yaml, document)
        raise_all(problems)
        raise AssertionError("unreachable: a ValidationError holds at least one error") from error


def _problems(error: ValidationError, yaml: YamlText, document: type[Document]) -> list[InputError]:
    """Return one problem a place: the alternatives of a union are told together."""
    grouped: dict[YamlPath, list[dict[str, Any]]] = {}
    for entry in error.errors(include_url=False):
        path = _place(entry["loc"], yaml)
        if entry["type"] in ("missing", "extra_forbidden"):  # not in the file, or there with signs that are not shown
            path = (*_place(entry["loc"][:-1], yaml), entry["loc"][-1])
        elif entry["type"] == "value_error":
            path = _named_item(path, str(entry["ctx"]["error"]), yaml)
        grouped.setdefault(path, []).append(dict(entry))
    problems = [_problem(path, entries, yaml, document) for path, entries in grouped.items()]
    return sorted(problems, key=lambda problem: problem.line or 0)


def _place(loc: tuple[str | int, ...], yaml: YamlText) -> YamlPath:
    """Return the path of a refusal, without the words pydantic puts in for the part of a union it tried."""
    path: YamlPath = ()
    for step in loc:
        if (*path, step) in yaml.lines:
            path = (*path, step)
    return path


def _named_item(path: YamlPath, words: str, yaml: YamlText) -> YamlPath:
    """Return the list item that a refusal of a whole document names as ``step 'x'`` or ``carry 'x'``.

    Of two that have one name it is the second.
    """
    twice = _TWICE.match(words)
    named = twice or _NAMED.match(words)
    if named is None:
        return path
    items = [item for item in yaml.lines if item[: len(path)] == path and _name_of(yaml.value(item)) == named.group(1)]
    return items[-1 if twice else 0] if items else path


def _name_of(value: object) -> object:
    return value.get("name") if isinstance(value, dict) else None


def _problem(
    path: YamlPath, entries: list[dict[str, Any]], yaml: YamlText, document: type[Document]
) -> InputError:
    told = [_tell(path, entry, document) for entry in entries]
    said = document_types.description(document, path) if len(entries) > 1 else None
    accepted = said or " or ".join(dict.fromkeys(accepted for _, _, accepted in told if accepted)) or None
    problem, found, _ = told[0]
    return InputError(problem, file=yaml.path, line=yaml.line(path), found=found, accepted=accepted)


def _tell(path: YamlPath, entry: dict[str, Any], document: type[Document]) -> tuple[str, Any, str | None]:
    """Return problem, what was found and what is accepted, for one pydantic error."""
    kind, context, value = entry["type"], entry.get("ctx", {}), entry["input"]
    key = spell(path)
    found = shorten(value) if isinstance(value, str) else value
    if isinstance(value, (dict, list)):
        found = f"a {'mapping' if isinstance(value, dict) else 'list'} of {len(value)}"
    if kind == "extra_forbidden":
        known = document_types.known_keys(document, path[:-1])
        where = f" in {spell(path[:-1])}" if path[:-1] else ""
        return f"unknown key '{shorten(str(path[-1]))}'{where}", None, names.accepted(str(path[-1]), known)
    if kind == "missing":
        where = f" in {spell(path[:-1])}" if path[:-1] else ""
        return f"key '{path[-1]}' is missing{where}", None, document_types.description(document, path)
    if kind == "value_error":
        words = str(context["error"])
        if _NAMED.match(words) or _TWICE.match(words) or not key:
            return words, None, None
        problem, _, rest = words.partition("; found ")
        accepted = rest.partition("; accepted: ")[2]
        return (f"{key}: {problem}", found, accepted) if accepted else (f"{key}: {words}", None, None)
    if kind == "string_pattern_mismatch":
        pattern = str(context["pattern"])
        return f"{key}: not an accepted name", found, NAME_WORDS.get(pattern, f"text like {pattern}")
    if kind == "literal_error":
        return f"{key}: not one of the accepted words", found, str(context["expected"]).replace("'", "")
    if value is None:
        return f"{key}: nothing stands here", None, _SHAPES.get(kind, document_types.description(document, path))
    if kind in _SHAPES:
        return f"{key}: a value of the wrong kind", found, _SHAPES[kind]
    return f"{key}: {_lower(entry['msg'])}", found, document_types.description(document, path)


def _lower(message: str) -> str:
    message = message.replace("Input should be", "should be").replace("String should", "text should")
    return message[:1].lower() + message[1:]
