"""What a script leaves open of the arm, chosen together: settings, places of the base, branches and the start."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from typing import Any

import numpy as np

from armcarry.errors import ArmcarryError
from armcarry.files.expand import LeftOpen
from armcarry.files.spell import Visit
from armcarry.geometry.poses import Array
from armcarry.planning.restraint import find_settings
from armcarry.planning.stations import places_of_base
from armcarry.planning.stops import Stop, stops_of
from armcarry.planning.taking import Taken, Taking
from armcarry.planning.together import Search, Step
from armcarry.planning.trial import Base
from armcarry.scene.build import RESTRAINT, Scene

Tell = Callable[[str, float], None]
Settings = Mapping[str, float]

#: distance of the stations that are tried, m
STEP_M = 2.0
#: stations at which settings of the restraint are compared, and settings with which all is chosen
COMPARED, SETTINGS = 2, 1
#: what counts for a stop that no posture reaches, m
UNREACHED_M = 10.0
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
        self.bases = self._bases()
        self._done = 0
        found = [(settings, self._search(taking)) for settings, taking in self._settings()]
        chosen = [(*one, one[1].best()) for one in found]
        self.settings, self.search, self.together = min(chosen, key=lambda one: one[2].cost_s)

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

    def _bases(self) -> tuple[Base, ...]:
        """Return the places of the base that may be chosen from, the one that the script says first."""
        script = self.scene.loaded.scenario
        mount = self.scene.loaded.platform.document.mounts[script.base.mount]
        said = Base(script.base.mount, float("nan") if mount.joint is None else float(script.base.station or 0.0))
        if not (self.left.base or self.left.rolls):
            return (said,)
        beside = self.scene.loaded.beside
        any_mount = beside is not None and beside.written.document.base.mount != script.base.mount
        own = tuple(b for b in places_of_base(self.scene, STEP_M) if any_mount or b.mount == script.base.mount)
        return own if self.left.base else (said, *(base for base in own if base != said))

    def _choices(self) -> list[tuple[Base, ...]]:
        """Return for each stop the places of the base from which it may be taken."""
        found: list[tuple[Base, ...]] = []
        for number, stop in enumerate(self.stops):
            said = None if stop.visit is None else self.left.visits[stop.visit].said
            if said is not None:  # the script rolls the base there itself
                found.append((Base(self.bases[0].mount, said),))
            else:
                found.append(self.bases if number or self.left.base else self.bases[:1])
        return found

    def _search(self, taking: Taking) -> Search:
        gathers = [stop.visit is None or self.left.visits[stop.visit].said is None for stop in self.stops]
        rolls = [self.left.rolls and (stop.visit is not None) for stop in self.stops]
        return Search(taking, self.stops, self._choices(), gathers, rolls, self._tell)

    def _tell(self, words: str) -> None:
        self._done += 1
        self.say(words, 0.3 * self._done / (self._done + 100))

    # -- the restraint ------------------------------------------------------------------------------------------------

    def _settings(self) -> list[tuple[Settings, Taking]]:
        """Return the settings with which the stops lack least, each by itself; those of the script where it says them.

        They are compared at a few places of the base, where each stand is well in reach.
        """
        if not self.left.settings or RESTRAINT not in self.scene.loaded.restraints:
            return [({}, Taking(self.scene, {}))]
        found: list[tuple[float, int, Settings, Taking]] = []
        tried = self._workable()
        for number, settings in enumerate(tried):
            self._tell("finding settings of the restraint")
            taking = Taking(self.scene, settings, found[0][3] if found else None)
            enough = found[SETTINGS - 1][0] if len(found) >= SETTINGS else np.inf
            worth = self._lacking_m(taking, enough)
            found.append((worth, number, settings, taking))
            found.sort(key=lambda one: one[:2])
        return [(settings, taking) for _, _, settings, taking in found[:SETTINGS]]

    def _lacking_m(self, taking: Taking, enough_m: float) -> float:
        """Return what the stops lack where one waits before them, together, m; more than ``enough_m`` is not told."""
        total = 0.0
        for stop in {(s.visit and self.left.visits[s.visit].worksite, s.carry == ""): s for s in self.stops}.values():
            if stop.visit is None:
                continue
            rooms = [taking.room_m(stop, base) for base in self._compared(self.left.visits[stop.visit])]
            total += max(0.0, min(UNREACHED_M, 0.3 - max(rooms)))
            if total > enough_m:
                break
        return total

    def _compared(self, visit: Visit) -> tuple[Base, ...]:
        """Return a few places of the base: those from which a stand is well in reach."""
        if len(self.bases) <= COMPARED:
            return self.bases
        taking = Taking(self.scene, {})
        stand = self.scene.loaded.platform.document.worksites[visit.worksite].stand
        goal = self.scene.tree.pose_of(f"platform/{stand}", self.scene.position)[:3, 3]
        far = np.array([np.linalg.norm(taking.root(self.stops[0].piece, base) - goal) for base in self.bases])
        order = np.argsort(np.abs(far - taking.reach_m * 0.6), kind="stable")
        return tuple(self.bases[k] for k in order[:COMPARED])

    def _workable(self) -> list[Settings]:
        """Return settings with at most one adjustment off neutral that bring work before the hands everywhere."""
        document = self.scene.loaded.restraints[RESTRAINT].document
        single: list[Settings] = [{}]
        for name, setting in document.settings.items():
            first, last = round(setting.lowest / setting.step), round(setting.highest / setting.step)
            single += [{name: count * setting.step} for count in range(first, last + 1) if count]
        single.sort(key=lambda one: max((abs(v / document.settings[n].step) for n, v in one.items()), default=0.0))
        good = single
        for site in dict.fromkeys(visit.worksite for visit in self.left.visits):
            able = self._before_hands(site)
            if able is not None:
                good = [one for one in good if _key(one) in able] or good
        return good

    def _before_hands(self, site: str) -> set[tuple[tuple[str, float], ...]] | None:
        """Return the settings that bring all work of a worksite before the hands; None where it states no work."""
        try:
            search = find_settings(self.scene, site, limit=100_000, once=False, clearance_m=0.0)
        except ArmcarryError:
            return None
        return {_key(choice.settings) for choice in search.choices} or None

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
            set_to = ", ".join(f"{name} {np.degrees(angle):g} deg" for name, angle in self.settings.items())
            words.append(f"restraint: {set_to or 'all settings at 0'}")
        if self.left.start is not None:
            none = "no start of the arm was found, it is at home instead of"
            words.append(f"{'the arm starts' if self._start() is not None else none} before {self.left.start}")
        words += self._told_rolls()
        for stop, taken, _ in {self.left.visits[k].worksite: one for k, one in self._taken().items()}.values():
            if taken.q is None or taken.lacking_m >= 0.1:
                site = self.left.visits[stop.visit or 0].worksite
                words.append(f"{site} is not reached with margin from any place of the base; from "
                             f"{taken.base.title}: {taken.why or f'{taken.lacking_m:.2f} m short'}")  # fmt: skip
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


def _key(settings: Settings) -> tuple[tuple[str, float], ...]:
    """Return settings as a key: those at 0 left out, rounded."""
    return tuple(sorted((name, round(angle, 6)) for name, angle in settings.items() if abs(angle) > 1e-9))
