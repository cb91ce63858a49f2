"""The shortest way home: what is half done is put back, and whoever rides is brought to where the last one gets off."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from armcarry.files.documents.steps import Step
from armcarry.scheduling.put_back import PutBack, put_back
from armcarry.scheduling.rest import Rest
from armcarry.timeline.acts import MOVES_ARM, pages_of
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.schedule import schedule, slipped
from armcarry.timeline.task import tasks_of
from armcarry.timeline.wanted import windows_of


@dataclass(frozen=True)
class RideHome:
    """A day in which all go home sooner than by its own steps.

    Attributes:
        plan: the day, with whoever rides now in the place of whoever was to ride then, and what puts things back.
        only: the steps that are left of it.
        rides: step -> (who was to ride, who rides).
        more: step that puts something back -> the same as plain values.
    """

    plan: DayPlan
    only: frozenset[str]
    rides: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    more: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)


def ride_home(rest: Rest) -> RideHome | None:
    """Return the day in which whoever rides is brought to where the last rider of the day gets off, and all go home.

    What is under way is ended; what is half done is put back where that can be, else it is ended too. None where that
    is nothing else than the day's own steps.
    """
    plan, tasks, back = rest.plan, list(rest.tasks), put_back(rest)
    begun = [name for name in rest.found_all if name in rest.over or name in rest.under_way]
    things = {one.thing for one in back or ()}
    ended = {name for name in rest.half_done if not things & set(rest.found_all[name].touches)}
    steps = [plan.step(name) for name in dict.fromkeys([*begun, *(name for name in tasks if name in ended)])]
    page = pages_of(plan.scene.loaded, [*steps, *(one.step for one in back or ())])[1]
    last = next((name for name in reversed(tasks) if plan.step(name).leave_restraint is not None), None)
    if last is None or last in rest.under_way or not page.riders():
        return None
    rider, planned = page.riders()[0], plan.step(last).actors[0]
    block = _way_there(rest, last, planned, [step.name for step in steps])
    if block is None or (rider == planned and not back):
        return None
    ridden = {name: _ridden(plan.step(name), planned, rider) for name in (*block, last)}
    closes = {name for name in tasks if plan.step(name).hatch is not None}
    more = {one.step.name: one.data for one in back or ()}
    only = {*rest.under_way, *ended, *ridden, *closes, *more}
    rides = {} if rider == planned else dict.fromkeys(ridden, (planned, rider))
    return RideHome(_with(plan, ridden, back or []), frozenset(only), rides, more)


def _with(plan: DayPlan, ridden: Mapping[str, Step], back: Sequence[PutBack]) -> DayPlan:
    """Return a day with steps done by others, and steps that put back what others did right behind the last of them."""
    steps = list[Step]()
    for step in plan.day.steps:
        steps += [ridden.get(step.name, step), *(one.step for one in back if one.behind == step.name)]
    day = plan.day.model_copy(update={"steps": steps})
    tasks = slipped(tasks_of(day, plan.computed, windows_of(plan.scene)), plan.slip)
    planned = schedule(tasks, plan.limits, failed=plan.failed) if back else plan.schedule
    return replace(plan, day=day, tasks=tasks, schedule=planned)


def _way_there(rest: Rest, last: str, planned: str, done: Sequence[str]) -> list[str] | None:
    """Return the arm's steps that bring a rider to where the last one gets off, from where others leave the arm.

    None where there are none; empty where it is there by then.
    """
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
    if not found or rest.plan.step(found[-1]).carry is None:
        return None
    flown = [name for name in done if rest.plan.step(name).kind in MOVES_ARM]
    return [] if flown and _ends(rest, flown[-1]) == _ends(rest, found[-1]) else found


def _ends(rest: Rest, name: str) -> dict[str, Any]:
    """Return how the last move of a step ends, in plain values; empty for a step that flies none or ends by joints."""
    step = rest.plan.step(name)
    carry = next((one for one in rest.scene.loaded.scenario.carries if one.name == step.carry), None)
    line = carry.moves[-1].line if carry is not None and carry.moves else None
    return {"at": name} if line is None or line.to is None else line.model_dump()


def _ridden(step: Step, planned: str, rider: str) -> Step:
    takes_by = {rider if who == planned else who: takes for who, takes in step.takes_by.items()}
    actors = [rider if who == planned else who for who in step.actors]
    return step.model_copy(update={"actors": actors, "takes_by": takes_by})
