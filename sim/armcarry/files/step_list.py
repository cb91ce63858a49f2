"""The steps and carries that a day by intent becomes, as they are written, each known by the step that meant it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from armcarry.files.documents.base import OwnWords
from armcarry.files.documents.step_parts import Takes
from armcarry.files.documents.steps import Step
from armcarry.files.item_acts import ItemAct
from armcarry.files.spell import Moves
from armcarry.files.yaml_text import YamlPath
from armcarry.quantities import write
from armcarry.texts import as_words

#: longest name of a step or carry
_LONGEST = 48


@dataclass
class Steps:
    """Collects steps and carries with names of their own.

    Attributes:
        taken: names of steps that the script has; flown: of carries.
        texts: the steps, as they are written.
        meant: for each of them the path of the step it came from.
        carries: the carries, each with the path of the step that it came from.
        spans: name of a step as written -> the first and the last step that it became.
    """

    taken: set[str]
    flown: set[str]
    texts: list[dict[str, Any]] = field(default_factory=list)
    meant: list[YamlPath] = field(default_factory=list)
    carries: list[tuple[dict[str, Any], YamlPath]] = field(default_factory=list)
    spans: dict[str, tuple[str, str]] = field(default_factory=dict)
    _first: int = 0

    @property
    def names(self) -> set[str]:
        """Names by which a later step may speak of those so far."""
        return {*self.spans, *(str(text["name"]) for text in self.texts)}

    def at(self, path: YamlPath, step: Step) -> None:
        """Begin with a step of the script."""
        self.path, self.step, self._first = path, step, len(self.texts)

    def done(self) -> None:
        """End what a step by intent becomes: its links go to the first and last of it."""
        new, step = self.texts[self._first :], self.step
        if not new:
            return
        if step.after:
            new[0]["after"] = [*step.after, *new[0].get("after", [])]
        if step.before:
            new[-1]["before"] = [*step.before]
        if step.title:
            new[0]["title"] = step.title
        new[0] |= {key: _written(value) for key, value in (("earliest", step.earliest),) if value is not None}
        new[-1] |= {key: _written(value) for key, value in (("latest", step.latest),) if value is not None}
        new[0].update({key: words for key in OwnWords.model_fields if (words := getattr(step, key))})
        if step.name:
            self.spans[step.name] = (new[0]["name"], new[-1]["name"])

    def plain(self, step: Step, text: dict[str, Any]) -> None:
        """Add a step as it is written."""
        named = text if step.name else {"name": self._free(self._made_of(step), self.taken), **text}
        self.texts.append(named)
        self.meant.append(self.path)

    def _made_of(self, step: Step) -> str:
        words = step.item or step.inspect or step.note or step.carry or step.at or "_".join(step.actors)
        plain = "".join(sign if sign.isascii() and sign.isalnum() else "_" for sign in str(words).lower())
        return "_".join(part for part in f"{step.kind}_{plain}".split("_") if part)[:40].rstrip("_")

    def add(
        self,
        name: str,
        title: str,
        actors: Iterable[str],
        *,
        takes: Any = None,
        follows: bool = False,
        after: Iterable[str] = (),
        **says: Any,
    ) -> str:
        """Add a step of one kind, which ``follows`` the one before it if they are not of one actor; return its name."""
        before = self.texts[-1] if len(self.texts) > self._first else None
        free = self._free(name, self.taken)
        text: dict[str, Any] = {"name": free, "title": title, "actors": list(actors)}
        text |= {key: _written(value) for key, value in says.items()}
        if takes is not None:
            text["takes"] = _written(takes)
        links = list(after)
        if follows and before is not None and not set(text["actors"]) & set(before["actors"]):
            links.append(before["name"])
        if links:
            text["after"] = links
        self.texts.append(text)
        self.meant.append(self.path)
        return free

    def acts(self, what: str, actors: list[str], acts: list[ItemAct], at: str | None = None) -> None:
        """Add acts of hands on an item, at a worksite where one is named."""
        for act in acts:
            title = f"{as_words(act.word)} ({as_words(what)})"
            says: dict[str, Any] = {act.kind: act.says} if at is None else {"at": at, act.kind: act.says}
            self.add(f"{what}_{act.word}", title, actors, takes=act.takes, **says)

    def fly(self, name: str, title: str, actors: list[str], moves: Moves, after: Iterable[str] = ()) -> None:
        """Add a carry and the step that flies it."""
        carry = self._free(name, self.flown)
        text = [{**move, "name": f"{carry[:44]}_{number}"} for number, move in enumerate(moves, start=1)]
        self.carries.append(({"name": carry, "title": title, "moves": text}, self.path))
        self.add(carry, title, actors, carry=carry, after=after)

    @staticmethod
    def _free(name: str, taken: set[str]) -> str:
        """Return a name that nothing has yet, and take it."""
        number, free = 1, name[:_LONGEST]
        while free in taken:
            number += 1
            free = f"{name[: _LONGEST - 4]}_{number}"
        taken.add(free)
        return free

    def linked(self) -> list[dict[str, Any]]:
        """Return the steps with every link to a step by intent as a link to what it became."""
        return [self._linked(text) for text in self.texts]

    def _linked(self, text: dict[str, Any]) -> dict[str, Any]:
        new = dict(text)
        for key, end in (("after", 1), ("before", 0), ("together_with", 0)):
            if key in new:
                new[key] = [self.spans[name][end] if name in self.spans else name for name in new[key]]
        return new


def _written(value: Any) -> Any:
    """Return a duration as it is written, alone or in a mapping."""
    if isinstance(value, Takes):
        return {key: write(getattr(value, key), "time") for key in ("least", "likely", "most")}
    if isinstance(value, float):
        return write(value, "time")
    if isinstance(value, dict):
        return {key: _written(one) for key, one in value.items()}
    return value
