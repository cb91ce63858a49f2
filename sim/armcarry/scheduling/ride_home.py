"""The shortest way home of whoever rides: the arm's last way of the day to where its rider gets off, with this one."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from armcarry.files.documents.steps import Step
from armcarry.scheduling.rest import Rest
from armcarry.timeline.acts import MOVES_ARM, pages_of
from armcarry.timeline.plan import DayPlan


@dataclass(frozen=True)
class RideHome:
    """A day in which somebody else rides home than planned.

    Attributes:
        plan: the day, with whoever rides now in the place of whoever was to ride then.
        only: the steps that are left of it.
        rides: step -> (who was to ride, who rides).
    """

    plan: DayPlan
    only: frozenset[str]
    rides: Mapping[str, tuple[str, str]] = field(default_factory=dict)


def ride_home(rest: Rest) -> RideHome | None:
    """Return the day in which whoever rides is brought to where the last rider of the day gets off, and all go home.

    What is under way is ended, and what is in hand is not left half done. None where nobody rides by then, or whoever
    rides gets off last anyway.
    """
    plan, tasks = rest.plan, list(rest.tasks)
    begun = [name for name in rest.found_all if name in rest.over or name in rest.under_way]
    steps = [plan.step(name) for name in dict.fromkeys([*begun, *(name for name in tasks if name in rest.half_done)])]
    page = pages_of(plan.scene.loaded, steps)[1]
    last = next((name for name in reversed(tasks) if plan.step(name).leave_restraint is not None), None)
    if last is None or last in rest.under_way or not page.riders():
        return None
    rider, planned = page.riders()[0], plan.step(last).actors[0]
    block = _way_there(rest, last, planned)
    if rider == planned or not block:
        return None
    ridden = {name: _ridden(plan.step(name), planned, rider) for name in (*block, last)}
    closes = {name for name in tasks if plan.step(name).hatch is not None}
    day = plan.day.model_copy(update={"steps": [ridden.get(step.name, step) for step in plan.day.steps]})
    rode = tuple(replace(task, actors=tuple(ridden[task.name].actors)) if task.name in ridden else task
                 for task in plan.tasks)  # fmt: skip
    only = {*rest.under_way, *rest.half_done, *ridden, *closes}
    return RideHome(replace(plan, day=day, tasks=rode), frozenset(only), dict.fromkeys(ridden, (planned, rider)))


def _way_there(rest: Rest, last: str, planned: str) -> list[str]:
    """Return the arm's steps that bring a rider to where the last one gets off, from wherever the arm is."""
    before = [rest.plan.step(name) for name in list(rest.tasks)[: list(rest.tasks).index(last)]]
    found = list[str]()
    for step in reversed([step for step in before if step.kind in MOVES_ARM]):
        if planned not in step.actors or step.name in rest.under_way:
            break
        found.append(step.name)
        if step.move_base is not None:
            break
    found.reverse()
    while found and not rest.anywhere(found[0]):
        found.pop(0)
    return found if found and rest.plan.step(found[-1]).carry is not None else []


def _ridden(step: Step, planned: str, rider: str) -> Step:
    takes_by = {rider if who == planned else who: takes for who, takes in step.takes_by.items()}
    actors = [rider if who == planned else who for who in step.actors]
    return step.model_copy(update={"actors": actors, "takes_by": takes_by})
