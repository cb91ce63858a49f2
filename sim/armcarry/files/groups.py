"""Groups of bodies by name, and patterns in which they are spelled out for all who read patterns."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from armcarry.files.documents.carries import Carry, Move
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.model_files import ModelFile
from armcarry.files.names import matches
from armcarry.files.yaml_text import YamlPath

#: instance -> group -> patterns of its bodies
InstanceGroups = Mapping[str, Mapping[str, Sequence[str]]]


def groups_of(script: ScenarioDocument, files: Mapping[YamlPath, ModelFile[Any]]) -> InstanceGroups:
    """Return the groups of everything a script names, by instance."""
    found = {"arm": files["arm",].document.groups}
    if script.restraint is not None:
        found["restraint"] = files["restraint", "model"].document.groups
    found |= {name: files["crew", name, "body"].document.groups for name in script.crew}
    return found | {name: files["hardware", name, "model"].document.groups for name in script.hardware}


def spelled_out(pattern: str, groups: InstanceGroups) -> str:
    """Return a pattern of full names with every group in it replaced by its bodies: ev1/hands, ev*/hands."""
    words: list[str] = []
    for word in pattern.split("|"):
        instances, _, group = word.partition("/")
        found = [
            f"{instance}/{body}"
            for instance, known in groups.items()
            if group in known and matches(instances, instance)
            for body in known[group]
        ]
        words += found or [word]
    return "|".join(words)


def rules_spelled_out(rules: RulesDocument, groups: InstanceGroups) -> RulesDocument:
    """Return rules that name bodies where they named groups."""
    contact = [one.model_copy(update={"bodies": _both(one.bodies, groups)}) for one in rules.intended_contact]
    return rules.model_copy(update={"intended_contact": contact})


def script_spelled_out(script: ScenarioDocument, groups: InstanceGroups) -> ScenarioDocument:
    """Return a script that names bodies where it named groups."""
    expect = [
        one.model_copy(
            update={"subject": spelled_out(one.subject, groups), "other": spelled_out(one.other, groups)}
        )
        for one in script.expect
    ]
    changed: dict[str, Any] = {"carries": [_carry(carry, groups) for carry in script.carries], "expect": expect}
    if script.day is not None:
        steps = [step.model_copy(update={"relax": _relaxed(step.relax, groups)}) for step in script.day.steps]
        changed["day"] = script.day.model_copy(update={"steps": steps, "relax": _relaxed(script.day.relax, groups)})
    return script.model_copy(update=changed)


def _carry(carry: Carry, groups: InstanceGroups) -> Carry:
    moves: list[Move] = [move.model_copy(update={"relax": _relaxed(move.relax, groups)}) for move in carry.moves]
    return carry.model_copy(update={"moves": moves})


def _relaxed(relax: Sequence[Any], groups: InstanceGroups) -> list[Any]:
    return [one.model_copy(update={"bodies": _both(one.bodies, groups)}) for one in relax]


def _both(bodies: tuple[str, str], groups: InstanceGroups) -> tuple[str, str]:
    return spelled_out(bodies[0], groups), spelled_out(bodies[1], groups)
