"""Settings of the restraint with which the stops of a script lack least, each by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence

import numpy as np

from armcarry.errors import ArmcarryError
from armcarry.files.expand import LeftOpen
from armcarry.files.spell import Visit
from armcarry.planning.detents import angles_rad
from armcarry.planning.restraint import find_settings
from armcarry.planning.stops import Stop, plate_at
from armcarry.planning.taking import Taking
from armcarry.planning.trial import Base
from armcarry.scene.build import RESTRAINT, Scene

Settings = Mapping[str, float]

#: stations at which settings are compared
COMPARED = 2
#: what counts for a stop that no posture reaches, m
UNREACHED_M = 10.0


class SettingsSearch:
    """Compares settings of the restraint.

    Args:
        scene: of the long form.
        left: what the script leaves open.
        stops: of the arm.
        bases: places of its base.
        tell: told what is being done.
    """

    def __init__(
        self, scene: Scene, left: LeftOpen, stops: Sequence[Stop], bases: Sequence[Base], tell: Callable[[str], None]
    ) -> None:
        self.scene, self.left, self.stops, self.bases, self.tell = scene, left, stops, tuple(bases), tell

    def ranked(self, count: int) -> list[tuple[Settings, Taking]]:
        """Return the settings with which the stops lack least, each by itself; those of the script where it says them.

        So many at most.

        They are compared at a few places of the base, where each stand is well in reach.
        """
        if not self.left.settings or RESTRAINT not in self.scene.loaded.restraints:
            return [({}, Taking(self.scene, {}))]
        found: list[tuple[float, int, Settings, Taking]] = []
        tried = self._workable()
        for number, settings in enumerate(tried):
            self.tell("finding settings of the restraint")
            taking = Taking(self.scene, settings, found[0][3] if found else None)
            enough = found[count - 1][0] if len(found) >= count else np.inf
            worth = self._lacking_m(taking, enough)
            found.append((worth, number, settings, taking))
            found.sort(key=lambda one: one[:2])
        return [(settings, taking) for _, _, settings, taking in found[:count]]

    def _lacking_m(self, taking: Taking, enough_m: float) -> float:
        """Return what the stops lack where one waits before them and people get on and off, together, m.

        More than ``enough_m`` is not told.
        """
        total = 0.0
        for stop in {(s.visit and self.left.visits[s.visit].worksite, s.carry == ""): s for s in self.stops}.values():
            if stop.visit is None:
                continue
            rooms = [taking.room_m(stop, base) for base in self._compared(self.left.visits[stop.visit])]
            total += max(0.0, min(UNREACHED_M, 0.3 - max(rooms)))
            if total > enough_m:
                return total
        for stop in self.stops:
            if stop.visit is not None and stop.climbs and total <= enough_m:
                plate = plate_at(self.scene, self.left.visits[stop.visit], stop)
                lacking = taking.lacking_to_climb_m(stop, self.bases[0], plate)
                total += max(0.0, lacking)
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
            single += [{name: angle} for angle in angles_rad(setting) if angle]
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


def settings_told(settings: Settings) -> str:
    """Return settings for people."""
    said = ", ".join(f"{name} {np.degrees(angle):g} deg" for name, angle in settings.items())
    return said or "all settings at 0"


def _key(settings: Settings) -> tuple[tuple[str, float], ...]:
    """Return settings as a key: those at 0 left out, rounded."""
    return tuple(sorted((name, round(angle, 6)) for name, angle in settings.items() if abs(angle) > 1e-9))
