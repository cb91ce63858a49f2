"""Who waits for whom where people afoot would meet the arm: links between steps, found on the clock of the day."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from armcarry.asked.requirement import Requirement
from armcarry.asked.zones import granted
from armcarry.clearance import prove_clearance
from armcarry.clearance.prover import CONTACT
from armcarry.errors import InputError, StepError
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import Step
from armcarry.motion.curve import Motion
from armcarry.scene.build import ARM, Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.day_run import placed, settled_day
from armcarry.timeline.plan import DayPlan, flown_s, plan_day
from armcarry.timeline.run import Phase
from armcarry.timeline.walked import Walkthrough

Tell = Callable[[str, float], None]

#: arm steps that somebody may wait for, of those that end after the way began
LATER = 4
#: arm steps, of those that began before the way, that may wait for it
EARLIER = 2
#: how exactly distances are known here, and what less counts for nothing, m
COARSE_M, WORTH_M = 0.05, 0.05
#: what bodies that touch lack beyond what is required, m
CONTACT_M = 1.0


@dataclass(frozen=True)
class Wait:
    """A step that waits for another."""

    step: str
    after: str


def find_waits(
    scene: Scene, tell: Tell, settled: tuple[Walkthrough, DayPlan] | None = None, since_s: float = 0.0
) -> tuple[list[dict[str, Any]], list[str]]:
    """Return the links that keep people who go along handrails clear of the arm, as written, and in words.

    Of each way of a worker that comes too near the arm, either the way waits for a later step of the arm, or the arm's
    next step for the way: whichever leaves least lacking, then the day that ends soonest.

    Args:
        scene: of the long form with its ways; its script has a day.
        tell: told what is being done.
        settled: the day worked out, where it was before.
        since_s: what began before this waits for nothing any more.
    """
    walk, plan = settled or settled_day(scene, tell)
    if walk.shortfall is not None:
        return [], []
    clock, found, told = _Clock(scene, walk, plan, since_s), list[dict[str, Any]](), list[str]()
    for step in plan.day.steps:
        done = step.name in plan.schedule.tasks_done()
        if step.translate is None or not done or plan.schedule.slot(step.name).start_s < since_s:
            continue
        tell(f"looking at the way of {step.name}", 0.9)
        lacking = clock.lacking_m(plan, step)
        if lacking <= WORTH_M:
            continue
        tried = [(clock.lacking_m(new, step), new.schedule.end_s, k, wait, new)
                 for k, (wait, new) in enumerate(clock.others(plan, step))]  # fmt: skip
        best = min(tried, key=lambda one: (max(round(one[0], 2), 0.0), one[1], one[2]), default=None)
        left = lacking if best is None else best[0]
        words = f"{step.actors[0]} and the arm are {lacking:.2f} m too near one another in {step.name}"
        if best is not None and left < lacking - WORTH_M:
            *_, wait, plan = best
            found.append({"step": wait.step, "after": wait.after})
            told.append(f"{_named(scene, wait.step)} waits for {wait.after}: else {words}")
        if left > WORTH_M:
            told.append(f"{words}, {left:.2f} m with every wait that was tried; write another step for it to come "
                        f"after, or lead it to another place first: {_named(scene, step.name)}")  # fmt: skip
    return found, told


def _named(scene: Scene, step: str) -> str:
    """Return a step with where it is written."""
    where = scene.loaded.written_at("step", step)
    return f"{step}{f', {where}' if where else ''}"


class _Clock:
    """The day with other links: when everything is where, and how near people come to the arm."""

    def __init__(self, scene: Scene, walk: Walkthrough, plan: DayPlan, since_s: float) -> None:
        self.scene, self.walk, self.since_s, self.slip, self.failed = scene, walk, since_s, plan.slip, plan.failed
        self.carry_s: Mapping[str, float] = flown_s(scene, [m for run in walk.carries.values() for m in run.moves])
        self._known: dict[int, tuple[DayPlan, tuple[Phase, ...], Motion]] = {}

    def others(self, plan: DayPlan, step: Step) -> Iterator[tuple[Wait, DayPlan]]:
        """Give the waits that might keep a way clear of the arm, each with the plan of the day then."""
        slots = {slot.name: slot for slot in plan.schedule.slots}
        own = slots[step.name]
        arm = [slots[one.name] for one in plan.day.steps if ARM in one.actors and one.name in slots]
        arm.sort(key=lambda slot: slot.start_s)
        waits = [Wait(step.name, slot.name) for slot in arm if slot.end_s > own.start_s][:LATER]
        waits += [Wait(slot.name, step.name) for slot in arm if slot.start_s >= own.start_s][:1]
        waits += [Wait(slot.name, step.name) for slot in arm if slot.start_s < own.start_s][-EARLIER:]
        for wait in waits:
            if slots[wait.step].start_s < self.since_s:
                continue
            try:
                new = self.planned(linked(plan.day, [(wait.step, wait.after)]))
            except (InputError, StepError):  # they would wait for one another
                continue
            if _orders(new) == _orders(plan):  # nobody does anything in another order for it
                yield wait, new

    def planned(self, day: Day) -> DayPlan:
        """Return the plan of a day in which everything is moved as it was."""
        return plan_day(self.scene, day, self.carry_s, slip=self.slip, failed=self.failed)

    def lacking_m(self, plan: DayPlan, step: Step) -> float:
        """Return how much too near a worker and the arm come while the worker goes, m; 0 where they do not."""
        if id(plan) not in self._known:
            self._known[id(plan)] = (plan, *placed(self.walk, plan))
        _, phases, motion = self._known[id(plan)]
        slot = next(slot for slot in plan.schedule.slots if slot.name == step.name)
        least = 0.0
        for phase in phases:
            start_s, end_s = max(phase.start_s, slot.start_s), min(phase.end_s, slot.end_s)
            if end_s - start_s > 1e-3:
                least = max(least, self._between(phase.tree, motion, start_s, end_s, step))
        return least

    def _between(self, tree: Tree, motion: Motion, start_s: float, end_s: float, step: Step) -> float:
        """Return what a worker and the arm lack over a stretch of time, m."""
        owners = [body.name.split("/", 1)[0] for body in tree.bodies]
        arm = [row for row, owner in enumerate(owners) if owner == ARM]
        people = [row for row, owner in enumerate(owners) if owner in step.actors and not tree.hangs_from(owner, ARM)]
        pairs = np.array([(min(a, b), max(a, b)) for a in arm for b in people], dtype=np.int64).reshape(-1, 2)
        if not len(pairs):
            return 0.0
        relaxed = granted(self.scene, [(tree, start_s, end_s)], motion)
        least = 0.0
        for asked in Requirement(self.scene, tree, pairs, relaxed).windows(start_s, end_s):
            required = np.nan_to_num(asked.required_m)
            if asked.end_s - asked.start_s < 1e-3:
                continue
            found = prove_clearance(
                tree, motion, pairs, report_distance_m=required, tolerance_m=COARSE_M,
                start_s=asked.start_s, end_s=asked.end_s,
            )  # fmt: skip
            lacking = np.where(found.status == CONTACT, required + CONTACT_M, required - found.lower_m)
            least = max(least, float(lacking.max()))
        return least


def _orders(plan: DayPlan) -> dict[str, list[str]]:
    """Return in which order each actor does the own steps."""
    found: dict[str, list[str]] = {}
    for slot in sorted(plan.schedule.slots, key=lambda slot: (slot.start_s, slot.end_s, slot.name)):
        for actor in slot.actors:
            found.setdefault(actor, []).append(slot.name)
    return found


def linked(day: Day, waits: Iterable[tuple[str, str]]) -> Day:
    """Return the day with steps that wait for others too: each wait a step and what it follows."""
    more: dict[str, list[str]] = {}
    for name, after in waits:
        more.setdefault(name, []).append(after)
    steps = [
        step.model_copy(update={"after": [*step.after, *more[step.name]]}) if step.name in more else step
        for step in day.steps
    ]
    return day.model_copy(update={"steps": steps})
