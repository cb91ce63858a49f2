"""A scenario and everything it names: read, checked against each other, with every file kept.

Written out by role path, the inputs of a loaded scenario form a folder that loads on its own:
``scenario.yaml``, ``inputs.json`` and ``models/<kind>/<name>/...``. ``inputs.json`` says which file each
model of the script is, and the digest of every file, so a changed copy is noticed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, TypeVar

from armcarry.errors import InputError
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.base import Document
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.log import LogColumnsDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.rules import ARM_POSITIONING, RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.files.documents.series import SeriesDocument
from armcarry.files.expand import Expansion, expanded
from armcarry.files.found import Found, digest_of, read_found
from armcarry.files.groups import groups_of, rules_spelled_out, script_spelled_out
from armcarry.files.inputs import Inputs
from armcarry.files.loaded import Assumption, Beside, InputFile, Loaded, LoadedCrew, LoadedScenario
from armcarry.files.model_checks import check_model, check_sources
from armcarry.files.model_files import ModelFile, open_model
from armcarry.files.places import ModelKind, find_scenario
from armcarry.files.practice import practised, read_practice
from armcarry.files.scenario_checks import check_scenario
from armcarry.files.series import LoadedSeries, read_series
from armcarry.files.validate import Source, raise_all, read_any, read_source, validate
from armcarry.files.yaml_text import YamlPath, YamlText, parse_yaml

__all__ = [
    "Assumption", "InputFile", "Loaded", "LoadedCrew", "LoadedScenario", "load_scenario", "load_series",
    "validate_files",
]

D = TypeVar("D", bound=Document)


def load_scenario(
    path: Path | str,
    found: Found | None = None,
    text: bytes | YamlText | None = None,
    known: dict[Path, ModelFile[Any]] | None = None,
) -> LoadedScenario:
    """Read a scenario, everything it names, and what was found for what it leaves open.

    What is not found yet, or was found for another state of the script, is left for ``planning.left_open.settle``:
    a stand-in takes its place.

    Args:
        path: the script, a YAML file, or the name of one that comes with armcarry; also the ``scenario.yaml`` of a
            run folder's copy.
        found: what was found just now; left out, what stands beside the script.
        text: the script, where it stands in no file; ``path`` is then where it would.
        known: models that were read before, taken as they were then; those read now are added.

    Raises:
        InputError: a problem in one of the files; InputErrors when there are several.
    """
    if text is None:
        written = read_source(find_scenario(path), ScenarioDocument)
    else:
        yaml = text if isinstance(text, YamlText) else parse_yaml(text, Path(path))
        written = Source(validate(yaml, ScenarioDocument), yaml)
    opened = _open_all(written, {} if known is None else known)
    problems: list[InputError] = []
    check_sources(written, problems)
    digest = digest_of(written.yaml, {role: file.sha256 for role, file in opened.inputs.files.items()})
    kept = found or (read_found(written.path) if text is None else None)
    current = kept if kept is not None and kept.document.script == digest else None
    if current is not None:
        opened.inputs.add("scenario.found.json", current.source.path, current.source.yaml.content)
    long = expanded(written, opened.files, current)
    check_scenario(long.source, opened.files, problems)
    practice = _practice(written, opened, problems)
    raise_all(sorted(problems, key=lambda problem: problem.line or 0))
    beside = Beside(written, long, current, digest, stale=kept is not None and current is None)
    loaded = _assemble(long, written, opened, beside)
    return loaded if practice is None else replace(loaded, scenario=practised(loaded.scenario, *practice))


def load_series(path: Path) -> LoadedSeries:
    """Read a series of outings and every scenario that it names. Raises InputError, or InputErrors for several."""
    return read_series(path, load_scenario)


@dataclass
class _Opened:
    """What a script names: key in the script -> the model file."""

    inputs: Inputs
    files: dict[YamlPath, ModelFile[Any]] = field(default_factory=dict)


def _wanted(script: ScenarioDocument) -> dict[YamlPath, tuple[ModelKind, str, type[Document]]]:
    """Return key -> kind, name and document of every model a script names."""
    wanted: dict[YamlPath, tuple[ModelKind, str, type[Document]]] = {
        ("platform",): ("platforms", script.platform, PlatformDocument),
        ("arm",): ("arms", script.arm, ArmDocument),
        ("rules",): ("rules", script.rules, RulesDocument),
    }
    if script.restraint is not None:
        wanted["restraint", "model"] = ("restraints", script.restraint.model, RestraintDocument)
    for name, restraint in script.restraints.items():
        wanted["restraints", name, "model"] = ("restraints", restraint.model, RestraintDocument)
    for name, member in script.crew.items():
        wanted["crew", name, "body"] = ("crew", member.body, CrewDocument)
    for name, item in script.hardware.items():
        wanted["hardware", name, "model"] = ("hardware", item.model, HardwareDocument)
    return wanted


def _open_all(source: Source[ScenarioDocument], known: dict[Path, ModelFile[Any]]) -> _Opened:
    opened = _Opened(Inputs.beside(source.path))
    opened.inputs.add("scenario.yaml", source.path, source.yaml.content)
    problems: list[InputError] = []
    for key, (kind, name, document) in _wanted(source.document).items():
        try:
            path = opened.inputs.find(kind, name, source.path, source.yaml.line(key))
            if path not in known:
                known[path] = open_model(read_source(path, document))
                problems.extend(check_model(known[path]))
            elif not isinstance(known[path].document, document):
                raise source.problem(key, f"'{name}' is a file of another kind")
            opened.files[key] = known[path]
            opened.inputs.add_model(kind, name, known[path])
        except InputError as error:
            problems.extend(getattr(error, "problems", (error,)))
    raise_all(problems)
    return opened


def _practice(
    written: Source[ScenarioDocument], opened: _Opened, problems: list[InputError]
) -> tuple[Path, bytes] | None:
    """Return the table of recorded tries that a script names, kept with its inputs."""
    day = written.document.day
    if day is None or day.practice is None:
        return None
    path = written.path.parent / day.practice
    try:
        content = read_practice(path)
    except InputError as error:
        problems.append(written.problem(("day", "practice"), error.problem, accepted="a CSV file beside the script"))
        return None
    opened.inputs.add(day.practice, path, content)
    return path, content


def _assemble(
    long: Expansion, written: Source[ScenarioDocument], opened: _Opened, beside: Beside
) -> LoadedScenario:
    source = long.source
    files, groups = opened.files, groups_of(source.document, opened.files)
    script = script_spelled_out(source.document, groups)
    platform = files["platform",]
    vehicle_key = ("vehicle_urdf",)
    has_vehicle = script.vehicle == "docked" and vehicle_key in platform.urdfs
    return LoadedScenario(
        scenario=script,
        path=source.path,
        platform=_loaded(platform),
        vehicle_model=platform.urdfs[vehicle_key].model if has_vehicle else None,
        arm=_loaded(files["arm",]),
        restraint=_loaded(files["restraint", "model"]) if script.restraint is not None else None,
        further_restraints={name: _loaded(files["restraints", name, "model"]) for name in script.restraints},
        crew={name: _crew(files["crew", name, "body"], member.size) for name, member in script.crew.items()},
        hardware={name: _loaded(files["hardware", name, "model"]) for name in script.hardware},
        rules=_with_positioning(rules_spelled_out(files["rules",].document, groups), files["arm",].document),
        inputs=opened.inputs.all(),
        assumptions=_assumptions(written, opened),
        source=source,
        beside=beside,
    )


def _with_positioning(rules: RulesDocument, arm: ArmDocument) -> RulesDocument:
    """Return the rules with a budget whose arm_positioning is at least what the arm says of itself."""
    term = rules.budget.get(ARM_POSITIONING)
    if term is None or term.amount >= arm.tip_positioning:
        return rules
    larger = term.model_copy(update={"amount": arm.tip_positioning})
    return rules.model_copy(update={"budget": {**rules.budget, ARM_POSITIONING: larger}})


def _loaded(file: ModelFile[D]) -> Loaded[D]:
    return Loaded(file.document, file.model(), file.path)


def _crew(file: ModelFile[CrewDocument], size: str) -> LoadedCrew:
    return LoadedCrew(file.document, size, file.document.sizes[size], file.model("sizes", size, "urdf"), file.path)


def _assumptions(source: Source[ScenarioDocument], opened: _Opened) -> tuple[Assumption, ...]:
    """Return every number without a source; a URDF's numbers count as one, under the key that names it."""
    files: dict[Path, ModelFile[Any]] = {source.path: ModelFile(source, {})}
    files |= {file.path: file for file in opened.files.values()}
    roles = {path: opened.inputs.role(path) for path, file in files.items() if file.assumed}
    return tuple(
        Assumption(roles[path], key, text) for path, file in files.items() for key, text in file.assumed
    )


def validate_files(paths: list[Path], also: Callable[[LoadedScenario], None] | None = None) -> list[InputError]:
    """Return every problem of the files, in order; a scenario is checked with everything it names.

    Args:
        paths: YAML documents of any format, or URDF files.
        also: asked of each scenario that loads; raises InputError.
    """
    problems: list[InputError] = []
    for path in paths:
        try:
            problems.extend(_validate(find_scenario(path), also))
        except InputError as error:
            problems.extend(getattr(error, "problems", (error,)))
    return list({str(problem): problem for problem in problems}.values())


def _validate(path: Path, also: Callable[[LoadedScenario], None] | None) -> list[InputError]:
    from armcarry.files.urdf import read_urdf

    if path.suffix.lower() in (".urdf", ".xml"):
        read_urdf(path)
        return []
    source = read_any(path)
    if isinstance(source.document, ScenarioDocument):
        loaded = load_scenario(path)
        if also is not None:
            also(loaded)
        return []
    if isinstance(source.document, LogColumnsDocument):
        return []  # what it says of a log is asked beside that log
    if isinstance(source.document, SeriesDocument):
        for _, loaded in load_series(path).outings:
            if also is not None:
                also(loaded)
        return []
    return check_model(open_model(source))
