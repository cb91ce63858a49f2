"""A script rehearsed again and again: what did not change since the last time is neither planned nor proven again."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armcarry.asked.zones import Grants, granted
from armcarry.files.documents.day_intents import MEANT_KINDS
from armcarry.files.found import Found, read_found
from armcarry.files.load import load_scenario
from armcarry.files.loaded import LoadedScenario
from armcarry.files.model_files import ModelFile
from armcarry.files.yaml_text import YamlPath, YamlText
from armcarry.files.yaml_write import yaml_document
from armcarry.planning.left_open import settle
from armcarry.proving.pieces import Piece, Pieces, near_rows
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import Scene, build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day
from armcarry.timeline.memory import Memory
from armcarry.timeline.run import Run

#: keys on which nothing depends that stands at the start
_MOVES = (
    "carries", "day", "title", "purpose", "notes", "expect", "pictures", "environment", "cameras_off", "safe_point",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class Rehearsed:
    """A script as it was rehearsed at once.

    Attributes:
        scene: what stands where.
        record: the run, with those pairs that come near and without curves.
        pieces: its stretches.
        written: carry and number of the long form -> carry and move in the script, from 0.
        planned, proven: how much of it was worked out, and not remembered.
        left: moves of the script that are still to be worked out, before which the record ends; of a day, whose record
            is whole, stretches that are still to be proven, from the end of the last piece on.
        whole: of a day the run to its end, without pairs; else None.
        steps: of a day the name of each plain step -> its number in the script, from 0.
    """

    scene: Scene
    record: Record
    pieces: tuple[Piece, ...]
    written: dict[tuple[str, int], tuple[int, int]]
    planned: int
    proven: int
    left: int
    whole: Record | None = None
    steps: dict[str, int] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class _Laid:
    """A state of the script, planned and timed; not proven yet. ``left``: moves that are still to be planned."""

    data: dict[str, Any]
    scene: Scene
    run: Run
    written: dict[tuple[str, int], tuple[int, int]]
    steps: dict[str, int]
    left: int
    whole: Record | None


@dataclass(eq=False)
class Rehearsal:
    """Rehearses the states of one script.

    Args:
        path: its file, from whose folder models are looked for.
    """

    path: Path
    _models: dict[Path, ModelFile[Any]] = field(default_factory=dict)
    _founds: dict[str, Found] = field(default_factory=dict)
    _found: Found | None = None
    _still: dict[str, Any] | None = None
    _scene: Scene | None = None
    _memory: Memory = field(default_factory=Memory)
    _granted: Grants = field(default_factory=dict)
    _pieces: Pieces = field(default_factory=Pieces)
    _last: _Laid | None = None

    def __post_init__(self) -> None:
        beside = read_found(self.path)
        if beside is not None:
            self._founds[beside.document.script] = beside

    def of(self, data: dict[str, Any], at_once: int | None = None) -> Rehearsed:
        """Rehearse a state of the script.

        Args:
            data: the script.
            at_once: moves that are planned anew at most, then the run ends; None for all. A day is planned as a whole,
                and at most so many of its stretches are proven anew.

        Raises:
            InputError: the script cannot be so; its line is no line of the script.
        """
        planned, proven = self._memory.planned, self._pieces.proven
        laid, last = self._last, self._scene
        if laid is None or laid.data is not data or laid.left:
            self._last = laid = self._laid(data, at_once)
        if self._scene is not last:  # what was remembered was of another scene
            planned, proven = 0, 0
        self._pieces.allow(None if laid.whole is None else at_once)
        pieces = self._pieces.of(laid.scene, laid.run)
        record = _record(laid.scene, laid.run, near_rows(pieces))
        return Rehearsed(
            laid.scene, record, pieces, laid.written, self._memory.planned - planned, self._pieces.proven - proven,
            laid.left or self._pieces.left, laid.whole, laid.steps,
        )  # fmt: skip

    def _settled(self, text: YamlText) -> LoadedScenario:
        """Read a state of the script with what is found for it; what was found for one is kept."""
        loaded = load_scenario(self.path, self._found, text, self._models)
        if loaded.beside is None or not loaded.beside.open.anything:
            return loaded
        digest = loaded.beside.digest
        loaded = settle(self.path, keep=False, text=text, found=self._founds.get(digest), known=self._models)
        if loaded.beside is not None and loaded.beside.found is not None:
            self._founds[digest] = loaded.beside.found
        return loaded

    def _laid(self, data: dict[str, Any], at_once: int | None) -> _Laid:
        numbers = {path: k for k, path in enumerate([*_moves(data), *_steps(data)], start=2)}
        text = YamlText(self.path, yaml_document(data).encode(), data, {(): 1, **numbers})
        loaded = self._settled(text)
        found = None if loaded.beside is None else loaded.beside.found
        still = {key: value for key, value in data.items() if key not in _MOVES}
        if self._scene is None or found is not self._found or still != self._still:
            self._scene, self._still, self._found = build_scene(loaded), still, found
            self._memory, self._granted, self._pieces = Memory(), {}, Pieces()
        scene, memory = replace(self._scene, loaded=loaded), self._memory
        if loaded.scenario.day is None:
            memory.allow(at_once)
            run = run_carries(scene, memory=memory)
        else:
            memory.allow(None)
            run = run_day(scene, memory=memory)
        run = replace(run, phases=tuple(replace(phase, tree=memory.first(phase.tree)) for phase in run.phases))
        stretches = [(phase.tree, phase.start_s, phase.end_s) for phase in run.phases]
        places = granted(scene, stretches, run.motion, self._granted)
        run = replace(run, relaxed=(*run.relaxed, *places))
        place = {k: path for path, k in numbers.items()}
        origins = {} if loaded.beside is None else loaded.beside.long.origins
        at = {name: place[origin.line] for name, origin in origins.items() if origin.line in place}
        written = {(name[1], int(name[2])): (int(path[1]), int(path[3])) for name, path in at.items()
                   if name[0] == "move" and path[0] == "carries"}  # fmt: skip
        left = len(_moves(data)) - len({written.get((one.carry, one.number)) for one in run.moves} - {None})
        left = max(left, 1) if memory.stopped else 0
        whole = None if loaded.scenario.day is None else _record(scene, run, ())
        return _Laid(data, scene, run, written, _plain_steps(data, at), left, whole)


def _record(scene: Scene, run: Run, pairs: tuple[PairRow, ...]) -> Record:
    return Record(
        scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls, pairs, kept=run.ledger
    )


def _moves(data: dict[str, Any]) -> list[YamlPath]:
    """Return the path of every move that the script writes."""
    carries = data.get("carries")
    return [
        ("carries", k, "moves", n)
        for k, carry in enumerate(carries if isinstance(carries, list) else [])
        for n in range(len(carry["moves"]) if isinstance(carry, dict) and isinstance(carry.get("moves"), list) else 0)
    ]


def _steps(data: dict[str, Any]) -> list[YamlPath]:
    """Return the path of every step of the day that the script writes."""
    day = data.get("day")
    steps = day.get("steps") if isinstance(day, dict) else None
    return [("day", "steps", k) for k in range(len(steps) if isinstance(steps, list) else 0)]


def _plain_steps(data: dict[str, Any], at: Mapping[tuple[str, ...], YamlPath]) -> dict[str, int]:
    """Return the numbers of the steps that are no intents, by the name that they have or are given."""
    plain = {int(path[2]): data["day"]["steps"][int(path[2])] for path in _steps(data)}
    plain = {k: step for k, step in plain.items() if not any(kind in step for kind in MEANT_KINDS)}
    given = {int(path[2]): name[1] for name, path in at.items() if name[0] == "step"}
    return {step.get("name") or given[k]: k for k, step in plain.items() if "name" in step or k in given}
