"""Where models, scenarios and shared files are: the one module that knows, for a checkout and an install."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Literal

from armcarry.errors import InputError
from armcarry.files.names import accepted

ModelKind = Literal["platforms", "arms", "restraints", "crew", "hardware", "rules"]

_PACKAGE = Path(__file__).resolve().parents[1]
_SCENARIO = re.compile(r"^format: armcarry scenario ", re.MULTILINE)
_NAME = re.compile(r"[a-z][a-z0-9_]{0,47}")


def data_folder() -> Path:
    """Return the folder that holds models/, scenarios/ and shared/.

    Raises:
        InputError: neither a checkout nor a whole install is around the package.
    """
    checkout = _PACKAGE.parents[1]
    for folder in (_PACKAGE / "data", checkout):
        if (folder / "models").is_dir() and (folder / "shared").is_dir():
            return folder
    raise InputError(
        "models/ and shared/ are neither inside the package nor beside its checkout",
        file=_PACKAGE,
        accepted="a whole install: pip install --force-reinstall armcarry",
    )


def models_folder() -> Path:
    """Return the folder of the models that come with armcarry."""
    return data_folder() / "models"


def scenarios_folder() -> Path:
    """Return the folder of the scenarios that come with armcarry."""
    return data_folder() / "scenarios"


def shared_folder() -> Path:
    """Return the folder of schemas and tables."""
    return data_folder() / "shared"


def is_file(path: Path) -> bool:
    """Tell whether a file stands at a path; a name that the system cannot take, such as one too long, names none."""
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


def known_scenarios() -> dict[str, Path]:
    """Return name -> path of the scenarios that come with armcarry, by name; beside them lie arms and series."""
    files = (path for path in scenarios_folder().rglob("*.yaml") if _SCENARIO.search(path.read_text(encoding="utf-8")))
    return {path.stem: path for path in sorted(files, key=lambda path: path.stem)}


def find_scenario(wanted: Path | str) -> Path:
    """Return the file of a scenario: a path as it is; a bare name is looked up here, then among those that come along.

    Raises:
        InputError: a bare name that is neither here nor among those that come with armcarry.
    """
    path = Path(wanted)
    if not _NAME.fullmatch(str(wanted)) or path.exists():
        return path
    for own in (Path(f"{wanted}.yaml"), Path("scenarios", f"{wanted}.yaml")):
        if own.is_file():
            return own
    known = known_scenarios()
    if str(wanted) in known:
        return known[str(wanted)]
    names = accepted(str(wanted), known, "scenario")
    raise InputError(f"no scenario named '{wanted}'", accepted=f"{names}; or the path of a YAML file")


def known_models(kind: ModelKind, folder: Path) -> tuple[str, ...]:
    """Return the names of the models of one kind under a models folder, sorted."""
    place = folder / kind
    if not place.is_dir():
        return ()
    return tuple(sorted(child.name for child in place.iterdir() if (child / f"{child.name}.yaml").is_file()))


def find_model(kind: ModelKind, wanted: str, beside: Path, line: int | None = None) -> Path:
    """Return the YAML of a model named by folder name or by a path relative to the file that names it.

    A name is looked up in models/ beside the naming file, beside the two folders around it, then among those that
    come with armcarry.

    Args:
        kind: the folder under models/.
        wanted: ``heron``, or ``own/arm.yaml``.
        beside: the file that names the model.
        line: the line in it, for the message.

    Raises:
        InputError: no such model, with the nearest and the known names.
    """
    if _NAME.fullmatch(wanted):
        folders = [beside.parent / "models", *(up / "models" for up in beside.absolute().parents[1:3]), models_folder()]
        for folder in folders:
            path = folder / kind / wanted / f"{wanted}.yaml"
            if path.is_file():
                return path
        known = {name for folder in folders for name in known_models(kind, folder)}
        raise InputError(
            f"no model named '{wanted}' among {kind}",
            file=beside,
            line=line,
            accepted=f"{accepted(wanted, known, 'model')}; or the path of a YAML file relative to this one",
        )
    relative = Path(wanted)
    problem = None
    if _NAME.fullmatch(wanted.lower()) and relative.suffix == "":
        problem = f"names of models are lower case; did you mean '{wanted.lower()}'?"
    elif "\0" in wanted or len(wanted) > 400 or relative.is_absolute() or relative.suffix not in (".yaml", ".yml"):
        problem = "neither the name of a model nor a relative path to a YAML file"
    elif not is_file(beside.parent / relative):
        problem = "no file at this path, which is taken relative to this file"
    if problem is not None:
        raise InputError(
            problem, file=beside, line=line, found=wanted[:200], accepted="a name such as heron, or own/arm.yaml"
        )
    return beside.parent / relative
