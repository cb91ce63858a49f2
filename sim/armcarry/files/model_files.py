"""Model files: a document with the URDFs it names, checked against each other."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Generic, TypeVar

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.documents.base import Document
from armcarry.files.documents.models import (
    ArmDocument,
    CrewDocument,
    HardwareDocument,
    PlatformDocument,
    RestraintDocument,
)
from armcarry.files.urdf import UrdfFile, open_urdf
from armcarry.files.validate import Source, raise_all
from armcarry.files.yaml_text import YamlPath
from armcarry.geometry.model import BodyClass, Model

D = TypeVar("D", bound=Document)


@dataclass(frozen=True, eq=False)
class ModelFile(Generic[D]):
    """A model document with its URDFs, by the path of the key that names them."""

    source: Source[D]
    urdfs: dict[YamlPath, UrdfFile]

    @property
    def document(self) -> D:
        """The document."""
        return self.source.document

    @property
    def path(self) -> Path:
        """The document's file."""
        return self.source.path

    def model(self, *key: str) -> Model:
        """Return the model of the URDF that stands at a key; default ``urdf``."""
        return self.urdfs[key or ("urdf",)].model


def open_model(source: Source[D]) -> ModelFile[D]:
    """Read the URDFs a model document names; none for rules and scenarios.

    Raises:
        InputError: a URDF that is missing, outside the document's folder, or not readable.
    """
    wanted, classes, body_class = _urdfs(source.document)
    urdfs: dict[YamlPath, UrdfFile] = {}
    problems: list[InputError] = []
    for key, file in wanted.items():
        try:
            path = _inside(source, key, file)
            urdfs[key] = open_urdf(
                path,
                classes if key == ("urdf",) else {},
                "vehicle" if key == ("vehicle_urdf",) else body_class,
                source.path.parent,
            )
        except InputError as error:
            problems.extend(getattr(error, "problems", (error,)))
    raise_all(problems)
    return ModelFile(source, urdfs)


def _urdfs(
    document: Document,
) -> tuple[dict[YamlPath, str], Mapping[BodyClass, Iterable[str]], BodyClass]:
    """Return key -> URDF, classes of the bodies by pattern, and the class of the rest."""
    match document:
        case PlatformDocument():
            urdfs: dict[YamlPath, str] = {("urdf",): document.urdf}
            if document.vehicle_urdf is not None:
                urdfs["vehicle_urdf",] = document.vehicle_urdf
            classes: dict[BodyClass, Iterable[str]] = dict(document.classes.items())
            return urdfs, classes, "structure"
        case CrewDocument():
            return {("sizes", name, "urdf"): size.urdf for name, size in document.sizes.items()}, {}, "worker"
        case ArmDocument() | RestraintDocument():
            return {("urdf",): document.urdf}, {}, "arm"
        case HardwareDocument():
            return {("urdf",): document.urdf}, {}, "hardware"
        case _:
            return {}, {}, "structure"


def _inside(source: Source[Any], key: YamlPath, file: str) -> Path:
    accepted = "a path inside the folder of this file, such as arm.urdf"
    plain = Path(file)
    if "\0" in file or len(file) > 400 or plain.is_absolute() or "\\" in file or ":" in file:
        raise source.problem(key, "not a path to a URDF", found=file, accepted=accepted)
    folder = source.path.parent.resolve()
    path = source.path.parent / plain
    if not path.resolve().is_relative_to(folder):
        raise source.problem(key, "the URDF lies outside the model folder", found=file, accepted=accepted)
    if not path.is_file():
        raise source.problem(key, "no such URDF", found=file, accepted=accepted)
    return path


class Finder:
    """Collects the problems of a document's names against the links, joints and bodies of a model."""

    def __init__(self, source: Source[Any], model: Model, problems: list[InputError]) -> None:
        self.source = source
        self.problems = problems
        self.links = model.links
        self.joints = {joint.name: joint for joint in model.movable()}
        self.bodies = tuple(body.name for body in model.bodies)
        self.file = model.name

    def tell(self, path: YamlPath, problem: str, *, found: object = None, accepted: str | None = None) -> None:
        """Add a problem at a key."""
        self.problems.append(self.source.problem(path, problem, found=found, accepted=accepted))

    def known(self, path: YamlPath, name: str, known: Iterable[str], what: str) -> bool:
        """Tell whether a name is known; add a problem when it is not."""
        names_known = list(known)
        if name in names_known:
            return True
        self.tell(path, f"no {what} named '{name[:80]}'", accepted=names.accepted(name, names_known, what))
        return False

    def link(self, path: YamlPath, name: str | None) -> None:
        """Ask for a link of the model; None asks for nothing."""
        if name is not None:
            self.known(path, name, self.links, "link")

    def joint(self, path: YamlPath, name: str | None) -> bool:
        """Ask for a movable joint of the model; None asks for nothing."""
        return name is not None and self.known(path, name, self.joints, "movable joint")

    def pattern(self, path: YamlPath, pattern: str) -> None:
        """Ask for a pattern that fits a body of the model."""
        if not names.matches_any(pattern, self.bodies):
            self.tell(path, f"no body of '{self.file}' fits '{pattern}'", accepted=names.accepted(pattern, self.bodies))

    def settings(self, path: YamlPath, settings: Mapping[str, float]) -> None:
        """Ask for movable joints, values of the right unit and inside the travel."""
        for name, value in settings.items():
            if self.joint((*path, name), name):
                self.value((*path, name), name, value)

    def value(self, path: YamlPath, joint: str, value: float, kind: tuple[str, str] = ("angle", "length")) -> None:
        """Ask for a value of the joint's unit; a position also inside its travel."""
        from armcarry.errors import QuantityError
        from armcarry.quantities import describe, parse, show

        found = self.joints[joint]
        wanted = kind[0] if found.kind == "revolute" else kind[1]
        written = self.source.yaml.value(path)
        try:
            parse(written, wanted)
        except QuantityError:
            self.tell(path, f"joint '{joint}' is {found.kind}", found=written, accepted=describe(wanted))
            return
        if kind == ("angle", "length") and not found.lower - 1e-9 <= value <= found.upper + 1e-9:
            travel = f"{show(found.lower, wanted)} to {show(found.upper, wanted)}"
            self.tell(path, f"outside the travel of joint '{joint}'", found=written, accepted=travel)


def check_model(file: ModelFile[Any]) -> list[InputError]:
    """Return every problem between a model document and its URDFs, each with file and line."""
    from armcarry.files import model_checks

    checks: dict[type[Document], Callable[[ModelFile[Any], list[InputError]], None]] = {
        ArmDocument: model_checks.check_arm,
        PlatformDocument: model_checks.check_platform,
        CrewDocument: model_checks.check_crew,
        HardwareDocument: model_checks.check_hardware,
        RestraintDocument: model_checks.check_restraint,
    }
    problems: list[InputError] = []
    if type(file.document) in checks:
        checks[type(file.document)](file, problems)
    check_sources(file.source, problems)
    return sorted(problems, key=lambda problem: problem.line or 0)


def check_sources(source: Source[Any], problems: list[InputError]) -> None:
    """Ask that each key under ``sources`` stands in the file."""
    from armcarry.files.document_types import spell

    spelled = {spell(path) for path in source.yaml.lines if path}
    unknown = [key for key in source.document.sources if key not in spelled]
    problems.extend(
        source.problem(("sources", key), f"no key '{key[:80]}' in this file", accepted=names.accepted(key, spelled))
        for key in unknown
    )
