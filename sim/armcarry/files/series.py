"""Reading a series of outings with the scenarios that it names."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import InputError
from armcarry.files import names
from armcarry.files.documents.series import Outing, SeriesDocument
from armcarry.files.loaded import LoadedScenario
from armcarry.files.places import find_scenario
from armcarry.files.validate import Source, raise_all, read_source

#: what may stand otherwise without being a thing of the scenario
STANDING = ("base", "arm", "vehicle")


@dataclass(frozen=True, eq=False)
class LoadedSeries:
    """A series, and each outing with its scenario."""

    document: SeriesDocument
    path: Path
    outings: tuple[tuple[Outing, LoadedScenario], ...]


def read_series(path: Path, load: Callable[[Path], LoadedScenario]) -> LoadedSeries:
    """Read a series and every scenario that it names.

    Args:
        path: of the series.
        load: reads a scenario.

    Raises:
        InputError: a problem in one of the files; InputErrors when there are several.
    """
    source = read_source(path, SeriesDocument)
    problems: list[InputError] = []
    found = []
    for k, outing in enumerate(source.document.outings):
        try:
            loaded = load(_scenario(source, k, outing))
        except InputError as error:
            problems.extend(getattr(error, "problems", (error,)))
            continue
        _changes(source, k, outing, loaded, problems)
        found.append((outing, loaded))
    raise_all(problems)
    return LoadedSeries(source.document, path, tuple(found))


def _scenario(source: Source[SeriesDocument], number: int, outing: Outing) -> Path:
    beside = source.path.parent / outing.scenario
    if beside.is_file():
        return beside
    try:
        found = find_scenario(outing.scenario)
        if found.is_file():
            return found
    except InputError:
        pass
    raise source.problem(
        ("outings", number, "scenario"), f"no scenario '{outing.scenario}' beside this file, nor one of that name",
        accepted="the path of a YAML file relative to this one, or a name that 'armcarry examples' lists",
    )


def _changes(
    source: Source[SeriesDocument], number: int, outing: Outing, loaded: LoadedScenario, problems: list[InputError]
) -> None:
    """Ask that what is said to stand otherwise is there."""
    platform, script = loaded.platform.document, loaded.scenario
    known = [*script.crew, *script.hardware, *script.all_restraints, *platform.appendages, *platform.carts, *STANDING]
    problems += [
        source.problem(("outings", number, "changes", name), f"nothing named '{name}' in this outing",
                       accepted=names.accepted(name, known))
        for name in outing.changes if name not in known
    ]
