"""What a script leaves open of the arm, chosen together: settings, places of the base, branches and the start."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any

import numpy as np

from armcarry.files.expand import LeftOpen
from armcarry.files.spell import Visit
from armcarry.geometry.poses import Array
from armcarry.planning.settings import SettingsSearch, Tried
from armcarry.planning.stations import places_of_base
from armcarry.planning.stops import Stop, stops_of
from armcarry.planning.taking import Taken, Taking
from armcarry.planning.together import Search, Step
from armcarry.planning.trial import Base
from armcarry.scene.build import Scene
from armcarry.timeline.base import TOUCH_M

Tell = Callable[[str, float], None]

#: distance of the stations that are tried, m
STEP_M = 2.0
#: another place of the base that costs less than this more is told, s
NEAR_S = 900.0


class Choice:
    """Settings of the restraint, places of the base and postures of the arm for the whole script.

    Args:
        scene: of the long form.
        left: what the script leaves open.
        say: told what is being done.
    """

    def __init__(self, scene: Scene, left: LeftOpen, say: Tell) -> None:
        self.scene, self.left, self.say = scene, left, say
        self.stops = stops_of(scene, left.visits, self._waits())
        self.bases = bases_of(scene, left, self.stops)
        self._done = 0
        (self.tried,) = self._tried()
        self.search = self._search(self.tried.taking)
        self.settings, self.together = self.tried.settings, self.search.best()

    def without(self, steps: Iterable[int]) -> None:
        """Choose anew without the motions to some stops, for which no way was found."""
        taken = [step.taken for step in self.together.steps]
        for number in steps:
            self.search.block(taken[number - 1], taken[number])
        self.together = self.search.best()

    def _waits(self) -> Visit | None:
        """Return the place before which the arm starts."""
        first = self.left.visits[0]
        if self.left.start is None:
            return None
        return first if first.worksite == self.left.start else Visit(self.left.start, False, ("start",))

    # -- what may be chosen from ----------------------------------------------------------------------------------

    def _choices(self) -> list[tuple[Base, ...]]:
        """Return for each stop the places of the base from which it may be taken."""
        found: list[tuple[Base, ...]] = []
        for number, stop in enumerate(self.stops):
            said = None if stop.visit is None else self.left.visits[stop.visit].said
            if said is not None:  # the script rolls the base there itself
                found.append((Base(self.bases[0].mount, said),))
            elif number or self.left.base:
                found.append(tuple(base for base in self.bases if self._free(stop, base)) or self.bases)
            else:
                found.append(self.bases[:1])
        return found

    def _free(self, stop: Stop, base: Base) -> bool:
        """Tell whether no cart stands in a place of the base by then."""
        if stop.travel is None or base.on_rail is None or base.mount != self.scene.loaded.scenario.base.mount:
            return True
        return stop.travel.lower_m - TOUCH_M <= base.station_m <= stop.travel.upper_m + TOUCH_M

    def _search(self, taking: Taking) -> Search:
        gathers = [stop.visit is None or self.left.visits[stop.visit].said is None for stop in self.stops]
        rolls = [self.left.rolls and (stop.visit is not None) for stop in self.stops]
        return Search(taking, self.stops, self._choices(), gathers, rolls, self._tell)

    def _tried(self) -> list[Tried]:
        """Return the settings of the restraint with which all is chosen."""
        return SettingsSearch(self.scene, self.left, self.stops, self.bases, self._tell).ranked(1)

    def _tell(self, words: str) -> None:
        self._done += 1
        self.say(words, 0.3 * self._done / (self._done + 100))

    # -- what is written and told -------------------------------------------------------------------------------------

    def _taken(self) -> dict[int, tuple[Stop, Taken, int]]:
        """Return how each visit is taken, by its number, with the number of its stop."""
        pairs = zip(self.stops, self.together.steps, strict=True)
        return {stop.visit: (stop, step.taken, k) for k, (stop, step) in enumerate(pairs) if stop.visit is not None}

    @property
    def first(self) -> Base:
        """Where the base is at the start."""
        return self.together.steps[0].taken.base

    def written(self) -> dict[str, Any]:
        """Return what was chosen as it stands in the file."""
        data: dict[str, Any] = {}
        if self.left.base:
            data["base"] = {"mount": self.first.mount}
            if self.first.on_rail is not None:
                data["base"]["station"] = f"{self.first.on_rail:g} m"
        if self.settings:
            data["settings"] = {name: f"{np.degrees(angle):.6g} deg" for name, angle in self.settings.items()}
        if self.left.rolls:
            taken = self._taken()
            at = [taken[k][1].base.on_rail if k in taken else None for k in range(len(self.left.visits))]
            data["stations"] = [None if one is None else f"{one:g} m" for one in at]
        start = self._start()
        if start is not None:
            data["start"] = self.joints(start)
        return data

    def joints(self, q: Array) -> dict[str, str]:
        """Return a posture of the arm as it is written."""
        turns = {joint.name for joint in self.scene.loaded.arm.model.joints if joint.kind == "revolute"}
        joints = self.scene.loaded.arm.document.joints
        return {
            one: f"{np.degrees(value):.6f} deg" if one in turns else f"{value:.6f} m"
            for one, value in zip(joints, q.tolist(), strict=True)
        }

    def _start(self) -> Array | None:
        """Return the joint positions at the start, None where they are not sought or not found."""
        return None if self.left.start is None else self.together.steps[0].taken.q

    def told(self) -> list[str]:
        """Return what was chosen in words, what else was near, and what could not be."""
        words = []
        if self.left.base:
            words.append(f"base: {self.first.title}")
        if self.left.settings:
            words.append(self.tried.told)
        if self.left.start is not None:
            none = "no start of the arm was found, it is at home instead of"
            words.append(f"{'the arm starts' if self._start() is not None else none} before {self.left.start}")
        words += self._told_rolls()
        for stop, taken, _ in {self.left.visits[k].worksite: one for k, one in self._taken().items()}.values():
            if taken.q is None or taken.short_m >= 0.1:
                site = self.left.visits[stop.visit or 0].worksite
                words.append(f"{site} is not reached with margin from any place of the base; from "
                             f"{taken.base.title}: {taken.why or f'{taken.short_m:.2f} m short'}")  # fmt: skip
        return words

    def _told_rolls(self) -> list[str]:
        """Say where the base rolls, for what, and which other places would have been nearly as good."""
        words, here = list[str](), self.first
        runs: list[tuple[Base, list[int]]] = []
        for number, (_, taken, _) in sorted(self._taken().items()):
            if not runs or runs[-1][0] != taken.base:
                runs.append((taken.base, []))
            runs[-1][1].append(number)
        for base, numbers in runs:
            sites = ", ".join(dict.fromkeys(self.left.visits[k].worksite for k in numbers))
            others = self.together.others[self._taken()[numbers[0]][2]]
            near = sorted((more, other.title) for other, more in others.items() if other != base and more < NEAR_S)
            also = f" ({near[0][1]} is about as good)" if near and self.left.rolls else ""
            if base != here:
                words.append(f"base to {base.title} for {sites}{also}")
            elif also and len(runs) > 1:
                words.append(f"base at {base.title} for {sites}{also}")
            here = base
        return words


def bases_of(scene: Scene, left: LeftOpen, stops: Sequence[Stop]) -> tuple[Base, ...]:
    """Return the places of the base that may be chosen from at any stop, the one that the script says first."""
    script = scene.loaded.scenario
    mount = scene.loaded.platform.document.mounts[script.base.mount]
    said = Base(script.base.mount, float("nan") if mount.joint is None else float(script.base.station or 0.0))
    if not (left.base or left.rolls):
        return (said,)
    beside = scene.loaded.beside
    any_mount = beside is not None and beside.written.document.base.mount != script.base.mount
    travels = [stop.travel for stop in stops if stop.travel is not None]
    own = tuple(b for b in places_of_base(scene, STEP_M, travels) if any_mount or b.mount == script.base.mount)
    return own if left.base else (said, *(base for base in own if base != said))


def settings_of(scene: Scene, left: LeftOpen, say: Tell, count: int) -> list[Tried]:
    """Return so many settings of the restraint at most with which the stops lack least, the best first."""
    stops = stops_of(scene, left.visits)
    bases = bases_of(scene, left, stops)
    search = SettingsSearch(scene, left, stops, bases, lambda words: say(words, 0.02))
    return search.ranked(count)


def ways_chosen(choice: Choice, scene: Scene) -> dict[tuple[str, str], tuple[int, Array]]:
    """Return where each free move of a long form ends in which what was chosen stands (G, A), by carry and move.

    The first is the posture that was chosen, others take the stop from the same place of the base and lack no more.
    With each goes the number of the stop that it leads to.

    Args:
        choice: what was chosen.
        scene: of that long form: where the base rolls it has a move to a gathered posture.
    """
    found: dict[tuple[str, str], tuple[int, Array]] = {}
    number = 1
    steps = iter(choice.together.steps[1:])
    legs = next(steps).legs if len(choice.together.steps) > 1 else ()
    for stop in stops_of(scene, choice.left.visits)[1:]:
        move = stop.piece.move
        gathers = len(legs) == 2 and move.to_joints is not None
        if legs:
            ends = legs[0].points[-1:] if gathers else choice.search.alike(number, choice.together.steps[number].taken)
            found[stop.carry, move.name or ""] = (number, ends)
        number += int(not gathers)
        legs = legs[1:] if gathers else next(steps, Step(choice.together.steps[0].taken)).legs
    return found
