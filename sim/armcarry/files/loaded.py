"""What reading a scenario gives: documents, models, the files they came from and what is assumed."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Generic, TypeVar

from armcarry.errors import InputError, StepError
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.base import Document
from armcarry.files.documents.bodies import CrewDocument, CrewSize, HardwareDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.expand import Expansion, LeftOpen
from armcarry.files.found import Found
from armcarry.files.validate import Source
from armcarry.geometry.model import Model

D = TypeVar("D", bound=Document)


@dataclass(frozen=True)
class InputFile:
    """A file that was read, as it was read.

    Attributes:
        role_path: where it stands in a copy of the scenario, with forward slashes: ``scenario.yaml``,
            ``models/arms/heron/heron.urdf``.
        path: where it was read from.
        data: its bytes.
    """

    role_path: str
    path: Path
    data: bytes

    @cached_property
    def sha256(self) -> str:
        """Digest of the bytes, hexadecimal."""
        return hashlib.sha256(self.data).hexdigest()


@dataclass(frozen=True)
class Assumption:
    """A number nobody has given a source for: file as ``role_path``, key as ``a.b[2]``, the number as written."""

    file: str
    key: str
    text: str


@dataclass(frozen=True, eq=False)
class Loaded(Generic[D]):
    """A document, the model of its URDF and the YAML file it came from."""

    document: D
    model: Model
    path: Path


@dataclass(frozen=True, eq=False)
class LoadedCrew:
    """A crewmember: the crew document, the size taken from it and that size's model."""

    document: CrewDocument
    size_name: str
    size: CrewSize
    model: Model
    path: Path


@dataclass(frozen=True, eq=False)
class Beside:
    """A script as it was written, beside its long form.

    Attributes:
        written: as it stands in the file.
        long: spelled out, with where each move and step was written.
        found: what was found for what it leaves open, None where nothing (current) was.
        digest: of the script and its models: what is found for others is stale.
        stale: whether something was found for another state of the script.
    """

    written: Source[ScenarioDocument]
    long: Expansion
    found: Found | None
    digest: str
    stale: bool

    @property
    def open(self) -> LeftOpen:
        """What the script leaves open and nothing was found for."""
        return self.long.open if self.found is None else LeftOpen()


@dataclass(frozen=True, eq=False)
class LoadedScenario:
    """A scenario with everything it names, checked against each other.

    Attributes:
        scenario: the script.
        path: its file.
        platform, arm, restraint, rules: what it names; no restraint is None.
        further_restraints: those beside it, by name.
        vehicle_model: the visiting vehicle, None when it is absent.
        crew, hardware: by their names in the scenario.
        inputs: every file that was read; written out by role_path they load again on their own.
        assumptions: every number without a source, in all of the files.
        source: the long form of the script with the lines of the file, None for one that was not read from a file.
        beside: the same as it was written, and what was found for it.
    """

    scenario: ScenarioDocument
    path: Path
    platform: Loaded[PlatformDocument]
    vehicle_model: Model | None
    arm: Loaded[ArmDocument]
    restraint: Loaded[RestraintDocument] | None
    crew: dict[str, LoadedCrew]
    hardware: dict[str, Loaded[HardwareDocument]]
    rules: RulesDocument
    inputs: tuple[InputFile, ...] = ()
    assumptions: tuple[Assumption, ...] = ()
    source: Source[ScenarioDocument] | None = None
    beside: Beside | None = None
    further_restraints: dict[str, Loaded[RestraintDocument]] = field(default_factory=dict)

    @property
    def restraints(self) -> dict[str, Loaded[RestraintDocument]]:
        """Every restraint by its name in the scene."""
        first = {} if self.restraint is None else {"restraint": self.restraint}
        return {**first, **self.further_restraints}

    def written_at(self, kind: str, *name: str) -> str:
        """Return file, line and what was meant where a step, or a move by carry and number, was written; else empty."""
        origin = None if self.beside is None else self.beside.long.origins.get((kind, *name))
        if origin is None:
            return ""
        return f"{self.path.name}:{origin.line}{f' ({origin.meant})' if origin.meant else ''}"

    def became(self, name: str) -> list[str]:
        """Return the steps that a step by intent of this name became, in order; none where there is no such one."""
        if self.beside is None or self.beside.written.document.day is None or self.scenario.day is None:
            return []
        written, steps = self.beside.written, self.beside.written.document.day.steps
        lines = [written.yaml.line(("day", "steps", k)) for k, step in enumerate(steps) if step.name == name]
        own, origins = [step.name for step in self.scenario.day.steps], self.beside.long.origins
        found = [one for one in own if ("step", one) in origins and origins["step", one].line in lines]
        return [] if name in own else found

    def ask_for_step(self, name: str) -> None:
        """Ask that a step that is named is one of the day, not one by intent of which others follow.

        Raises:
            InputError: several steps came of it.
        """
        if became := self.became(name):
            raise InputError(f"step '{name}' is meant, and became several steps of which one is to be named",
                             accepted=", ".join(became))  # fmt: skip

    def located(self, error: StepError) -> InputError:
        """Return what is wrong with a step of the day, with the file and line of the step."""
        day = self.scenario.day
        if self.source is None or day is None:
            return error
        number = next((k for k, step in enumerate(day.steps) if step.name == error.step), None)
        path = ("day", "steps") if number is None else ("day", "steps", number)
        return self.source.problem(path, error.problem, accepted=error.accepted)
