"""Plain values to YAML text that ``yaml_text`` reads back the same, for scripts that the program writes."""

from __future__ import annotations

import json
import re
from typing import Any

WIDTH = 110

#: text that may stand without quotes: words, and numbers with a unit
_PLAIN = re.compile(
    r"[A-Za-z][A-Za-z0-9_./*()-]*(?: [A-Za-z0-9_./*()-]+)*"
    r"|[-+]?[0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)? (?:%|[A-Za-z][A-Za-z0-9/^*]*)"
)
#: words that some readers take for something else
_WORDS = {"y", "n", "yes", "no", "on", "off", "true", "false", "null"}
#: not written by JSON as an escape, and not accepted bare in YAML
_ESCAPED = re.compile("[\x7f-\x9f\u2028\u2029\ufeff\ufffe\uffff]")


def yaml_document(data: dict[str, Any]) -> str:
    """Return block YAML of a mapping; short lists and mappings of plain values stand in one line.

    Args:
        data: text keys; values of text, finite numbers, booleans, None, lists and mappings.

    Raises:
        ValueError: a value YAML cannot hold here, such as NaN or a character beyond its reach.
    """
    return "".join(f"{line}\n" for line in _mapping(data, 0)) or "{}\n"


def _mapping(data: dict[str, Any], indent: int) -> list[str]:
    lines: list[str] = []
    for key, value in data.items():
        lines.extend(_entry(f"{' ' * indent}{_text(key)}:", value, indent + 2))
    return lines


def _entry(head: str, value: Any, indent: int) -> list[str]:
    """Return the lines of a key or dash with its value."""
    line = flow(value)
    if len(head) + 1 + len(line) <= WIDTH or not value or not isinstance(value, (dict, list)):
        return [f"{head} {line}"]
    if isinstance(value, dict):
        return [head, *_mapping(value, indent)]
    return [head, *_items(value, indent - 2)]


def _items(values: list[Any], indent: int) -> list[str]:
    lines: list[str] = []
    for value in values:
        head = f"{' ' * indent}-"
        line = flow(value)
        if isinstance(value, dict) and value and len(head) + 1 + len(line) > WIDTH:
            first, *rest = _mapping(value, indent + 2)
            lines.extend([f"{head} {first[indent + 2 :]}", *rest])
        elif isinstance(value, list) and value and len(head) + 1 + len(line) > WIDTH:
            lines.extend([head, *_items(value, indent + 2)])
        else:
            lines.append(f"{head} {line}")
    return lines


def flow(value: Any) -> str:
    """Return a value in one line of YAML. Raises ValueError for what YAML cannot hold here."""
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_text(key)}: {flow(item)}" for key, item in value.items()) + "}"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(flow(item) for item in value) + "]"
    if isinstance(value, str):
        return _text(value)
    if value is None or isinstance(value, (bool, int, float)):
        return json.dumps(value, allow_nan=False)
    raise ValueError(f"YAML of plain values cannot hold a {type(value).__name__}")


def _text(text: str) -> str:
    if not isinstance(text, str):
        raise ValueError(f"a key is text, not a {type(text).__name__}")
    if _PLAIN.fullmatch(text) and text.lower() not in _WORDS:
        return text
    if any("\ud800" <= character <= "\udfff" for character in text):
        raise ValueError("half of a character pair cannot be written")
    quoted = json.dumps(text, ensure_ascii=False)
    return _ESCAPED.sub(lambda found: f"\\u{ord(found.group()):04x}", quoted)
