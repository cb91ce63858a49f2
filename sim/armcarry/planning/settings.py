"""Settings of the restraint with which the stops of a script lack least, each by itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from armcarry.errors import ArmcarryError
from armcarry.files.documents.carries import Move
from armcarry.files.expand import LeftOpen
from armcarry.planning.climbs import Room
from armcarry.planning.detents import angles_rad
from armcarry.planning.restraint import find_settings
from armcarry.planning.stops import Piece, Stop, plate_at
from armcarry.planning.taking import Taking
from armcarry.planning.trial import Base
from armcarry.planning.unfound import cannot, too_near
from armcarry.scene.build import PLATFORM, RESTRAINT, Scene

Settings = Mapping[str, float]

#: stations at which settings are compared
COMPARED = 2
#: room below which people do not get on or off, and with which a stop counts as roomy, m
NOTHING_M, ROOMY_M = -0.002, 0.3
#: the share of its reach at which a stand is well in reach of the arm
WELL_AWAY = 0.6
#: what counts for a stop that no posture reaches, m
UNREACHED_M = 10.0


@dataclass(frozen=True, eq=False)
class Tried:
    """Settings of the restraint, what takes stops with them, and what getting on and off then lacks, m, in words."""

    settings: Settings
    taking: Taking
    lacking_m: float = 0.0
    lacks: str = ""

    @property
    def told(self) -> str:
        """What was found, with what it lacks."""
        if not self.lacks:
            return f"restraint: {settings_told(self.settings)}"
        return cannot("get on and off as asked", sought="in whatever setting of the restraint",
                      lacks=f"with the best, {settings_told(self.settings)}, {self.lacks}",
                      instead="at: another worksite, or to: another handrail")  # fmt: skip


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

    def ranked(self, count: int) -> list[Tried]:
        """Return the settings with which the stops lack least, each by itself; those of the script where it says them.

        So many at most.

        They are compared at a few places of the base, where each stand is well in reach.
        """
        if not self.left.settings or RESTRAINT not in self.scene.loaded.restraints:
            return [Tried({}, Taking(self.scene, {}))]
        found: list[tuple[float, float, int, Tried]] = []
        for number, settings in enumerate(self._workable()):
            self.tell("finding settings of the restraint")
            taking = Taking(self.scene, settings, found[0][3].taking if found else None)
            firm_m, words = self._climbed(taking)
            enough = found[count - 1][:2] if len(found) >= count else (np.inf, np.inf)
            if round(firm_m, 3) > enough[0]:
                continue
            tight_m = self._tight_m(taking, enough[1] if round(firm_m, 3) == enough[0] else np.inf)
            found.append((round(firm_m, 3), tight_m, number, Tried(settings, taking, firm_m, words)))
            found.sort(key=lambda one: one[:3])
        return [tried for *_, tried in found[:count]]

    def _climbed(self, taking: Taking) -> tuple[float, str]:
        """Return what is lacking where people get on and off, together, m, and where most, in words.

        Where they change places is found with each setting, and asked then.
        """
        total, most, changes = 0.0, Room(np.inf), {step for one in self.left.exchanges for step in one.steps}
        for stop in self.stops:
            if stop.visit is None or not stop.climbs:
                continue
            plate = plate_at(self.scene, self.left.visits[stop.visit], stop)
            own = replace(stop, climbs=tuple(climb for climb in stop.climbs if climb.step not in changes))
            for step, room in taking.rooms_to_climb(own, self.bases[0], plate):
                if room.spare_m < NOTHING_M:
                    total -= room.spare_m
                    where = self.scene.loaded.written_at("step", step)
                    most = min(most, Room(room.spare_m, f"{where or step}: {too_near(room.words, -room.spare_m)}"),
                               key=lambda one: one.spare_m)  # fmt: skip
        return total, most.words

    def _tight_m(self, taking: Taking, enough_m: float) -> float:
        """Return what the stops lack of being roomy where one waits before them, together, m.

        More than ``enough_m`` is not told.
        """
        total = 0.0
        for stop in {(self._site(s), s.carry == ""): s for s in self.stops if s.visit is not None}.values():
            rooms = [taking.room_m(stop, base) for base in compared(self.scene, self.bases, self._site(stop))]
            total += max(0.0, min(UNREACHED_M, ROOMY_M - max(rooms)))
            if total > enough_m:
                return total
        return total

    def _site(self, stop: Stop) -> str:
        return "" if stop.visit is None else self.left.visits[stop.visit].worksite

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


def compared(scene: Scene, bases: Sequence[Base], worksite: str) -> tuple[Base, ...]:
    """Return a few places of the base: those from which the stand of a worksite is well in reach."""
    if len(bases) <= COMPARED:
        return tuple(bases)
    taking, stand = Taking(scene, {}), scene.loaded.platform.document.worksites[worksite].stand
    goal = scene.tree.pose_of(f"{PLATFORM}/{stand}", scene.position)[:3, 3]
    piece = Piece(scene.tree, scene.position, Move.model_validate({"hold": "0 s"}))
    far = np.array([np.linalg.norm(taking.root(piece, base) - goal) for base in bases])
    order = np.argsort(np.abs(far - taking.reach_m * WELL_AWAY), kind="stable")
    return tuple(bases[k] for k in order[:COMPARED])


def settings_told(settings: Settings) -> str:
    """Return settings for people."""
    said = ", ".join(f"{name} {np.degrees(angle):g} deg" for name, angle in settings.items())
    return said or "all settings at 0"


def _key(settings: Settings) -> tuple[tuple[str, float], ...]:
    """Return settings as a key: those at 0 left out, rounded."""
    return tuple(sorted((name, round(angle, 6)) for name, angle in settings.items() if abs(angle) > 1e-9))
