"""The long form of a script: what is meant spelled out, what was left open filled in, each known by its line."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from armcarry.files.day_state import Exchange
from armcarry.files.documents.carries import INTENT_KINDS
from armcarry.files.documents.day_intents import MEANT_KINDS
from armcarry.files.documents.scenario import ANY_MOUNT, ScenarioDocument, StartAt
from armcarry.files.found import Found, applied
from armcarry.files.model_files import ModelFile
from armcarry.files.spell import EVERY, Names, Speller, Visit
from armcarry.files.spell_day import DaySpeller
from armcarry.files.validate import Source, raise_all, validate
from armcarry.files.yaml_text import YamlPath, YamlText
from armcarry.files.yaml_write import flow

#: longest words of an intent in a message
_WORDS = 90


@dataclass(frozen=True)
class Origin:
    """Where something of the long form was written: the line, and what was meant there (empty for a plain one)."""

    line: int
    meant: str


@dataclass(frozen=True)
class LeftOpen:
    """What a script leaves to be found.

    Attributes:
        visits: worksites that the arm comes to, in order.
        exchanges: where people get on and off, and may do so from places that are found.
        start: worksite before which the arm starts with its joints to be found, None where they are said.
        base, settings, rolls, ways: whether the base's place at the start, settings of the restraint, other stations
            during a day, ways of free moves are to be found.
    """

    visits: tuple[Visit, ...] = ()
    exchanges: tuple[Exchange, ...] = ()
    start: str | None = None
    base: bool = False
    settings: bool = False
    rolls: bool = False
    ways: bool = False

    @property
    def anything(self) -> bool:
        """Whether there is something to find."""
        kept = self.start is not None or self.base or self.settings or self.rolls or self.ways
        return kept or bool(self.exchanges)


@dataclass(frozen=True, eq=False)
class Expansion:
    """A script as it was written, spelled out.

    Attributes:
        source: the long form, with the lines of the script.
        origins: ``("move", carry, number)`` from 1, or ``("step", name)`` -> where it was written.
        open: what it leaves to be found.
    """

    source: Source[ScenarioDocument]
    origins: Mapping[tuple[str, ...], Origin] = field(default_factory=dict)
    open: LeftOpen = LeftOpen()


def has_intents(script: ScenarioDocument) -> bool:
    """Tell whether a script holds moves or steps by intent."""
    steps = () if script.day is None else script.day.steps
    moves = (move for carry in script.carries for move in carry.moves)
    return any(move.kind in INTENT_KINDS for move in moves) or any(step.kind in MEANT_KINDS for step in steps)


def expanded(
    source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], found: Found | None = None
) -> Expansion:
    """Return a script in which every move and step by intent is spelled out.

    The lines of what is new are those of the intent.

    Args:
        source: the script.
        files: key in the script -> model file, as the loader opened them.
        found: what was found for this state of it.

    Raises:
        InputError: an intent that cannot be: no such worksite, no seat, nobody who rides; InputErrors for several.
    """
    long = _Long(source, files, found)
    long.carries()
    long.day()
    raise_all(long.known.problems)
    return long.whole()


class _Long:
    """Builds the long form."""

    def __init__(
        self, source: Source[ScenarioDocument], files: Mapping[YamlPath, ModelFile[Any]], found: Found | None
    ) -> None:
        self.source, self.found = source, found
        self.known = Names(source, files)
        self.data = dict(source.yaml.data)
        self.lines = dict(source.yaml.lines)
        self.origins: dict[tuple[str, ...], Origin] = {}
        self.visits: list[Visit] = []
        self.exchanges: list[Exchange] = []
        script = source.document
        self.aboard = any(member.at == "arm" for member in script.crew.values())
        self.waits = script.start.at if isinstance(script.start, StartAt) else None
        if "start" not in self.data and self.aboard and has_intents(script):
            self.waits = EVERY
        if found is not None and not (found.document.start or found.document.unfinished):
            self.waits = None  # no start was found there, so the arm begins at home and has to come

    def _drop(self, *beginning: str | int) -> None:
        """Forget the lines of what is written anew."""
        size = len(beginning)
        self.lines = {path: line for path, line in self.lines.items() if path[:size] != beginning or len(path) == size}

    def _moved(self, here: YamlPath, there: YamlPath) -> None:
        """Keep the lines within a plain item that has another number now."""
        size = len(here)
        inner = {path: line for path, line in self.source.yaml.lines.items() if path[:size] == here}
        self.lines |= {(*there, *path[size:]): line for path, line in inner.items()}

    def _origin(self, path: YamlPath, meant: bool) -> Origin:
        words = ""
        if meant:
            value = self.source.yaml.value(path)
            said = {key: one for key, one in value.items() if key in INTENT_KINDS or key in MEANT_KINDS}
            words = flow(said)[1:-1]
            words = words if len(words) <= _WORDS else words[: _WORDS - 3] + "..."
        return Origin(self.source.yaml.line(path), words)

    # -- carries -------------------------------------------------------------------------------------------------

    def carries(self) -> None:
        """Spell out the moves of every carry."""
        spelled, carries = Speller(self.known, self.waits), []
        for k, carry in enumerate(self.source.document.carries):
            text, moves = self.source.yaml.data["carries"][k], list[dict[str, Any]]()
            if carry.moves:
                self._drop("carries", k, "moves")
            for n, move in enumerate(carry.moves):
                here: YamlPath = ("carries", k, "moves", n)
                new = spelled.moves(here, move, len(moves) + 1)
                for number in range(len(moves), len(moves) + len(new if new is not None else [0])):
                    self.lines["carries", k, "moves", number] = self.source.yaml.line(here)
                    self.origins["move", carry.name, str(number + 1)] = self._origin(here, new is not None)
                if new is None:
                    self._moved(here, ("carries", k, "moves", len(moves)))
                    new = [self._findable(text["moves"][n], len(moves) + 1)]
                moves += new
            carries.append({**text, "moves": moves} if carry.moves else text)
        if carries:
            self.data["carries"] = carries
        self.visits += spelled.ways.visits

    @staticmethod
    def _findable(move: dict[str, Any], number: int) -> dict[str, Any]:
        """Return a plain move; one whose way is found has a name, by which the way is kept."""
        return {"name": f"way_{number}", **move} if move.get("way") == "find" and "name" not in move else move

    # -- the day -------------------------------------------------------------------------------------------------

    def day(self) -> None:
        """Spell out the steps of the day."""
        script = self.source.document
        if script.day is None or not any(step.kind in MEANT_KINDS or not step.name for step in script.day.steps):
            return
        document = None if self.found is None else self.found.document
        spelled = DaySpeller(self.known, document, self.waits if not self.visits else None)
        if document is not None and document.base is not None:
            spelled.sits(document.base.mount, spelled.base if spelled.base is not None else document.base.station)
        text = self.source.yaml.data["day"]
        for k, step in enumerate(script.day.steps):
            spelled.spell(("day", "steps", k), step, text["steps"][k])
        steps = spelled.out.linked()
        self._drop("day", "steps")
        for number, (one, path) in enumerate(zip(steps, spelled.out.meant, strict=True)):
            step = script.day.steps[int(path[2])]
            plain = step.kind not in MEANT_KINDS
            self.lines["day", "steps", number] = self.source.yaml.line(path)
            if plain:
                self._moved(path, ("day", "steps", number))
            self.origins["step", str(one["name"])] = self._origin(path, not plain)
        became: dict[str, list[str]] = {}
        for one, path in zip(steps, spelled.out.meant, strict=True):
            became.setdefault(script.day.steps[int(path[2])].name or str(one["name"]), []).append(str(one["name"]))
        self.data["day"] = {**text, **_choices(text, became), "steps": steps}
        own = list(self.data.get("carries", []))
        for k, (carry, path) in enumerate(spelled.out.carries, start=len(own)):
            self.lines["carries", k] = self.source.yaml.line(path)
            for number in range(1, len(carry["moves"]) + 1):
                self.origins["move", carry["name"], str(number)] = self._origin(path, True)
        if own or spelled.out.carries:
            self.data["carries"] = [*own, *(carry for carry, _ in spelled.out.carries)]
        self.visits += spelled.ways.visits
        self.exchanges += spelled.exchanges

    # -- what is left open -------------------------------------------------------------------------------------------

    def whole(self) -> Expansion:
        """Return the long form, with what was found, or what stands for it until it is."""
        left = self._left_open()
        script = self.source.document
        unnamed = script.day is not None and not all(step.name for step in script.day.steps)
        if not (left.anything or has_intents(script) or unnamed or self._any_mount()):
            return Expansion(self.source, self.origins, left)
        self._stand_in(left)
        if self.found is not None:
            self.data = applied(self.data, self.found.document, self.found.data)
        yaml = YamlText(self.source.path, self.source.yaml.content, self.data, self.lines)
        document = validate(yaml, ScenarioDocument)
        return Expansion(Source(document, yaml), self.origins, left)

    def _left_open(self) -> LeftOpen:
        script, platform = self.source.document, self.known.platform
        base, meant = script.base, has_intents(script)
        start = script.start.at if isinstance(script.start, StartAt) else None
        if start is not None and self.known.site(("start", "at"), start) is None:
            raise_all(self.known.problems)
        if isinstance(script.start, StartAt) and script.start.joints:
            start = None
        if self.waits == EVERY and self.visits:
            start = self.visits[0].worksite
        mount = platform.mounts.get(base.mount)
        unsaid = self._any_mount()
        travels = mount is not None and mount.joint is not None
        visits = tuple(self.visits) or ((Visit(start, False, ("start",)),) if start is not None else ())
        moves = (move for carry in self.data.get("carries", []) for move in carry.get("moves", []))
        said = self.data.get("restraint")
        return LeftOpen(
            visits, tuple(self.exchanges), start,
            base=bool(visits) and (unsaid or (travels and base.station is None)),
            settings=meant and bool(visits) and isinstance(said, dict) and "settings" not in said,
            rolls=script.day is not None and meant and bool(visits) and (unsaid or travels),
            ways=any(move.get("way") == "find" for move in moves),
        )  # fmt: skip

    def _stand_in(self, left: LeftOpen) -> None:
        """Put what can stand there in the place of what is not found yet."""
        if left.start is not None:
            self.data.pop("start", None)
        if self.known.platform.mounts and (left.base or self._any_mount()):
            mount = next(iter(self.known.platform.mounts)) if self._any_mount() else self.source.document.base.mount
            self.data["base"] = {"mount": mount, **(self._station(mount) if left.base else {})}

    def _any_mount(self) -> bool:
        """Tell whether the script leaves open on which mount the base sits."""
        return self.source.document.base.mount == ANY_MOUNT and ANY_MOUNT not in self.known.platform.mounts

    def _station(self, mount: str) -> dict[str, str]:
        """Return the station in the middle of a rail, none for a mount that stands still."""
        joint = self.known.platform.mounts[mount].joint
        if joint is None:
            return {}
        found = next((one for one in self.known.files["platform",].model().joints if one.name == joint), None)
        return {} if found is None else {"station": f"{(found.lower + found.upper) / 2:g} m"}


def _choices(day: Mapping[str, Any], became: Mapping[str, list[str]]) -> dict[str, Any]:
    """Return what may vary in a day with every step by intent as the steps that it became."""

    def spread(names: list[str]) -> list[str]:
        return [one for name in names for one in became.get(name, [name])]

    found: dict[str, Any] = {}
    if "left_out" in day:
        found["left_out"] = spread(day["left_out"])
    if "may_vary" in day:
        found["may_vary"] = [{**one, "steps": spread(one["steps"])} for one in day["may_vary"]]
    if "not_at_once" in day:
        found["not_at_once"] = [[a, b] for one, other in day["not_at_once"] for a in spread([one])
                                for b in spread([other])]  # fmt: skip
    return found


__all__ = ["Expansion", "LeftOpen", "Origin", "expanded", "has_intents"]
