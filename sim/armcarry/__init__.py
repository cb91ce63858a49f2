"""armcarry: rehearse carrying a suited crewmember on a long manipulator.

A rehearsal aid. Results support, and do not replace, analysis and approval by the responsible
robotics, safety and medical authorities and local rules. Never use it to command hardware.

What is here stays; everything else may change. Each name loads what it needs when it is first used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from armcarry.version import VERSION as __version__

if TYPE_CHECKING:
    from armcarry.checks import registry
    from armcarry.clearance import prove_arm, prove_clearance
    from armcarry.comparing.runs import compare
    from armcarry.errors import ArmcarryError
    from armcarry.files.motion_log import read_motion_log
    from armcarry.motion.toolbox import toolbox
    from armcarry.record.figures import at_least, at_most
    from armcarry.record.finding import Finding, Verdict
    from armcarry.record.maker import Maker
    from armcarry.record.record import Record
    from armcarry.record.store import load, save
    from armcarry.rehearsal import judge, rehearse
    from armcarry.scenario import Scenario
    from armcarry.sweeping import sweep

_WHERE = {
    "ArmcarryError": "errors",
    "Finding": "record.finding",
    "Maker": "record.maker",
    "Record": "record.record",
    "Scenario": "scenario",
    "Verdict": "record.finding",
    "at_least": "record.figures",
    "at_most": "record.figures",
    "compare": "comparing.runs",
    "judge": "rehearsal",
    "load": "record.store",
    "prove_arm": "clearance",
    "prove_clearance": "clearance",
    "read_motion_log": "files.motion_log",
    "registry": "checks",
    "rehearse": "rehearsal",
    "save": "record.store",
    "sweep": "sweeping",
    "toolbox": "motion.toolbox",
}

__all__ = [
    "ArmcarryError",
    "Finding",
    "Maker",
    "Record",
    "Scenario",
    "Verdict",
    "__version__",
    "at_least",
    "at_most",
    "compare",
    "judge",
    "load",
    "prove_arm",
    "prove_clearance",
    "read_motion_log",
    "registry",
    "rehearse",
    "save",
    "sweep",
    "toolbox",
]


def __getattr__(name: str) -> Any:
    """Return a public name, loading the module it stands in. Raises AttributeError for others."""
    if name not in _WHERE:
        raise AttributeError(f"module 'armcarry' has no attribute '{name}'")
    return getattr(import_module(f"armcarry.{_WHERE[name]}"), name)


def __dir__() -> list[str]:
    """Return the public names."""
    return sorted(__all__)
