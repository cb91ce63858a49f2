"""Model files: a document with the URDFs it names, checked against each other."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any, Generic, TypeVar

from armcarry.errors import InputError
from armcarry.files.document_types import numbers, spell
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.base import Document
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.places import is_file
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

    @cached_property
    def assumed(self) -> tuple[tuple[str, str], ...]:
        """Key and text of every number without a source; a URDF's count as one, under the key that names it."""
        source = self.source
        if source.document.basis != "assumption":
            return ()
        written = [(key, f"all dimensions in {source.yaml.value(key)}") for key in self.urdfs]
        written.extend((key, str(text)) for key, text in numbers(type(source.document), source.yaml.data))
        spelled = [(spell(key), text) for key, text in written]
        return tuple((key, text) for key, text in spelled if not _sourced(source.document, key))


def _sourced(document: Document, key: str) -> bool:
    """Tell whether ``sources`` names the key or a mapping or list around it."""
    return any(key == named or key.startswith((f"{named}.", f"{named}[")) for named in document.sources)


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
    if not is_file(path):
        raise source.problem(key, "no such URDF", found=file, accepted=accepted)
    return path
