"""The checks: each a pure function from a Record to Findings, one file a check.

A module here with a function ``check(record) -> tuple[Finding, ...]`` is a check, named as its file.
Other packages add theirs by an entry point of the group ``armcarry.checks`` (name = module:function).
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from importlib import import_module
from importlib.metadata import EntryPoint, entry_points
from pkgutil import iter_modules
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armcarry.checks.guarded import Check
    from armcarry.record.finding import Finding
    from armcarry.record.record import Record

GROUP = "armcarry.checks"
#: told before the others: what they find explains much of the rest
FIRST = ("clearance", "reach")


def registry() -> dict[str, Check]:
    """Return all checks by name: those of this package, then those other packages registered."""
    return _found()[0]


def run_checks(record: Record, late: Collection[str] = ()) -> tuple[Finding, ...]:
    """Run every check on a record; failures first, then what was not assessed, then passes.

    A check that breaks off, that gives what is no finding, that cannot be loaded or whose name is taken is not
    assessed, with the reason; nothing that a check does keeps the others from being run and the run from being kept.

    Args:
        record: the run.
        late: checks that are run after the others, because they wait for something.
    """
    from armcarry.record.causes import with_causes
    from armcarry.record.finding import Verdict

    findings = [finding for _, told in one_by_one(record, late) for finding in told]
    order = {Verdict.FAIL: 0, Verdict.NOT_ASSESSED: 1, Verdict.PASS: 2}
    return with_causes(record, sorted(findings, key=lambda finding: order[finding.verdict]))


def one_by_one(record: Record, late: Collection[str] = ()) -> Iterator[tuple[str, list[Finding]]]:
    """Run every check on a record, one after another: name and findings; first, without a name, what cannot be run."""
    from armcarry.checks.guarded import judged, not_run

    checks, problems = _found()
    settings = record.scene.loaded.rules.checks
    yield "", problems
    early = [name for name in checks if name not in late] if late else []
    told = {name: judged(name, checks[name], record, settings.get(name)) for name in early}
    for name, check in checks.items():
        yield name, told[name] if name in told else judged(name, check, record, settings.get(name))
    for name in settings:
        if name not in checks:
            words = f"the rules give settings to check '{name}', and no check of that name is installed here"
            yield name, [not_run(name, words, f"install the package that has check '{name}', or leave it out")]


def _found() -> tuple[dict[str, Check], list[Finding]]:
    """Return all checks by name, and a finding for each that cannot be run."""
    from armcarry.checks.guarded import error_words, not_run

    found: dict[str, Check] = {}
    problems: list[Finding] = []
    names = sorted((module.name for module in iter_modules(__path__)), key=lambda name: (name not in FIRST, name))
    for name in names:
        function = getattr(import_module(f"{__name__}.{name}"), "check", None)
        if function is not None:
            found[name] = function
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
