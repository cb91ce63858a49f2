"""How long people take from place to place: as a day was flown, else as the way along handrails gives it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from armcarry.files.documents.step_parts import Translate
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.scene.build import Scene
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.handrails import NoRoute
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.walks import walk_between


@dataclass
class Travel:
    """Times between places, seconds; what was flown takes the place of what was worked out.

    Attributes:
        flown: (crewmember, from, to) -> seconds in a day that was worked out as a whole.
        blocked: (crewmember, from, to) of ways that are not free.
    """

    scene: Scene
    flown: dict[tuple[str, str, str], float] = field(default_factory=dict)
    blocked: frozenset[tuple[str, str, str]] = frozenset()
    _made: dict[tuple[str, str, str], float | None] = field(default_factory=dict)

    def between_s(self, who: str, start: str, goal: str) -> float | None:
        """Return how long somebody goes from place to place, hatch included; None where no handrails are free."""
        key = (who, start, goal)
        if start == goal:
            return 0.0
        if key in self.blocked:
            return None
        if key in self.flown:
            return self.flown[key]
        if key not in self._made:
            self._made[key] = self._worked_out(*key)
        return self._made[key]

    def _worked_out(self, who: str, start: str, goal: str) -> float | None:
        day = self.scene.loaded.scenario.day
        if day is None:
            return None
        going = Translate.model_validate({"from": start, "to": goal})
        step = Step(name="go", actors=[who], translate=going)
        walk = walk_between(self.scene, day, step, who, start)
        if isinstance(walk.route, NoRoute):
            return None
        passing_s = page_at_start(self.scene.loaded).asked.passing_s
        return walk.duration_s + passing_s * ((start == AIRLOCK) + (goal == AIRLOCK))

    def learn(self, plan: DayPlan) -> None:
        """Take the times of every way of a day that was worked out."""
        for name, walks in plan.walks.items():
            for walk in walks:
                self.flown[walk.worker, walk.start, walk.goal] = plan.computed[name].likely_s


def carries_s(plan: DayPlan) -> Mapping[str, float]:
    """Return what each step that flies a carry takes as flown."""
    return {step.name: plan.computed[step.name].likely_s for step in plan.day.steps
            if step.carry is not None and step.name in plan.computed}  # fmt: skip
