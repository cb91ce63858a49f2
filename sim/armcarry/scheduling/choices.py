"""What may vary in a day: which steps there are, which may be left out or moved, who may do them, what they find."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from armcarry.errors import InputError
from armcarry.files.documents.steps import Step
from armcarry.files.documents.vary import Varying
from armcarry.scene.build import Scene
from armcarry.scheduling.meeting import NOTHING_LEARNED, Learned
from armcarry.scheduling.problem import Objective
from armcarry.scheduling.state import Found, Place, begins_at, found_by
from armcarry.scheduling.ways import Travel
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.task import Task

#: kinds that whoever rides does with the own body
_BODY = ("translate", "enter_restraint", "leave_restraint")


@dataclass(frozen=True, eq=False)
class DayChoices:
    """A day as written and worked out, and what may vary in it.

    Attributes:
        plan: the day worked out as written.
        travel: times between places.
        objective: what is made best.
        learned: what orders that were tried and did not hold have taught.
        known_s: step -> what it took when it was flown in another order.
    """

    plan: DayPlan
    travel: Travel
    objective: Objective = "shortest"
    learned: Learned = NOTHING_LEARNED
    known_s: Mapping[str, float] = field(default_factory=dict)

    @property
    def scene(self) -> Scene:
        """The scene of the day."""
        return self.plan.scene

    @cached_property
    def tasks(self) -> dict[str, Task]:
        """The steps that the problem is about, in an order that links and actors allow."""
        wanted = self.plan.schedule.tasks_done() | set(self.optional)
        ordered = self.plan.schedule.network
        names = [ordered.tasks[k].name for node in ordered.order for k in ordered.members[node]]
        by_name = {task.name: task for task in self.plan.tasks}
        return {name: by_name[name] for name in names if name in wanted}

    @cached_property
    def optional(self) -> frozenset[str]:
        """Steps that may be left out: alternatives, and for the most worth all that time permits."""
        day = self.plan.day
        out = {name for group in day.any_of for name in group}
        if self.objective == "worth":
            out |= {step.name for step in day.steps if step.as_time_permits is not None}
            out |= {other for step in day.steps if step.as_time_permits is not None
                    for other in step.as_time_permits.drops_with}  # fmt: skip
        return frozenset(out - self._never())

    @cached_property
    def found(self) -> dict[str, Found]:
        """What each step finds and leaves as the day is written."""
        steps = [self.plan.step(name) for name in self.tasks]
        return {found.step.name: found for found in found_by(self.scene, steps)}

    @cached_property
    def begins(self) -> Mapping[str, Place]:
        """Where everybody is when the problem begins."""
        return begins_at(self.scene)

    @cached_property
    def before(self) -> tuple[str, ...]:
        """Steps that are done before the problem begins, in order."""
        return ()

    def ends_s(self, who: str) -> Mapping[str, float] | None:
        """Return the steps that may be somebody's last, with the way home from there; None for any, without a way."""
        return None

    @cached_property
    def groups(self) -> tuple[Varying, ...]:
        """What varies, with the steps that the problem is about."""
        kept = []
        for one in self.plan.day.may_vary:
            steps = [name for name in one.steps if name in self.tasks]
            if steps:
                kept.append(one.model_copy(update={"steps": steps}))
        return tuple(kept)

    @cached_property
    def group_of(self) -> dict[str, Varying]:
        """Step -> what varies about it."""
        return {name: one for one in self.groups for name in one.steps}

    def where(self, name: str, key: str = "") -> str:
        """Return file and line of a step's key."""
        source = self.scene.loaded.source
        steps = [step.name for step in self.plan.day.steps]
        if source is None:
            return ""
        path: tuple[str | int, ...] = ("day", "steps", steps.index(name), *((key,) if key else ()))
        return f"{source.path.name}:{source.yaml.line(path)}: "

    def candidates(self, step: Step) -> tuple[str, ...]:
        """Return who may do a step: whoever is written, first, and those named beside.

        Raises:
            InputError: it is not one person on foot who does it.
        """
        group = self.group_of.get(step.name)
        people = tuple(actor for actor in step.actors if actor in self.scene.loaded.crew)
        if group is None or not group.either:
            return people
        places = self.found[step.name].needs.values()
        rides = any(place.rides for place in places) and (step.at is None or step.kind in _BODY)
        if len(people) != 1 or len(step.actors) != 1 or rides:
            source = self.scene.loaded.source
            line = None if source is None else source.yaml.line(("day", "may_vary"))
            raise InputError(
                f"step '{step.name}' cannot go to somebody else", file=self.scene.loaded.path, line=line,
                found=f"done by {', '.join(step.actors)}{', riding' if rides else ''}",
                accepted="under either: steps of one crewmember, on foot or at a worksite",
            )  # fmt: skip
        fit = [who for who in group.either if (step.name, who) not in self.learned.unfit]
        return tuple(dict.fromkeys((*people, *fit)))

    def takes_s(self, name: str) -> float:
        """Return what a step takes at least: a way along handrails as stated, longer where it begins farther off."""
        step = self.plan.step(name)
        if step.translate is None:
            return self.known_s.get(name, self.tasks[name].duration.likely_s)
        return 0.0 if step.takes is None else step.takes.likely

    def anywhere(self, name: str) -> bool:
        """Tell whether an arm step may begin wherever the arm is; in an order as written it begins where it did."""
        return False

    def broken_off(self, steps: Sequence[str]) -> bool:
        """Tell whether what one written step became may end before its last step; as planned it is done to its end."""
        return False

    def _never(self) -> set[str]:
        grouped = {name for group in self.plan.day.any_of for name in group}
        return {name for name in self.plan.day.left_out if name not in grouped}
