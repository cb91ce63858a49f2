"""Conflicts of a day: an actor in two places, the arm moving while its rider is out, and the like.

The order of riding is: the restraint is put on the arm, the rider climbs in, the arm moves, the rider
climbs out (common practice, no source). A worker in the arm's way is the clearance check's matter.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import AIRLOCK, ARM, Step
from armcarry.timeline.schedule import SAME_S, Schedule, Slot

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario


@dataclass(frozen=True)
class Situation:
    """Where everybody is.

    Attributes:
        places: actor -> worksite, airlock or frame; an actor whose place is not known is missing.
        riders: who is in the restraint.
        restraint_on: whether the restraint is on the arm.
    """

    places: Mapping[str, str] = field(default_factory=dict)
    riders: frozenset[str] = frozenset()
    restraint_on: bool = True

    def place(self, actor: str) -> str | None:
        """Return where an actor is: a rider is where the arm is."""
        return self.places.get(ARM if actor in self.riders else actor)


@dataclass(frozen=True)
class Conflict:
    """Something in a day that cannot be. ``kind`` is a word of this file's calls of _Walk.say, or two_places."""

    kind: str
    step: str
    actor: str
    message: str
    remedy: str
    start_s: float
    end_s: float


def situation_at_start(loaded: LoadedScenario) -> Situation:
    """Return where a scenario starts: workers inside, on the arm, or at a worksite's stand."""
    script = loaded.scenario
    sites = {f"platform/{site.stand}": name for name, site in loaded.platform.document.worksites.items()}
    places, riders = {}, set()
    for name, member in script.crew.items():
        if member.at == "arm":
            riders.add(name)
        else:
            places[name] = AIRLOCK if member.at == "inside" else sites.get(member.at, member.at)
    return Situation(places, frozenset(riders), script.restraint is not None and script.restraint.at == "arm")


def destinations(loaded: LoadedScenario) -> dict[str, str]:
    """Return for each carry the worksite its last move to one goes to; carries without one are missing."""
    found: dict[str, str] = {}
    for carry in loaded.scenario.carries:
        sites = [move.to_worksite for move in carry.moves if move.to_worksite is not None]
        if sites:
            found[carry.name] = sites[-1]
        elif carry.repeat_of in found:
            found[carry.name] = found[str(carry.repeat_of)]
    return found


def find_conflicts(
    day: Day, schedule: Schedule, start: Situation, goes_to: Mapping[str, str] | None = None
) -> tuple[Conflict, ...]:
    """Walk through the scheduled day and return what cannot be, in the order of time.

    Args:
        goes_to: carry -> worksite it ends at; a carry step's own ``at`` wins.
    """
    steps = {step.name: step for step in day.steps}
    carries = tuple(slot for slot in schedule.slots if steps[slot.name].carry is not None)
    walk = _Walk(carries, start, dict(goes_to or {}), _out_by(steps, schedule))
    moments = []
    for listed, slot in enumerate(schedule.slots):
        step = steps[slot.name]
        moments += [(slot.start_s, 1, listed, step, slot), (slot.end_s, 0, listed, step, slot)]
        if slot.end_s - slot.start_s <= SAME_S:
            moments[-1] = (slot.end_s, 2, listed, step, slot)
    for _, ends, _, step, slot in sorted(moments, key=lambda moment: moment[:3]):
        walk.begin(step, slot) if ends == 1 else walk.end(step, slot)
    return tuple(sorted((*_two_places(schedule), *walk.found), key=lambda c: (c.start_s, c.step)))


def _out_by(steps: Mapping[str, Step], schedule: Schedule) -> dict[str, frozenset[str]]:
    """Return for each step of getting on who swaps places with it and is off no later than it ends."""
    ends = {slot.name: slot.end_s for slot in schedule.slots}
    found: dict[str, frozenset[str]] = {}
    for step in steps.values():
        if step.swap_places is None:
            continue
        for on, off in ((step, steps[step.swap_places]), (steps[step.swap_places], step)):
            swaps = on.enter_restraint is not None and off.leave_restraint is not None
            if swaps and {on.name, off.name} <= set(ends) and ends[off.name] <= ends[on.name] + SAME_S:
                found[on.name] = found.get(on.name, frozenset()) | frozenset(off.actors)
    return found


def _two_places(schedule: Schedule) -> list[Conflict]:
    """Return pairs of steps of one actor that overlap; only steps that begin together can."""
    actors = {actor for slot in schedule.slots for actor in slot.actors}
    found = []
    for actor in sorted(actors):
        own = schedule.of(actor)
        for k, first in enumerate(own):
            for second in own[k + 1 :]:
                start, end = max(first.start_s, second.start_s), min(first.end_s, second.end_s)
                if end - start > SAME_S:
                    found.append(
                        Conflict(
                            "two_places", second.name, actor,
                            f"{actor} does {first.name} and {second.name} at the same time",
                            f"take {actor} off one of them, or let {second.name} come after {first.name}", start, end,
                        )
                    )
    return found


class _Walk:
    """The walk through the day: the situation so far and what was found."""

    def __init__(
        self, carries: Sequence[Slot], start: Situation, goes_to: Mapping[str, str],
        out_by: Mapping[str, frozenset[str]],
    ) -> None:  # fmt: skip
        self.carries, self.now, self.goes_to, self.out_by = carries, start, goes_to, out_by
        self.found: list[Conflict] = []

    def say(self, kind: str, slot: Slot, actor: str, message: str, remedy: str) -> None:
        self.found.append(Conflict(kind, slot.name, actor, message, remedy, slot.start_s, slot.end_s))

    # -- what a step needs when it begins --------------------------------------------------------

    def begin(self, step: Step, slot: Slot) -> None:
        workers = [actor for actor in step.actors if actor != ARM]
        if step.carry is not None:
            self._carry(slot, workers)
            return
        for worker in workers:
            if step.enter_restraint is not None:
                self._enter(slot, worker)
            elif step.leave_restraint is not None:
                self._leave(slot, worker)
            elif step.translate is not None:
                self._translate(step.translate.start, slot, worker)
            elif step.fit_restraint is not None:
                self._fit(slot, worker)
            place = self.now.place(worker)
            if step.at is not None and place is not None and place != step.at:
                self.say(
                    "elsewhere", slot, worker, f"{worker} is to do {step.name} at {step.at} but is at {place}",
                    f"bring {worker} to {step.at} before {step.name}",
                )

    def _carry(self, slot: Slot, workers: Sequence[str]) -> None:
        for worker in workers:
            if worker not in self.now.riders:
                self.say(
                    "rider_out", slot, worker,
                    f"the arm moves in {slot.name} while its rider {worker} is not in the restraint",
                    f"let {worker} enter the restraint before {slot.name}",
                )
        for rider in sorted(self.now.riders - set(workers)):
            self.say(
                "rider_not_named", slot, rider,
                f"{slot.name} carries {rider}, who is in the restraint but is not among its actors",
                f"name {rider} among the actors of {slot.name}, or let {rider} leave the restraint before",
            )

    def _enter(self, slot: Slot, worker: str) -> None:
        name = slot.name
        if not self.now.restraint_on:
            self.say(
                "no_restraint", slot, worker, f"{worker} enters the restraint in {name} before it is on the arm",
                f"put the restraint on the arm before {name}",
            )
        for other in sorted(self.now.riders - self.out_by.get(name, frozenset())):
            words = "is in it already" if other == worker else f"{other} is in it"
            self.say(
                "restraint_taken", slot, worker, f"{worker} enters the restraint in {name}, but {words}",
                f"let {other} leave the restraint before {name}",
            )
        if worker not in self.now.riders:
            self._with_arm(slot, worker, "enters the restraint")
        self._arm_still(slot, worker, "enters")

    def _leave(self, slot: Slot, worker: str) -> None:
        if worker not in self.now.riders:
            self.say(
                "not_in_restraint", slot, worker, f"{worker} leaves the restraint in {slot.name} without being in it",
                f"let {worker} enter the restraint before {slot.name}",
            )
        self._arm_still(slot, worker, "leaves")

    def _translate(self, begins: str | None, slot: Slot, worker: str) -> None:
        place = self.now.place(worker)
        if worker in self.now.riders:
            self.say(
                "still_in_restraint", slot, worker,
                f"{worker} sets off along the handrails in {slot.name} while in the restraint",
                f"let {worker} leave the restraint before {slot.name}",
            )
        if begins is not None and place is not None and begins != place:
            self.say(
                "elsewhere", slot, worker, f"{worker} sets off from {begins} in {slot.name} but is at {place}",
                f"begin {slot.name} at {place}, or bring {worker} to {begins} before",
            )

    def _fit(self, slot: Slot, worker: str) -> None:
        if self.now.restraint_on:
            self.say(
                "restraint_on", slot, worker, f"{slot.name} puts the restraint on the arm, where it is already",
                f"leave {slot.name} out",
            )
        self._with_arm(slot, worker, "fits the restraint")

    def _with_arm(self, slot: Slot, worker: str, verb: str) -> None:
        place, arm = self.now.place(worker), self.now.places.get(ARM)
        if place is not None and arm is not None and place != arm:
            self.say(
                "elsewhere", slot, worker, f"{worker} {verb} in {slot.name} at {place}, but the arm is at {arm}",
                f"bring the arm to {place}, or {worker} to {arm}, before {slot.name}",
            )

    def _arm_still(self, slot: Slot, worker: str, verb: str) -> None:
        for carry in self.carries:
            if min(carry.end_s, slot.end_s) - max(carry.start_s, slot.start_s) > SAME_S:
                self.say(
                    "arm_moving", slot, worker,
                    f"{worker} {verb} the restraint in {slot.name} while the arm moves in {carry.name}",
                    f"let {slot.name} and {carry.name} follow one another",
                )

    def end(self, step: Step, slot: Slot) -> None:
        if slot.end_s - slot.start_s <= SAME_S:
            self.begin(step, slot)
        self.now = situation_after(self.now, step, self.goes_to)


def situation_after(now: Situation, step: Step, goes_to: Mapping[str, str]) -> Situation:
    """Return where everybody is when a step has ended. ``goes_to``: carry -> worksite it ends at."""
    workers = [actor for actor in step.actors if actor != ARM]
    places, riders = dict(now.places), set(now.riders)
    if step.carry is not None:
        _put(places, [ARM], step.at or goes_to.get(step.carry))
    elif step.translate is not None:
        _put(places, workers, step.translate.to)
    elif step.enter_restraint is not None:
        for worker in workers:  # where the worker climbed in, there the arm is
            places.setdefault(ARM, places.get(worker, ""))
            places.pop(worker, None)
        riders.update(workers)
    elif step.leave_restraint is not None:
        riders.difference_update(workers)
        _put(places, workers, step.leave_restraint.to or places.get(ARM))
    places = {actor: place for actor, place in places.items() if place}
    fitted = now.restraint_on or step.fit_restraint is not None
    return Situation(places, frozenset(riders), fitted)


def _put(places: dict[str, str], actors: Sequence[str], place: str | None) -> None:
    """Note that actors are at a place; at one that is not known they are nowhere in particular."""
    for actor in actors:
        places[actor] = place or ""
