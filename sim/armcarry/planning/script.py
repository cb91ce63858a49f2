"""A scenario written anew with some moves replaced; comments and order of all else are kept."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.files.expand_text import expanded_text
from armcarry.files.load import load_scenario


def write_with_moves(
    source: Path, target: Path, replaced: Mapping[str, Sequence[tuple[int, int, list[dict[str, Any]]]]], note: str
) -> None:
    """Write a copy of a scenario with stretches of its carries replaced; of one by intent, of its long form.

    Args:
        source: the scenario file.
        target: where the copy goes; not the source itself.
        replaced: carry -> (first move, count, the moves in their place), moves counted from 0.
        note: one line of comment put before the first of them.

    Raises:
        InputError: target is the source.
        RecordError: it cannot be written.
    """
    from ruamel.yaml import YAML
    from ruamel.yaml.comments import CommentedMap

    if source.resolve() == target.resolve():
        raise InputError("a route is written to a new file, the script stays as it is", file=target)
    yaml = YAML()
    yaml.width = 4096  # no line of the script is wrapped anew
    yaml.preserve_quotes = True
    yaml.indent(mapping=2, sequence=4, offset=2)
    document = yaml.load(_text(source))
    for carry in document["carries"]:
        # from the last, so that earlier numbers stay true
        for first, count, moves in sorted(replaced.get(carry["name"], ()), reverse=True, key=lambda item: item[0]):
            items = []
            for move in moves:
                item = CommentedMap(move)
                if "to_joints" in move:
                    item["to_joints"] = _on_a_line(move["to_joints"])
                if "via" in move:
                    item["via"] = [_on_a_line(point) for point in move["via"]]
                items.append(item)
            _show_instead(document, carry["moves"][first : first + count], items)
            carry["moves"][first : first + count] = items
            carry["moves"].yaml_set_comment_before_after_key(first, before=note, indent=6)
    stream = io.StringIO()
    yaml.dump(document, stream)
    write_bytes_atomic(target, stream.getvalue().encode("utf-8"))


def _text(source: Path) -> str:
    """Return a script as it is written, or its long form where it says what is meant: there moves are numbered."""
    loaded = load_scenario(source)
    beside = loaded.beside
    meant = beside is not None and beside.long.source is not beside.written
    return expanded_text(loaded) if meant else source.read_text(encoding="utf-8")


def _show_instead(document: Any, gone: Sequence[Any], instead: Sequence[Any]) -> None:
    """Ask for pictures of moves that are gone at the first move in their place that has a name, or no more."""
    named = {move["name"] for move in gone if "name" in move} - {move["name"] for move in instead if "name" in move}
    name = next((move["name"] for move in instead if "name" in move), None)
    for picture in list(document.get("pictures", ())):
        if picture.get("step") in named:
            if name is None:
                document["pictures"].remove(picture)
            else:
                picture["step"] = name


def _on_a_line(settings: dict[str, str]) -> Any:
    from ruamel.yaml.comments import CommentedMap

    item = CommentedMap(settings)
    item.fa.set_flow_style()
    return item
