"""JSON Schemas of every document, so that editors complete and check while one types.

A YAML file names its schema in its first line: ``# yaml-language-server: $schema=<path or address>``.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any, Literal, get_args, get_origin

from pydantic import BaseModel

from armcarry.files import document_types
from armcarry.files.document_types import alternatives, flat, parts, quantity, written
from armcarry.files.documents.base import Document, Part
from armcarry.files.validate import FORMATS

DIALECT = "https://json-schema.org/draft/2020-12/schema"
HINT = "# yaml-language-server: $schema="


def schema_name(form: str) -> str:
    """Return the file name of a format's schema: ``armcarry arm 1`` -> ``arm.schema.json``."""
    return f"{form.split()[1]}.schema.json"


def schema_of(document: type[Document]) -> dict[str, Any]:
    """Return the JSON Schema of a document as it is written in YAML."""
    form = next(text for text, kind in FORMATS.items() if kind is document)
    schema = document.model_json_schema(by_alias=True, mode="validation")
    for name, part in parts(document).items():
        node = schema if part is document else schema["$defs"][name]
        _explain(node, part)
    return {"$schema": DIALECT, **_for_people(schema), "title": form}


def _explain(node: dict[str, Any], part: type[BaseModel]) -> None:
    """Give each key of a part its unit and range, its default as it is written in a file, and an example."""
    for name, info in part.model_fields.items():
        key = node["properties"][info.alias or name]
        said = document_types.description(part, (name,))
        if said is not None:
            key["description"] = said
        key.pop("default", None)
        if not info.is_required():
            default = info.get_default(call_default_factory=True)
            if default not in (None, "", [], {}) and not isinstance(default, BaseModel):
                key["default"] = written(info.annotation, tuple(info.metadata), default, (info.examples or [""])[0])
        key.setdefault("examples", [example_of(part, name)])


def example_of(part: type[BaseModel], name: str) -> Any:
    """Return how a key of a part may be written: the example of its field, else one made of what it holds."""
    info = part.model_fields[name]
    if info.examples:
        return info.examples[0]
    return _example(*next(iter(alternatives(part, (name,)))))


def _example(annotation: Any, metadata: tuple[Any, ...]) -> Any:
    found = quantity([(annotation, metadata)])
    if found is not None:
        return found.example
    if isinstance(annotation, type) and issubclass(annotation, Part):
        if annotation.EXAMPLE:
            return annotation.EXAMPLE
        fields = annotation.model_fields.items()
        return {info.alias or name: example_of(annotation, name) for name, info in fields if info.is_required()}
    origin, inside = get_origin(annotation), get_args(annotation)
    if origin is Literal:
        return inside[0]
    if origin is dict:
        keys = get_args(inside[0]) if get_origin(inside[0]) is Literal else ("own_name",)
        return {keys[0]: _example(*next(flat(inside[1])))}
    if origin is list:
        return [_example(*next(flat(inside[0])))]
    raise AssertionError(f"a key of {annotation} has neither an example nor one that can be made")


def _for_people(node: Any) -> Any:
    """Return a schema without the titles pydantic makes of names."""
    if isinstance(node, dict):
        plain = {key: _for_people(value) for key, value in node.items() if not (key == "title" and _is_title(node))}
        if "patternProperties" in plain:
            plain["additionalProperties"] = False
        return plain
    if isinstance(node, list):
        return [_for_people(value) for value in node]
    return node


def _is_title(node: dict[str, Any]) -> bool:
    """Tell whether ``title`` is the keyword, not a property of that name."""
    return isinstance(node.get("title"), str)


def schema_texts() -> dict[str, str]:
    """Return file name -> text of every schema."""
    return {
        schema_name(form): json.dumps(schema_of(document), indent=2, ensure_ascii=False) + "\n"
        for form, document in FORMATS.items()
    }


def write_schemas(folder: Path) -> list[Path]:
    """Write every schema into a folder and return their paths.

    Raises:
        RecordError: the folder cannot be written.
    """
    from armcarry.files.atomic import write_text_atomic

    written = []
    for name, text in schema_texts().items():
        write_text_atomic(folder / name, text)
        written.append(folder / name)
    return written


if __name__ == "__main__":
    from armcarry.files.places import shared_folder

    for written_path in write_schemas(shared_folder() / "schemas"):
        print(written_path)
