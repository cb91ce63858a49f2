"""How near people afoot, the arm and one another come on the clock of a day, with other links between its steps."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

import numpy as np

from armcarry.asked.pairs import UNJUDGED
from armcarry.asked.requirement import Requirement
from armcarry.asked.zones import granted
from armcarry.clearance import prove_clearance
from armcarry.clearance.prover import CONTACT
from armcarry.errors import InputError, StepError
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import Step
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.planning.beside_faults import BesideFaults
from armcarry.record.record import Record
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.scene.tree import Tree
from armcarry.timeline.day_run import placed
from armcarry.timeline.plan import DayPlan, flown_s, plan_day
from armcarry.timeline.run import Phase
from armcarry.timeline.walked import Walkthrough
from armcarry.whatif.nearness import BesideArm

#: steps of others that may be waited for, of those that end after the step began
LATER = 4
#: steps of others, of those that began before, that may wait for it
EARLIER = 2
#: kinds of step in which a worker goes along handrails or the arm moves
MOVING = ("translate", "carry", "move_base")
#: kinds that bring somebody afoot elsewhere
AFOOT = ("translate", "enter_restraint", "leave_restraint", "hatch")
#: how exactly distances are known here, and what less counts for nothing, m
COARSE_M, WORTH_M = 0.05, 0.05
#: a step has begun, or not ended yet, s; joints that turn or slide less than this stand still, rad or m
JUST_S, STILL = 1e-3, 1e-6
#: what bodies that touch lack beyond what is required, m
CONTACT_M = 1.0


@dataclass(frozen=True)
class Wait:
    """A step that waits for another."""

    step: str
    after: str


@dataclass(frozen=True)
class Met:
    """By how much a step comes too near somebody or the arm, m, 0 where it does not, and whom."""

    lacking_m: float = 0.0
    whom: str = ARM


class Clock:
    """The day with other links: when everything is where, and how near people come to the arm and to one another."""

    def __init__(self, scene: Scene, walk: Walkthrough, plan: DayPlan, since_s: float) -> None:
        self.scene, self.walk, self.since_s, self.slip, self.failed = scene, walk, since_s, plan.slip, plan.failed
        self.carry_s: Mapping[str, float] = flown_s(scene, [m for run in walk.carries.values() for m in run.moves])
        self.faults = BesideFaults(scene)
        self._known: dict[int, tuple[DayPlan, tuple[Phase, ...], Motion]] = {}
        self._met: dict[tuple[int, str], Met] = {}
        #: what was met in stretches of other plans in which all goes alike
        self._alike: dict[tuple[object, ...], Met] = {}

    def others(self, plan: DayPlan, step: Step, whom: str) -> Iterator[tuple[Wait, DayPlan]]:
        """Give the waits that might keep a step clear of whom it meets, each with the plan of the day then."""
        slots = {slot.name: slot for slot in plan.schedule.slots}
        own = slots[step.name]
        kinds = MOVING if whom == ARM else AFOOT
        theirs = [slots[one.name] for one in plan.day.steps
                  if whom in one.actors and one.kind in kinds and one.name in slots and one is not step]  # fmt: skip
        theirs.sort(key=lambda slot: slot.start_s)
        waits = [Wait(step.name, slot.name) for slot in theirs if slot.end_s > own.start_s][:LATER]
        waits += [Wait(slot.name, step.name) for slot in theirs if slot.start_s >= own.start_s][:1]
        waits += [Wait(slot.name, step.name) for slot in theirs if slot.start_s < own.start_s][-EARLIER:]
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

    def met(self, plan: DayPlan, step: Step) -> Met:
        """Return by how much what moves in a step comes too near people, or people who go too near the arm, and whom.

        What the arm carries counts as the arm, and what somebody holds as that person.
        """
        if id(plan) not in self._known:
            self._known[id(plan)] = (plan, *placed(self.walk, plan))
        key = (id(plan), step.name)
        if key not in self._met:
            _, phases, motion = self._known[id(plan)]
            slot, worst = plan.schedule.slot(step.name), Met()
            for phase in phases:
                start_s, end_s = max(phase.start_s, slot.start_s), min(phase.end_s, slot.end_s)
                if end_s - start_s > 1e-3:
                    found = self._during(replace(phase, start_s=start_s, end_s=end_s), motion, step)
                    worst = max(worst, found, key=lambda one: one.lacking_m)
            self._met[key] = worst
        return self._met[key]

    def lacking_m(self, plan: DayPlan, but: str | None = None) -> float:
        """Return by how much people and the arm come too near one another in all steps together, but one by name, m."""
        done = plan.schedule.tasks_done()
        return sum(self.met(plan, step).lacking_m for step in plan.day.steps
                   if step.kind in MOVING and step.name in done and step.name != but)  # fmt: skip

    def stands(self, plan: DayPlan, step: Step) -> tuple[Array, bool]:
        """Return all joints (n,) as a step begins, and whether the arm stands still as long as it lasts."""
        self.met(plan, step)
        motion, slot = self._known[id(plan)][2], plan.schedule.slot(step.name)
        inside = motion.breaks_s[(motion.breaks_s > slot.start_s) & (motion.breaks_s < slot.end_s)]
        times = np.concatenate([[slot.start_s + JUST_S, slot.end_s - JUST_S], inside])
        tree = self.scene.tree
        rail = self.scene.loaded.platform.document.mounts[self.scene.loaded.scenario.base.mount].joint
        columns = [*self.scene.arm_columns, *([] if rail is None else [tree.column(f"{PLATFORM}/{rail}")])]
        seen = np.array([motion.at(time) for time in times])
        return np.asarray(seen[0]), bool(np.ptp(seen[:, columns], axis=0).max() < STILL)

    def _during(self, part: Phase, motion: Motion, step: Step) -> Met:
        """Return what lacks most over a stretch of time, worked out once for all plans in which all goes alike."""
        key = (step.name, part.tree.hung_as, motion.between(part.start_s, part.end_s).from_zero().known_by)
        if key not in self._alike:
            near = self._between(part.tree, motion, part.start_s, part.end_s, step)
            apart = self._separated(part, motion, step)
            self._alike[key] = max(near, apart, self._after_faults(part, motion, step), key=lambda one: one.lacking_m)
        return self._alike[key]

    def _separated(self, part: Phase, motion: Motion, step: Step) -> Met:
        """Return by how much people afoot are nearer to the arm that moves than lets it stop before them, and whom."""
        record, crew, worst = Record(self.scene, (part,), motion, ()), self.scene.loaded.crew, Met()
        for who in crew if step.translate is None else [who for who in step.actors if who in crew]:
            beside = BesideArm(record, part, who)
            found = beside.least() if beside.together else None
            if found is not None:
                whom = who if step.translate is None else ARM
                worst = max(worst, Met(-found.margin_m, whom), key=lambda one: one.lacking_m)
        return worst

    def _after_faults(self, part: Phase, motion: Motion, step: Step) -> Met:
        """Return what lacks after a joint of the arm that moves ran away beside people afoot, and whom that meets."""
        of = {one.instance: party_of(self.scene, part.tree, one.instance) for one in part.tree.mountings}
        worst, arm = Met(), [thing for thing, party in of.items() if party == ARM]
        for who in self.scene.loaded.crew:
            if step.translate is None or who in step.actors:
                people = [thing for thing, party in of.items() if party == who]
                lacking_m = self.faults.lacking_m(part, motion, arm, people)
                whom = who if step.translate is None else ARM
                worst = max(worst, Met(lacking_m, whom), key=lambda one: one.lacking_m)
        return worst

    def _between(self, tree: Tree, motion: Motion, start_s: float, end_s: float, step: Step) -> Met:
        """Return what lacks most over a stretch of time."""
        pairs, whom = self._pairs(tree, step)
        if not len(pairs):
            return Met()
        relaxed = granted(self.scene, [(tree, start_s, end_s)], motion)
        worst = Met()
        for asked in Requirement(self.scene, tree, pairs, relaxed).windows(start_s, end_s):
            required = np.nan_to_num(asked.required_m)
            if asked.end_s - asked.start_s < 1e-3:
                continue
            found = prove_clearance(
                tree, motion, pairs, report_distance_m=required, tolerance_m=COARSE_M,
                start_s=asked.start_s, end_s=asked.end_s,
            )  # fmt: skip
            lacking = np.where(found.status == CONTACT, required + CONTACT_M, required - found.lower_m)
            lacking = np.where(asked.meant, 0.0, lacking)
            row = int(np.argmax(lacking))
            worst = max(worst, Met(float(lacking[row]), whom[row]), key=lambda one: one.lacking_m)
        return worst

    def _pairs(self, tree: Tree, step: Step) -> tuple[np.ndarray, list[str]]:
        """Return the pairs (P, 2) of what moves in a step and whom it might meet, and who that is for each."""
        parties = {one.instance: party_of(self.scene, tree, one.instance) for one in tree.mountings}
        moving = {ARM} if step.translate is None else {who for who in step.actors if who in self.scene.loaded.crew}
        judged = ~np.isin(self.scene.body_classes(tree), UNJUDGED)
        of_body = [parties.get(body.name.split("/", 1)[0], "") if judged[row] else "" for row, body in
                   enumerate(tree.bodies)]  # fmt: skip
        mine = [row for row, party in enumerate(of_body) if party in moving]
        theirs = [row for row, party in enumerate(of_body) if party and party not in {*moving, *step.actors}]
        pairs = np.array([(min(a, b), max(a, b)) for a in mine for b in theirs], dtype=np.int64).reshape(-1, 2)
        return pairs, [of_body[b] for _ in mine for b in theirs]


def party_of(scene: Scene, tree: Tree, instance: str) -> str:
    """Return whom a thing moves with: the arm, a crewmember afoot, or nobody."""
    if instance == ARM or tree.hangs_from(instance, ARM):
        return ARM
    crew = scene.loaded.crew
    return instance if instance in crew else next((who for who in crew if tree.hangs_from(instance, who)), "")


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
