"""The scenarios that come with armcarry: what each is to show, what it is expected to give, and copies to work on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import InputError
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.load import load_scenario
from armcarry.files.names import accepted
from armcarry.files.places import data_folder, known_scenarios
from armcarry.files.schemas import schema_name
from armcarry.files.together import write_together
from armcarry.files.validate import read_document
from armcarry.files.yaml_text import read_yaml


@dataclass(frozen=True)
class Example:
    """A scenario that comes with armcarry.

    Attributes:
        fails: checks that are expected to find something; none where everything passes.
        motion: the log it is to be flown with, if any.
    """

    name: str
    title: str
    purpose: str
    fails: tuple[str, ...]
    path: Path
    motion: Path | None

    @property
    def expected(self) -> str:
        """The verdict it is expected to give, in words."""
        return f"{', '.join(self.fails)} fails" if self.fails else "passes"

    def as_dict(self) -> dict[str, str]:
        """Return what is told of it."""
        motion = {} if self.motion is None else {"motion": str(self.motion)}
        return {"name": self.name, "title": self.title, "purpose": self.purpose, "expected": self.expected,
                "file": str(self.path), **motion}  # fmt: skip


def examples() -> tuple[Example, ...]:
    """Return every scenario that comes with armcarry, by name."""
    found = []
    for name, path in known_scenarios().items():
        script = read_document(path, ScenarioDocument)
        fails = dict.fromkeys(one.check for one in script.expect if one.verdict == "fail")
        found.append(Example(name, script.title, script.purpose.strip(), tuple(fails), path, _log(path)))
    return tuple(found)


def _log(path: Path) -> Path | None:
    """Return the log a scenario is to be flown with, which lies beside it."""
    log = path.with_suffix(".csv")
    return log if log.is_file() else None


def copy_example(name: str, folder: Path) -> list[Path]:
    """Copy a scenario with every model, log and schema it needs into a new folder; the scenario comes first.

    Raises:
        InputError: no such scenario, or something stands where a file is to be written.
    """
    known, root = known_scenarios(), data_folder()
    if name not in known:
        raise InputError(f"no example named '{name[:80]}'", accepted=accepted(name, known, "example"))
    source = known[name]
    files = [item.path for item in load_scenario(source).inputs if item.path.is_file()]
    files += [log] if (log := _log(source)) is not None else []
    kinds = {str(read_yaml(path).data["format"]) for path in files if path.suffix == ".yaml"}
    files += [root / "shared" / "schemas" / schema_name(form) for form in sorted(kinds)]
    targets = {path: folder / path.resolve().relative_to(root) for path in dict.fromkeys(files)}
    content = {target.relative_to(folder).as_posix(): path.read_bytes() for path, target in targets.items()}
    write_together(folder, content, targets[source].relative_to(folder).as_posix(), "another folder")
    return [targets[source], *(target for path, target in targets.items() if path != source)]
