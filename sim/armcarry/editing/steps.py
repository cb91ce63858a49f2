"""The day changed: a step begun later or earlier, done before another, given to somebody else, all written out.

Everybody does their own steps in the order of the list, each as early as what it waits for allows. So a step is dragged
along the clock by its place in the list, and by the instant before which it does not begin.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from armcarry.editing.begun import Begun
from armcarry.editing.script import Change, Op
from armcarry.errors import InputError
from armcarry.files.plain import plain
from armcarry.quantities import clock

if TYPE_CHECKING:
    from armcarry.editing.answer import Answer, OnClock

#: a step is begun at a whole minute
_STEP_S = 60.0


class Steps(Begun):
    """More acts of a session."""

    def step(self, name: str) -> OnClock:
        """Return a step of the day on the clock.

        Raises:
            InputError: there is none that is done, or it followed from one by intent.
        """
        found = next((one for one in self.answer.steps if one.name == name), None)
        if found is None:
            known = ", ".join(one.name for one in self.answer.steps) or "a script with a day"
            raise InputError("no such step on the clock", found=name, file=self.path, accepted=known)
        if found.number is None:
            raise InputError(f"step '{name}' followed from one by intent, so it is not moved by itself", file=self.path,
                             accepted="a day that is written out first (spell_out)")  # fmt: skip
        return found

    def begin(self, name: str, at_s: float | None) -> Answer:
        """Have a step begin not before an instant, s from the start of the day; None: as early as it can."""
        number, said = self._said(name)
        if at_s is None and "earliest" not in said:
            return self.answer
        path = ("day", "steps", number, "earliest")
        op = Op("remove", path) if at_s is None else Op("set", path, _minute(at_s))
        words = "as early as it can" if at_s is None else f"from {op.value} on"
        return self.change(Change(f"{name} {words}", (op,)))

    def order(self, name: str, before: str | None) -> Answer:
        """Have a step stand before another in the list, or behind all: in this order everybody does their own."""
        number, said = self._said(name)
        to = len(self.script.data["day"]["steps"]) if before is None else self._said(before)[0]
        words = "last" if before is None else f"before {before}"
        return self.change(Change(f"{name} {words}", _moved(number, to, {**said, "name": name})))

    def give(self, name: str, to: str, whose: str | None = None) -> Answer:
        """Have a step done by somebody else.

        Args:
            name: of the step.
            to: who is to do it.
            whose: in whose place; left out, the only one of the crew who does it.
        """
        number, said = self._said(name)
        ops = tuple(Op("set", ("day", "steps", number, key), value) if value else
                    Op("remove", ("day", "steps", number, key))
                    for key, value in self._given(name, said, to, whose).items())  # fmt: skip
        return self.change(Change(f"{name} by {to}", ops))

    def drag(self, name: str, to_s: float, to: str | None = None, whose: str | None = None) -> Answer:
        """Have a step begin about an instant, and be done by somebody else: what dragging its bar means.

        It comes behind those steps of its actors whose middle is before that instant. Where it passes none, it is
        held until then, or begins as early as it can.

        Args:
            name: of the step.
            to_s: when, s from the start of the day.
            to, whose: who is to do it, in whose place, as for ``give``; left out, nobody else.
        """
        return self.change(self.dragged(name, to_s, to, whose))

    def dragged(self, name: str, to_s: float, to: str | None = None, whose: str | None = None) -> Change:
        """Return the change that ``drag`` makes. Raises InputError where it would change nothing."""
        here, (number, said) = self.step(name), self._said(name)
        given = {} if to is None or to in here.actors else self._given(name, said, to, whose)
        new = {key: value for key, value in {**said, "name": name, **given}.items() if value and key != "earliest"}
        busy = set(given.get("actors", here.actors))
        others = [((one.start_s + one.end_s) / 2, one.number) for one in self.answer.steps
                  if one.number is not None and one.name != name and busy & set(one.actors)
                  and not self._linked(one, here)]  # fmt: skip
        first, then = ([k for middle, k in others if (middle <= to_s) is before] for before in (True, False))
        behind, passed = max(first, default=-1) + 1, [one for one in then if one < number]
        passes = behind > number or bool(passed)
        place = max(behind, min(passed, default=behind)) if passes else number
        if not passes:
            new |= {"earliest": _minute(to_s)} if to_s > here.start_s + _STEP_S / 2 else {}
        if not passes and not given and new.get("earliest") == said.get("earliest"):
            raise InputError(f"step '{name}' begins as early as what it waits for allows", file=self.path,
                             found=clock(here.start_s, 0))  # fmt: skip
        words = f"{name} {'before' if to_s < here.start_s else 'from'} {clock(to_s, 0)}{f' by {to}' if given else ''}"
        ops = _moved(number, place, new) if passes else (Op("set", ("day", "steps", number), plain(new)),)
        return Change(words, ops)

    def spell_out(self) -> Answer:
        """Write out the day: all steps, moves and places that followed from others by intent, or were found."""
        source = self.answer.record.scene.loaded.source
        if self.script.data.get("day") is None or source is None:
            raise InputError("the script has no day", file=self.path)
        long = plain(source.yaml.data)
        for move in (move for carry in long.get("carries", []) for move in carry.get("moves", [])):
            move.pop("way", None)  # what was found is in it, and where nothing was, the way is straight
        ops = [Op("set", (key,), value) for key, value in long.items() if self.script.data.get(key) != value]
        if not ops:
            return self.answer
        return self.change(Change(f"written out, {len(long['day']['steps'])} steps", tuple(ops)))

    def _linked(self, one: OnClock, other: OnClock) -> bool:
        """Tell whether one of two steps waits for the other wherever they stand in the list."""
        said = [self.script.data["day"]["steps"][step.number or 0] for step in (one, other)]
        keys = ("after", "before", "together_with")
        return any(b.name in a.get(key, ()) for a, b in zip(said, (other, one), strict=True) for key in keys)

    def _said(self, name: str) -> tuple[int, dict[str, Any]]:
        """Return the number of a step in the script, and what the script says of it."""
        number = self.step(name).number or 0
        return number, dict(self.script.data["day"]["steps"][number])

    def _given(self, name: str, said: dict[str, Any], to: str, whose: str | None) -> dict[str, Any]:
        """Return the keys of a step that change where somebody else does it; what is empty is taken away."""
        actors, crew = list(said["actors"]), self.answer.record.scene.loaded.crew
        own = [actor for actor in actors if actor in crew]
        if whose is None and len(own) == 1:
            whose = own[0]
        if to not in crew or to in actors or whose not in own:
            others = ", ".join(who for who in crew if who not in actors)
            raise InputError(f"step '{name}' cannot be given to '{to}'", file=self.path,
                             found=f"done by {', '.join(actors)}",
                             accepted=f"one of {others}, in the place of one of the crew")  # fmt: skip
        times = {who: one for who, one in said.get("takes_by", {}).items() if who != whose}
        given: dict[str, Any] = {"actors": [to if actor == whose else actor for actor in actors]}
        return given | ({"takes_by": times} if "takes_by" in said else {})


def _minute(time_s: float) -> str:
    minutes = max(round(time_s / _STEP_S), 0)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _moved(number: int, to: int, said: dict[str, Any]) -> tuple[Op, ...]:
    """Return the acts that bring a step of the list before the one that is number ``to`` now."""
    path: Sequence[str | int] = ("day", "steps")
    place = to - 1 if to > number else to
    return (Op("remove", (*path, number)), Op("insert", (*path, place), plain(said)))
