"""Where the steps of a day bring everybody, by the names of places: what ways are planned from, before anything moves.

Who is beside what is never judged by these names; the ledger asks where everybody really is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from armcarry.files.documents.steps import AIRLOCK, ARM, Step

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
