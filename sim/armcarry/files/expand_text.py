"""The long form of a script as YAML, for whoever wants to read or edit what followed from what was meant."""

from __future__ import annotations

from armcarry.files.loaded import LoadedScenario
from armcarry.files.yaml_write import yaml_document


def expanded_text(loaded: LoadedScenario) -> str:
    """Return the long form of a script as YAML, with a comment at all that followed from an intent or was found."""
    if loaded.source is None or loaded.beside is None:
        return ""
    told = _Told(loaded)
    data = {key: value for key, value in loaded.source.yaml.data.items() if key not in ("carries", "day")}
    found = loaded.beside.found
    lines = [f"# found: {words}\n" for words in (found.document.told if found is not None else ())]
    lines.append(yaml_document(data))
    if "carries" in loaded.source.yaml.data:
        lines.append("carries:\n")
    for carry in loaded.source.yaml.data.get("carries", []):
        head = {key: value for key, value in carry.items() if key != "moves"}
        lines.append(_indented(yaml_document(head), "  - ", "    "))
        if "moves" in carry:
            lines.append("    moves:\n")
        for number, move in enumerate(carry.get("moves", []), start=1):
            lines.append(told.comment("      ", "move", carry["name"], str(number)))
            lines.append(_indented(yaml_document(move), "      - ", "        "))
    day = loaded.source.yaml.data.get("day")
    if day is not None:
        about = yaml_document({key: value for key, value in day.items() if key != "steps"}) if len(day) > 1 else ""
        lines.append("day:\n" + _indented(about, "  ", "  ") + "  steps:\n")
        for step in day["steps"]:
            lines.append(told.comment("    ", "step", step.get("name", "")))
            lines.append(_indented(yaml_document(step), "    - ", "      "))
    return "".join(lines)


class _Told:
    """Says once for each stretch which line it came from."""

    def __init__(self, loaded: LoadedScenario) -> None:
        self.loaded, self.last = loaded, ("", "")

    def comment(self, indent: str, kind: str, *name: str) -> str:
        """Return a comment where a stretch begins that followed from an intent, else nothing."""
        where = self.loaded.written_at(kind, *name)
        new, self.last = (kind, where) != self.last, (kind, where)
        return f"{indent}# {where}\n" if new and where.endswith(")") else ""


def _indented(text: str, first: str, rest: str) -> str:
    lines = text.splitlines()
    return "".join(f"{first if k == 0 else rest}{line}\n" for k, line in enumerate(lines))
