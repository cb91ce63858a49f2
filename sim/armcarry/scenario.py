"""A scenario in Python: made of plain values or typed parts, rehearsed without a file, written and read again."""

from __future__ import annotations

from collections.abc import Mapping
from copy import deepcopy
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from armcarry.errors import InputError
from armcarry.files.atomic import write_text_atomic
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.places import find_scenario
from armcarry.files.plain import key_steps, plain, put, taken
from armcarry.files.validate import read_source, validate
from armcarry.files.yaml_text import parse_yaml
from armcarry.files.yaml_write import yaml_document

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario
    from armcarry.record.record import Record

FORMAT = "armcarry scenario 1"


class Scenario:
    """A script of a rehearsal, as it would stand in a file.

    Every key of a scenario (``armcarry explain KEY``) may be given by name. Values may be plain (text with units,
    numbers, lists, mappings), typed parts (``armcarry.parts``), quantities of pint, and wherever a position and a
    rotation are asked for, ``pose``: a ``spatialmath.SE3`` or a matrix (4, 4).

        Scenario(title="Swing", purpose="Out", platform="tern_yard", arm="heron", rules="tern_yard",
                 base={"mount": "trolley", "station": "11 m"},
                 carries=[{"name": "out", "moves": [{"one_joint": {"shoulder_turn": 20 * pint.degree}}]}])

    Args:
        script: another scenario, a mapping or a whole document to begin with; keys given by name go before its own.
        beside: folder from which relative paths of models count; left out, where this Python runs.
        keys: what the script says.

    Raises:
        InputError: a key or value that is not accepted; InputErrors for several.
    """

    def __init__(
        self, script: Scenario | Mapping[str, Any] | ScenarioDocument | None = None, /, *,
        beside: Path | str | None = None, **keys: Any,
    ) -> None:  # fmt: skip
        """Check what a script says; what it names is looked for when it is rehearsed."""
        own = script.data if isinstance(script, Scenario) else plain(script) if script is not None else {}
        self._data: dict[str, Any] = {"format": FORMAT, **deepcopy(own), **plain(keys)}
        folder = script.path.parent if isinstance(script, Scenario) and beside is None else Path(beside or ".")
        self.path: Path = folder / "scenario.yaml"
        self._found: Any = None
        _ = self.document

    @property
    def data(self) -> dict[str, Any]:
        """The script as it is written: a copy, to change and make another scenario of."""
        return deepcopy(self._data)

    @property
    def text(self) -> str:
        """The script as YAML."""
        return yaml_document(self._data)

    @cached_property
    def document(self) -> ScenarioDocument:
        """The script as it is understood, in SI units, with defaults."""
        return validate(parse_yaml(self.text.encode(), self.path), ScenarioDocument)

    def __eq__(self, other: object) -> bool:
        """Tell whether two scenarios say the same, however they were made."""
        return isinstance(other, Scenario) and self.document == other.document

    def __hash__(self) -> int:
        """Return a hash of what the script says."""
        return hash(self.text)

    def __repr__(self) -> str:
        """Return the title and what there is, on a line."""
        document = self.document
        day = "" if document.day is None else f", a day of {len(document.day.steps)} steps"
        return f"Scenario({document.title[:60]!r}, {len(document.carries)} carries{day})"

    def changed(self, changes: Mapping[str, Any]) -> Scenario:
        """Return a scenario with other values at some keys.

        Args:
            changes: path of a key -> value: ``{"carries.0.moves.2.line.to[0]": "-0.8 m"}``.

        Raises:
            InputError: no such key, or a value that is not accepted.
        """
        data = self.data
        for path, value in changes.items():
            put(data, key_steps(path), plain(value), path)
        return Scenario(data, beside=self.path.parent)

    def at(self, path: str) -> Any:
        """Return what is written at a key. Raises InputError where nothing is."""
        return taken(self._data, key_steps(path), path)

    # -- files -----------------------------------------------------------------------------------------------------

    @staticmethod
    def load(path: Path | str) -> Scenario:
        """Read a scenario from a file, or one that comes with armcarry by its name. Raises InputError."""
        source = read_source(find_scenario(path), ScenarioDocument)
        return Scenario(source.yaml.data, beside=source.path.parent)

    def save(self, path: Path | str) -> Path:
        """Write the scenario to a file, over one that is there, and return its path. Raises RecordError."""
        target = Path(path)
        write_text_atomic(target, self.text)
        return target

    # -- what comes of it ------------------------------------------------------------------------------------------

    def settled(self) -> LoadedScenario:
        """Return the scenario with all it names, and with what it leaves open found, once for this object.

        Raises:
            InputError: something it names is not there or does not fit; InputErrors for several.
        """
        from armcarry.planning.left_open import settle

        loaded = settle(self.path, keep=False, text=self.text.encode(), found=self._found)
        self._found = loaded.beside.found if loaded.beside is not None else None
        return loaded

    def rehearse(self, **options: Any) -> Record:
        """Compute a run of it: ``armcarry.rehearse`` with its options (progress, slip, failed, motion, pieces).

        Raises:
            InputError: something it names is not there or does not fit.
        """
        from armcarry.rehearsal import rehearse
        from armcarry.scene.build import build_scene

        return rehearse(build_scene(self.settled()), **options)


def _as_scenario(scenario: Scenario | Path | str) -> Scenario:
    """Return a scenario, read where it is given by file or name."""
    if isinstance(scenario, Scenario):
        return scenario
    if isinstance(scenario, (str, Path)):
        return Scenario.load(scenario)
    raise InputError("not a scenario", found=type(scenario).__name__, accepted="a Scenario, a path or a name")
