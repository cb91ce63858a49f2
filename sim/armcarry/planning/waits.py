"""Who waits for whom where people afoot and the arm would meet: links between steps, found on the clock of the day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from armcarry.files.documents.steps import Step
from armcarry.planning.clock import MOVING, WORTH_M, Clock, Met, Wait
from armcarry.planning.unfound import cannot, too_near
from armcarry.scene.build import ARM, Scene
from armcarry.timeline.day_run import settled_day
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.walked import Walkthrough

Tell = Callable[[str, float], None]

#: waits that are found for one step, at most
AT_ONE = 3


def find_waits(
    scene: Scene, tell: Tell, settled: tuple[Walkthrough, DayPlan] | None = None, since_s: float = 0.0
) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the links that keep people afoot, the arm and one another clear, as written, and in words.

    Args:
        scene: of the long form with its ways; its script has a day.
        tell: told what is being done.
        settled: the day worked out, where it was before.
        since_s: what began before this waits for nothing any more.
    """
    walk, plan = settled or settled_day(scene, tell)
    if walk.shortfall is not None:
        return [], []
    found = waits_of(Clock(scene, walk, plan, since_s), plan, tell)
    return found.waits, found.told


@dataclass(frozen=True, eq=False)
class Waits:
    """Who waits for whom, as written and in words, and the day then."""

    waits: list[dict[str, Any]]
    told: list[str]
    plan: DayPlan


def waits_of(clock: Clock, plan: DayPlan, tell: Tell) -> Waits:
    """Return who waits for whom in a day.

    Of each step in which somebody goes along handrails, or the arm moves, and that comes too near somebody or the arm,
    moving or at work, either it waits for a later step of theirs, or their next one for it: whichever leaves least
    lacking, there and in all other steps together, then the day that ends soonest; and once more where that leaves
    something.
    """
    scene, found, told = clock.scene, list[dict[str, Any]](), list[str]()
    # the ways first: whoever goes waits more readily than the arm
    for step in sorted(plan.day.steps, key=lambda step: step.translate is None):
        done = step.name in plan.schedule.tasks_done()
        if step.kind not in MOVING or not done or plan.schedule.slot(step.name).start_s < clock.since_s:
            continue
        tell(f"looking at the way of {step.name}", 0.9)
        for _ in range(AT_ONE):
            met = clock.met(plan, step)
            best = _best(clock, plan, step, met) if met.lacking_m > WORTH_M else None
            if best is None:
                break
            wait, plan = best
            found.append({"step": wait.step, "after": wait.after})
            words = too_near(f"{_mover(step)} and {_title(met.whom)}", met.lacking_m)
            told.append(f"{_named(scene, wait.step)} waits for {_named(scene, wait.after)}: else {words}")
    kept = plan.schedule.tasks_done()
    for step in plan.day.steps:
        if step.kind in MOVING and step.name in kept and plan.schedule.slot(step.name).start_s >= clock.since_s:
            met = clock.met(plan, step)
            if met.lacking_m > WORTH_M:
                words = too_near(f"{_mover(step)} and {_title(met.whom)}", met.lacking_m)
                told.append(cannot(f"keep clear in {_named(scene, step.name)}", sought="with any wait that was tried",
                                   lacks=words, instead="after: another step, or another place first"))  # fmt: skip
    return Waits(found, told, plan)


def _best(clock: Clock, plan: DayPlan, step: Step, met: Met) -> tuple[Wait, DayPlan] | None:
    """Return the wait that leaves least lacking, in the step and in all others together, with the day then.

    None where none leaves less than there is.
    """
    tried = [(clock.met(new, step).lacking_m, new.schedule.end_s, k, wait, new)
             for k, (wait, new) in enumerate(clock.others(plan, step, met.whom))]  # fmt: skip
    tried.sort(key=lambda one: (max(round(one[0], 2), 0.0), one[1], one[2]))
    least, best = met.lacking_m + clock.lacking_m(plan, but=step.name) - WORTH_M, None
    for left, _, _, wait, new in tried:
        if left >= least:
            break
        total = left + clock.lacking_m(new, but=step.name)
        if total < least:
            least, best = total - WORTH_M, (wait, new)
    return best


def _mover(step: Step) -> str:
    return step.actors[0] if step.translate is not None else _title(ARM)


def _title(whom: str) -> str:
    return "the arm" if whom == ARM else whom


def _named(scene: Scene, step: str) -> str:
    """Return a step with where it is written, which people know, before what it is called."""
    where = scene.loaded.written_at("step", step)
    return f"{where}, step {step}" if where else step
