"""The long form of a script as YAML, for whoever wants to read or edit what followed from what was meant."""

from __future__ import annotations

from armcarry.files.documents.carries import INTENT_KINDS
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.validate import Source
from armcarry.files.yaml_write import yaml_document


def expanded_text(source: Source[ScenarioDocument], long: Source[ScenarioDocument]) -> str:
    """Return the long form of a script as YAML, with a comment at every move that followed from an intent."""
    data = {key: value for key, value in long.yaml.data.items() if key != "carries"}
    lines = [yaml_document(data), "carries:\n"]
    for k, carry in enumerate(long.yaml.data.get("carries", [])):
        head = {key: value for key, value in carry.items() if key != "moves"}
        lines.append(_indented(yaml_document(head), "  - ", "    "))
        if "moves" not in carry:
            continue
        lines.append("    moves:\n")
        meant = 0
        for n, move in enumerate(carry["moves"]):
            line = long.yaml.line(("carries", k, "moves", n))
            intent = _intent_at(source, k, line)
            if intent is not None and line != meant:
                lines.append(f"      # {intent}, line {line} of {source.path.name}\n")
            meant = line
            lines.append(_indented(yaml_document(move), "      - ", "        "))
    return "".join(lines)


def _intent_at(source: Source[ScenarioDocument], carry: int, line: int) -> str | None:
    """Return the kind of intent whose line it is in the script as written, None for a plain move."""
    for n, move in enumerate(source.document.carries[carry].moves):
        if source.yaml.line(("carries", carry, "moves", n)) == line and move.kind in INTENT_KINDS:
            return move.kind
    return None


def _indented(text: str, first: str, rest: str) -> str:
    lines = text.splitlines()
    return "".join(f"{first if k == 0 else rest}{line}\n" for k, line in enumerate(lines))
