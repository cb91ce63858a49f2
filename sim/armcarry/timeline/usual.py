"""How long a step takes that states no time: what the documents of hardware, restraints and platform say of it."""

from __future__ import annotations

from armcarry.files.documents.bodies import ActTimes, RestraintDocument
from armcarry.files.documents.steps import Step
from armcarry.files.loaded import LoadedScenario
from armcarry.timeline.task import Duration, stated


def usual(loaded: LoadedScenario, step: Step) -> Duration | None:
    """Return what a step of one kind takes by the documents of what it is about; None where they say nothing."""
    if step.move_appendage is not None:
        return stated(loaded.platform.document.appendages[step.move_appendage.appendage].turning_time)
    if step.move_base is not None:
        return stated(loaded.platform.document.mounts[loaded.scenario.base.mount].rolling)
    about = step.fit_restraint or step.set_restraint
    which = step.item if about is None else about.which or next(iter(loaded.restraints), None)
    if which in loaded.restraints:
        return _restraint(loaded.restraints[str(which)].document, step)
    return None if which is None or which not in loaded.hardware else _act(loaded.hardware[which].document.acts, step)


def _restraint(document: RestraintDocument, step: Step) -> Duration | None:
    times = {"take": document.taking, "seat": document.seating, "fit_restraint": document.fitting,
             "set_restraint": document.setting}  # fmt: skip
    return stated(times[step.kind]) if step.kind in times else None


def _act(acts: ActTimes, step: Step) -> Duration | None:
    if step.bolt is not None:
        return stated(acts.tighten if step.bolt.make == "tight" else acts.loosen).times(step.bolt.count)
    if step.connect is not None:
        return stated(acts.join if step.connect.make == "joined" else acts.part).times(step.connect.count)
    kind = {"unlock": "lock", "fold_cover": "fold"}.get(step.kind, step.kind)
    return stated(getattr(acts, kind)) if hasattr(acts, kind) else None
