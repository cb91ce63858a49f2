"""The checks: each a pure function from a Record to Findings, one file a check.

A module here with a function ``check(record) -> tuple[Finding, ...]`` is a check, named as its file.
Other packages add theirs by an entry point of the group ``armcarry.checks`` (name = module:function).
"""

from __future__ import annotations

from collections.abc import Callable
from importlib import import_module
from importlib.metadata import entry_points
from pkgutil import iter_modules
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armcarry.record.finding import Finding
    from armcarry.record.record import Record

    Check = Callable[[Record], tuple[Finding, ...]]

GROUP = "armcarry.checks"
#: told before the others: what they find explains much of the rest
FIRST = ("clearance", "reach")


def registry() -> dict[str, Check]:
    """Return all checks by name: those of this package, then those other packages registered."""
    found: dict[str, Check] = {}
    names = sorted((module.name for module in iter_modules(__path__)), key=lambda name: (name not in FIRST, name))
    for name in names:
        function = getattr(import_module(f"{__name__}.{name}"), "check", None)
        if function is not None:
            found[name] = function
    for entry in entry_points(group=GROUP):
        found.setdefault(entry.name, entry.load())
    return found


def run_checks(record: Record) -> tuple[Finding, ...]:
    """Run every check on a record; failures first, then what was not assessed, then passes."""
    from armcarry.record.finding import Verdict

    order = {Verdict.FAIL: 0, Verdict.NOT_ASSESSED: 1, Verdict.PASS: 2}
    findings = [finding for check in registry().values() for finding in check(record)]
    return tuple(sorted(findings, key=lambda finding: order[finding.verdict]))
