"""Putting back what was begun on a thing still in its seat: bolts, plugs, covers, locks and tethers as they were."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from armcarry.files.documents.steps import Step
from armcarry.ledger.of_items import bolts_lacking, undeclared
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.things import at_rest

#: kind -> what puts it back, and what that makes
_BACK = {
    "bolt": ("bolt", "tight"), "connect": ("connect", "joined"), "fold_cover": ("fold_cover", "closed"),
    "lock": ("unlock", ""), "unlock": ("lock", ""), "tether": ("untether", ""), "steady": ("let_go", ""),
}  # fmt: skip
#: what they undo
_MADE = {"bolt": "loose", "connect": "parted", "fold_cover": "open"}
_LONGEST = 48


@dataclass(frozen=True)
class PutBack:
    """A step that puts back what another did to a thing, the same as plain values, and the step that it follows."""

    thing: str
    step: Step
    data: Mapping[str, Any]
    behind: str


def put_back(rest: Rest) -> list[PutBack] | None:
    """Return the steps that put back what is half done by now, empty where nothing is.

    None where it cannot be: a thing was taken out of its seat, or something was done to it that nothing undoes.
    """
    found, taken = list[PutBack](), {step.name for step in rest.plan.day.steps}
    things = sorted({thing for name in rest.in_hand for thing in rest.found_all[name].touches} & set(rest.things.names))
    for thing in things:
        begun = _begun(rest, thing)
        if not begun:
            continue
        if any(step.kind not in _BACK or _made(step) != _MADE.get(step.kind, "") for step in begun):
            return None
        bolted = any(step.kind == "bolt" for step in begun)
        for step in reversed(begun):
            if step.kind == "steady" and bolted:
                continue  # whoever makes it fast has let go of it
            data = _back(rest, step, taken)
            found.append(PutBack(thing, Step.model_validate(data), data, begun[-1].name))
    return found


def _begun(rest: Rest, thing: str) -> list[Step]:
    """Return what was begun on a thing since it could be left as it was, in order."""
    own = [name for name in rest.things.pages if thing in rest.things.touched[name]]
    begun = [name for name in own if name in rest.over or name in rest.under_way]
    if not any(name in rest.in_hand for name in own):
        return []
    run: list[str] = []
    for name in reversed(begun):
        run.insert(0, name)
        page = rest.things.pages[name]
        if at_rest(page, thing) and not undeclared(page, thing) and not bolts_lacking(page, thing):
            break
    return [rest.plan.step(name) for name in run]


def _made(step: Step) -> str:
    return str(getattr(getattr(step, step.kind), "make", ""))


def _back(rest: Rest, step: Step, taken: set[str]) -> dict[str, Any]:
    """Return what puts back what a step did, as plain values, under a name that is not taken; it is then."""
    kind, make = _BACK[step.kind]
    written = _written(rest, step)
    kept: dict[str, Any] = {key: written[key] for key in ("actors", "at", "takes", "takes_by") if key in written}
    what = {key: value for key, value in written[step.kind].items() if not (kind == "let_go" and key != "what")}
    name = f"{step.name[: _LONGEST - 6]}_back"
    while name in taken:
        name = f"{name[: _LONGEST - 2]}_2"
    taken.add(name)
    title = f"{step.title or step.name.replace('_', ' ')}, put back"
    made = {**what, "make": make} if make else what
    return {"name": name, "title": title, **kept, kind: made}


def _written(rest: Rest, step: Step) -> dict[str, Any]:
    """Return a step of the long form as plain values."""
    source = rest.scene.loaded.source
    steps: Sequence[dict[str, Any]] = [] if source is None else source.yaml.data["day"]["steps"]
    number = next(k for k, other in enumerate(rest.plan.day.steps) if other.name == step.name)
    return steps[number] if number < len(steps) else {}
