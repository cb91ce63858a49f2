"""A script rehearsed again and again: what did not change since the last time is neither planned nor proven again."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from armcarry.asked.zones import Grants, granted
from armcarry.files.found import Found
from armcarry.files.model_files import ModelFile
from armcarry.files.yaml_text import YamlPath, YamlText
from armcarry.files.yaml_write import yaml_document
from armcarry.planning.left_open import settle
from armcarry.proving.pieces import Piece, Pieces, near_rows
from armcarry.record.record import Record
from armcarry.scene.build import Scene, build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day
from armcarry.timeline.memory import Memory

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
        left: moves of the script that are still to be worked out; the record ends before them.
    """

    scene: Scene
    record: Record
    pieces: tuple[Piece, ...]
    written: dict[tuple[str, int], tuple[int, int]]
    planned: int
    proven: int
    left: int


@dataclass(eq=False)
class Rehearsal:
    """Rehearses the states of one script.

    Args:
        path: its file, from whose folder models are looked for.
    """

    path: Path
    _models: dict[Path, ModelFile[Any]] = field(default_factory=dict)
    _found: Found | None = None
    _still: dict[str, Any] | None = None
    _scene: Scene | None = None
    _memory: Memory = field(default_factory=Memory)
    _granted: Grants = field(default_factory=dict)
    _pieces: Pieces = field(default_factory=Pieces)

    def of(self, data: dict[str, Any], at_once: int | None = None) -> Rehearsed:
        """Rehearse a state of the script.

        Args:
            data: the script.
            at_once: moves that are planned anew at most, then the run ends; None for all. A day is planned as a whole.

        Raises:
            InputError: the script cannot be so; its line is no line of the script.
        """
        numbers = {path: k for k, path in enumerate(_moves(data), start=2)}
        text = YamlText(self.path, yaml_document(data).encode(), data, {(): 1, **numbers})
        loaded = settle(self.path, keep=False, text=text, found=self._found, known=self._models)
        if loaded.beside is not None:
            self._found = loaded.beside.found
        still = {key: value for key, value in data.items() if key not in _MOVES}
        if self._scene is None or self._found is not None or still != self._still:
            self._scene, self._still = build_scene(loaded), still
            self._memory, self._granted, self._pieces = Memory(), {}, Pieces()
        scene = replace(self._scene, loaded=loaded)
        before = (self._memory.planned, self._pieces.proven)
        self._memory.allow(at_once)
        run = run_carries(scene, memory=self._memory) if loaded.scenario.day is None else run_day(scene)
        stretches = [(phase.tree, phase.start_s, phase.end_s) for phase in run.phases]
        places = granted(scene, stretches, run.motion, self._granted)
        run = replace(run, relaxed=(*run.relaxed, *places))
        pieces = self._pieces.of(scene, run)
        record = Record(
            scene, run.phases, run.motion, run.moves, run.events, run.relaxed, run.shortfalls, near_rows(pieces),
            kept=run.ledger,
        )  # fmt: skip
        place = {k: path for path, k in numbers.items()}
        origins = {} if loaded.beside is None else loaded.beside.long.origins
        written = {
            (name[1], int(name[2])): (int(place[origin.line][1]), int(place[origin.line][3]))
            for name, origin in origins.items() if name[0] == "move" and origin.line in place
        }  # fmt: skip
        planned, proven = self._memory.planned - before[0], self._pieces.proven - before[1]
        left = len(numbers) - len({written.get((one.carry, one.number)) for one in run.moves} - {None})
        left = max(left, 1) if self._memory.stopped else 0
        return Rehearsed(scene, record, pieces, written, planned, proven, left)


def _moves(data: dict[str, Any]) -> list[YamlPath]:
    """Return the path of every move that the script writes."""
    carries = data.get("carries")
    return [
        ("carries", k, "moves", n)
        for k, carry in enumerate(carries if isinstance(carries, list) else [])
        for n in range(len(carry["moves"]) if isinstance(carry, dict) and isinstance(carry.get("moves"), list) else 0)
    ]
