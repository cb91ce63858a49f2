"""JSON Schemas of every document, so that editors complete and check while one types.

A YAML file names its schema in its first line: ``# yaml-language-server: $schema=<path or address>``.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from armcarry.files.documents.base import Document
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
    return {"$schema": DIALECT, **_for_people(schema), "title": form}


def _for_people(node: Any) -> Any:
    """Return a schema without the titles pydantic makes of names, and with defaults as they are written."""
    if isinstance(node, dict):
        plain = {key: _for_people(value) for key, value in node.items() if not (key == "title" and _is_title(node))}
        if "patternProperties" in plain:
            plain["additionalProperties"] = False
        # a default is the value inside, in SI; in a file it would need its unit
        if "default" in plain and not _written_as_is(plain["default"]):
            del plain["default"]
        return plain
    if isinstance(node, list):
        return [_for_people(value) for value in node]
    return node


def _is_title(node: dict[str, Any]) -> bool:
    """Tell whether ``title`` is the keyword, not a property of that name."""
    return isinstance(node.get("title"), str)


def _written_as_is(default: Any) -> bool:
    return default is None or isinstance(default, (str, bool)) or default in ([], {})


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
