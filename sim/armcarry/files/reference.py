"""The reference of all keys, made from the JSON Schemas: a page for each kind of document, and one key explained."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.schemas import schema_texts
from armcarry.files.yaml_write import flow

#: stands in a path for a name that the user chooses
OWN = "<name>"


@dataclass(frozen=True)
class Key:
    """One key of a document.

    Attributes:
        document: kind of document: scenario, arm and so on.
        path: keys from the top, with OWN for names and ``[]`` for the items of a list.
        part: what the schema says of the mapping it stands in.
        meaning: what it is, with unit and range.
        takes: what may be written, where the meaning does not say.
        default: as it is written in a file, None for none.
        required: whether it must be there.
        example: as it is written in a file.
        holds: keys of the mapping it holds, if it does.
    """

    document: str
    path: tuple[str, ...]
    part: str
    meaning: str
    takes: str
    default: str | None
    required: bool
    example: str
    holds: tuple[str, ...]

    @property
    def spelled(self) -> str:
        """The path as people write it: ``carries[].moves[].rate``."""
        return ".".join(self.path).replace(".[]", "[]")


def fits(path: tuple[str, ...], steps: tuple[str, ...]) -> bool:
    """Tell whether a number, or a part that holds it, stands at the path of a key."""
    return len(path) <= len(steps) and all(ours in (OWN, theirs) for ours, theirs in zip(path, steps, strict=False))


def all_keys() -> dict[str, tuple[Key, ...]]:
    """Return kind of document -> every key of it, outer keys before what they hold."""
    found = {}
    for name, text in schema_texts().items():
        document, schema = name.split(".")[0], json.loads(text)
        found[document] = tuple(_keys(document, schema, schema.get("$defs", {}), ()))
    return found


def _keys(document: str, part: dict[str, Any], defs: dict[str, Any], path: tuple[str, ...]) -> Iterator[Key]:
    inner: list[tuple[dict[str, Any], tuple[str, ...]]] = []
    for name, node in part["properties"].items():
        here = (*path, name)
        below = list(_parts(node, defs, here))
        default = node.get("default")
        yield Key(
            document, here, part.get("description", ""), node["description"], _takes(node),
            None if default is None else flow(default), name in part.get("required", ()),
            f"{name}: {flow(node['examples'][0])}",
            tuple(dict.fromkeys(key for one, _ in below for key in one["properties"])),
        )  # fmt: skip
        inner += below
    for one, where in inner:
        yield from _keys(document, one, defs, where)


def _parts(node: dict[str, Any], defs: dict[str, Any], path: tuple[str, ...]) -> Iterator[tuple[dict[str, Any], Any]]:
    """Yield every mapping with keys of its own that a value is or holds, with its path."""
    if "$ref" in node:
        yield defs[node["$ref"].rsplit("/", 1)[1]], path
    for choice in (*node.get("anyOf", ()), *node.get("oneOf", ())):
        yield from _parts(choice, defs, path)
    if isinstance(node.get("items"), dict):
        yield from _parts(node["items"], defs, (*path, "[]"))
    for value in (node.get("additionalProperties"), *node.get("patternProperties", {}).values()):
        if isinstance(value, dict):
            yield from _parts(value, defs, (*path, OWN))


def _takes(node: dict[str, Any]) -> str:
    """Say what may be written where the description does not: words of a choice, true or false, a range."""
    if "const" in node:
        return flow(node["const"])
    if "enum" in node:
        return ", ".join(flow(value) for value in node["enum"])
    kind = node.get("type")
    if kind == "boolean":
        return "true or false"
    if kind in ("integer", "number"):
        what = "a whole number" if kind == "integer" else "a number"
        if "exclusiveMinimum" in node:
            return f"{what} more than {node['exclusiveMinimum']}, at most {node['maximum']}"
        return f"{what} from {node['minimum']} to {node['maximum']}"
    return ""


# -- pages ----------------------------------------------------------------------------------------------------


def pages() -> dict[str, str]:
    """Return file name -> text of the reference: one Markdown page a kind of document."""
    return {f"{document}.md": _page(document, keys) for document, keys in all_keys().items()}


def _page(document: str, keys: tuple[Key, ...]) -> str:
    lines = [
        f"# Keys of {'an' if document[0] in 'aeiou' else 'a'} {document} document", "",
        "Made from the schema; change the documents, not this page. `armcarry explain KEY` prints one key.",
    ]  # fmt: skip
    sections: dict[tuple[tuple[str, ...], str], list[Key]] = {}
    for key in keys:
        sections.setdefault((key.path[:-1], key.part), []).append(key)
    for (path, _), own in sections.items():
        spelled = ".".join(path).replace(".[]", "[]")
        said = own[0].part.split("\n\n")[0].replace("``", "`")
        lines += ["", f"## `{spelled}`" if path else "## At the top", "", said]
        lines += ["", "| key | meaning, unit and range | default | example |", "|---|---|---|---|"]
        lines += [_row(key) for key in own]
    return "\n".join(lines) + "\n"


def _row(key: Key) -> str:
    words = f"{key.meaning}; {key.takes}" if key.takes else key.meaning
    default = "must be there" if key.required else "none" if key.default is None else f"`{key.default}`"
    cells = (f"`{key.path[-1]}`", words, default, f"`{key.example}`")
    return "| " + " | ".join(cell.replace("|", "\\|").replace("``", "`") for cell in cells) + " |"


def write_pages(folder: Path) -> list[Path]:
    """Write the reference into a folder and return the paths. Raises RecordError when it cannot be written."""
    from armcarry.files.atomic import write_text_atomic

    written = []
    for name, text in pages().items():
        write_text_atomic(folder / name, text)
        written.append(folder / name)
    return written


# -- one key --------------------------------------------------------------------------------------------------


def explain(wanted: str) -> list[Key]:
    """Return every key that is meant by a name or a path: ``rate``, ``moves.rate``, ``scenario.carries.moves.rate``.

    Items of lists and names of the user's may be written or left out.

    Raises:
        InputError: no key of any document; the nearest ones are named.
    """
    steps = [step for step in re.split(r"[.\[\]\s:]+", wanted.strip()) if step and not step.isdigit()]
    every = [key for keys in all_keys().values() for key in keys]
    documents = {key.document for key in every}
    found = [key for key in every if steps and _fits(key, steps)]
    if not found and len(steps) > 1 and steps[0] in documents:
        found = [key for key in every if key.document == steps[0] and _fits(key, steps[1:], whole=True)]
    if not found:
        raise InputError("no key of any document", found=wanted[:200], accepted=_near(steps, every))
    return found


def _near(steps: list[str], every: list[Key]) -> str:
    """Return the keys that a wrong one may stand for: near in spelling, or told of in its words; else where all are."""
    wanted = steps[-1] if steps else ""
    known = {key.path[-1] for key in every}
    spelled = {name.replace("_", ""): name for name in known}
    near = names.near(wanted.replace("_", ""), spelled)
    words = {word for word in re.split(r"[_\W]+", wanted.lower()) if len(word) > 2}
    about = [key.path[-1] for key in every if words & set(re.split(r"[_\W]+", f"{key.path[-1]} {key.meaning}".lower()))]
    told = list(dict.fromkeys([*(spelled[name] for name in near), *about]))[:6]
    if near:
        told[0] = f"{told[0]} (nearest)"
    everything = "all keys stand in shared/reference, and armcarry new KIND NAME writes a file with them"
    return f"{', '.join(told)}; {everything}" if told else everything


def _fits(key: Key, steps: list[str], whole: bool = False) -> bool:
    """Tell whether a path ends with the steps; names the user chooses and items of lists fit anything or nothing."""
    path = list(key.path)
    for step in reversed(steps):
        while path and path[-1] == "[]":
            path.pop()
        if path and path[-1] == OWN:
            path.pop()
            if path and path[-1] == step:
                path.pop()
            continue
        if not path or path.pop() != step:
            return False
    return not [step for step in path if step not in ("[]", OWN)] if whole else True


if __name__ == "__main__":
    from armcarry.files.places import shared_folder

    for written_path in write_pages(shared_folder() / "reference"):
        print(written_path)
