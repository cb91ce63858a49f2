"""The checks: each a pure function from a Record to Findings, one file a check.

A module here with a function ``check(record) -> tuple[Finding, ...]`` is a check, named as its file.
Other packages add theirs by an entry point of the group ``armcarry.checks`` (name = module:function).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from functools import partial
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from pkgutil import iter_modules
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armcarry.checks.guarded import Check
    from armcarry.record.finding import Finding
    from armcarry.record.kept import Packed
    from armcarry.record.record import Record

GROUP = "armcarry.checks"
#: told before the others: what they find explains much of the rest
FIRST = ("clearance", "reach")
#: checks that ask for the same results, and those that take long, longest first: so processes share them out
TOGETHER = (
    ("light", "seen"), ("runaway", "stopping"), ("locked_joint",), ("corridor",), ("near_people",), ("stranded",),
    ("budget",), ("schedule",), ("slowing",),
)  # fmt: skip


def registry() -> dict[str, Check]:
    """Return all checks by name: those of this package, then those other packages registered."""
    return _found()[0]


def run_checks(record: Record, processes: int = 1) -> tuple[Finding, ...]:
    """Run every check on a record; failures first, then what was not assessed, then passes.

    A check that breaks off, that gives what is no finding, that cannot be loaded or whose name is taken is not
    assessed, with the reason; nothing that a check does keeps the others from being run and the run from being kept.

    Args:
        record: the run.
        processes: how many may work side by side; the findings are the same.
    """
    from armcarry.record.causes import with_causes
    from armcarry.record.finding import Verdict

    told = _side_by_side(record, processes) if processes > 1 else {}
    findings = [finding for _, some in one_by_one(record, told) for finding in some]
    order = {Verdict.FAIL: 0, Verdict.NOT_ASSESSED: 1, Verdict.PASS: 2}
    return with_causes(record, sorted(findings, key=lambda finding: order[finding.verdict]))


def one_by_one(
    record: Record, told: Mapping[str, list[Finding]] | None = None
) -> Iterator[tuple[str, list[Finding]]]:
    """Run every check on a record, one after another: name and findings; first, without a name, what cannot be run.

    What was ``told`` already is given as it is.
    """
    from armcarry.checks.guarded import judged, not_run

    checks, problems = _found()
    settings = record.scene.loaded.rules.checks
    yield "", problems
    for name, check in checks.items():
        yield name, told[name] if told is not None and name in told else judged(name, check, record, settings.get(name))
    for name in settings:
        if name not in checks:
            words = f"the rules give settings to check '{name}', and no check of that name is installed here"
            yield name, [not_run(name, words, f"install the package that has check '{name}', or leave it out")]


def _side_by_side(record: Record, processes: int) -> dict[str, list[Finding]]:
    """Return what the checks of this package find, worked out side by side; the record takes the results they keep.

    Checks that ask for the same results stand together.
    """
    from armcarry.record.beside import side_by_side

    alone = [(name,) for name in _ours() if not any(name in names for names in TOGETHER)]
    told: dict[str, list[Finding]] = {}
    for found, results in side_by_side([partial(_told, record, names) for names in (*TOGETHER, *alone)], processes):
        told |= found
        record.take(results)
    return told


def _told(record: Record, names: tuple[str, ...]) -> tuple[dict[str, list[Finding]], dict[str, Packed]]:
    """Return what some checks find, by name, and the results that they worked out for it, packed."""
    from armcarry.checks.guarded import judged

    ours, settings = _ours(), record.scene.loaded.rules.checks
    before = {name for name, _ in record.results()}
    found = {name: judged(name, ours[name], record, settings.get(name)) for name in names}
    return found, {name: packed for name, packed in record.results() if name not in before}


def _ours() -> dict[str, Check]:
    """Return the checks of this package by name, those told first first."""
    names = sorted((module.name for module in iter_modules(__path__)), key=lambda name: (name not in FIRST, name))
    functions = {name: getattr(import_module(f"{__name__}.{name}"), "check", None) for name in names}
    return {name: function for name, function in functions.items() if function is not None}


def _found() -> tuple[dict[str, Check], list[Finding]]:
    """Return all checks by name, and a finding for each that cannot be run."""
    from armcarry.checks.guarded import error_words, not_run

    found = _ours()
    problems: list[Finding] = []
    ours = frozenset(found)
    for entry in entry_points(group=GROUP):
        if entry.name in found:
            whose = "armcarry itself" if entry.name in ours else "another package"
            words = f"check '{entry.name}' of {_source(entry)} was not run: {whose} has a check of that name"
            problems.append(not_run(entry.name, words, f"register {_source(entry)} under another name"))
            continue
        try:
            loaded = entry.load()
            if not callable(loaded):
                raise TypeError(f"{_source(entry)} is no function")
        except (Exception, SystemExit) as error:  # whatever a package of others raises when it is imported
            words = f"check '{entry.name}' of {_source(entry)} cannot be loaded: {error_words(error)}"
            problems.append(not_run(entry.name, words, f"mend or uninstall the package of {_source(entry)}"))
            continue
        found[entry.name] = loaded
    return found, problems


def _source(entry: EntryPoint) -> str:
    """Name where a check of another package stands: module:function."""
    return str(getattr(entry, "value", entry.name))
