"""How a restraint is held in the hands where it is fitted or stowed, and where the arm stands for it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import product
from typing import Any

import numpy as np

from armcarry.files.day_state import Exchange
from armcarry.files.expand import LeftOpen
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.ledger.presence import reach_of
from armcarry.planning.climbs import Climb, Climbing, Room
from armcarry.planning.detents import angles_rad
from armcarry.planning.settings import compared, settings_told
from armcarry.planning.stops import Stop, plate_at, shifted
from armcarry.planning.taking import Taken, Taking
from armcarry.planning.trial import Base
from armcarry.planning.unfound import cannot, too_near
from armcarry.quantities import write
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene, hang
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.walks import place_pose

#: what a place within reach must have to spare of it, m
SPARE_M = 0.05
#: room below which a place does not do, m
NOTHING_M = -0.002
#: how far the plate is shifted in the stand's axes, the least first, m
SHIFTS_M: list[tuple[float, float, float]] = sorted(
    product((0.0, -0.3, -0.6), (0.0, 0.3, -0.3, 0.6, -0.6, 0.9, -0.9), (0.0, 0.3, -0.3)),
    key=lambda shift: (sum(abs(one) for one in shift), shift),
)
#: shifts with which it is looked whether a restraint can be fitted or stowed, most
STOOD = 12


class RestraintPlaces:
    """Finds how a restraint is held where it is fitted or stowed, and where the arm stands then.

    Attributes:
        told: what was found in words, and what could not be.
        lacking_m: in all of them together, but for what lacks in the hands in whatever setting.

    Args:
        scene: of the long form, with the settings of the restraint.
        left: what the script leaves open.
        stops: of the arm.
        bases: places of its base.
        like: of the same script with other settings.
    """

    def __init__(
        self, scene: Scene, left: LeftOpen, stops: Sequence[Stop], bases: Sequence[Base],
        like: RestraintPlaces | None = None,
    ) -> None:  # fmt: skip
        self.scene, self.left, self.stops, self.climbing = scene, left, stops, Climbing(scene)
        self.bases, self.taking = tuple(bases), Taking(scene, {})
        self.told: list[str] = []
        self.lacking_m = 0.0
        #: where people hang at ends of handrails; hardware and platform are the same with other settings
        self._places: dict[tuple[str, str], Array] = {} if like is None else like._places
        self._points: dict[tuple[str, bytes], Array] = {}

    def _tell(self, step: str, words: str) -> None:
        self.told.append(f"{self.scene.loaded.written_at('step', step)}: {words}")

    def _place(self, who: str, frame: str) -> Array:
        """Return T_world_boots (4, 4) of somebody at the end of a handrail."""
        if (who, frame) not in self._places:
            self._places[who, frame] = place_pose(self.scene, frame, who)
        return self._places[who, frame]

    def _beyond_m(self, climb: Climb, place: Array, plate: Array) -> float:
        """Return how far beyond reach of boots and gloves a plate is, m; negative within.

        Who gets off may cross a gap besides, as the ledger has it.
        """
        key = (climb.who, place.tobytes())
        if key not in self._points:
            member = self.scene.loaded.crew[climb.who].document
            posture = self.climbing.hanging(self.scene.position, climb.who, place)
            tree = self.scene.tree.attach(climb.who, WORLD, poses.identity())
            links = (member.boots, *member.gloves)
            self._points[key] = np.array([tree.pose_of(f"{climb.who}/{link}", posture)[:3, 3] for link in links])
        apart = float(np.linalg.norm(self._points[key] - plate[:3, 3], axis=1).min())
        day = self.scene.loaded.scenario.day
        return apart - reach_of(self.scene, climb.who) - (day.rail_gap if climb.off and day is not None else 0.0)

    def _held(self, exchange: Exchange) -> dict[str, Any] | None:
        """Return settings in which the restraint is clear of all in the hands of who fits or stows it, if need be."""
        visits = self.left.visits
        stop = next((s for s in self.stops if s.visit is not None and visits[s.visit].path == exchange.path), None)
        known = self.scene.loaded.restraints[RESTRAINT].document.settings
        tree, position = self._before(stop)
        own = {name: float(position[tree.column(f"{RESTRAINT}/{one.joint}")]) for name, one in known.items()}
        tried = [own]
        for name, one in known.items():
            tried += [{**own, name: angle} for angle in angles_rad(one)]
        tried.sort(key=lambda said: sum(abs(said[name] - own[name]) / one.step for name, one in known.items()))
        best, settings = Room(-np.inf), own
        for said in tried:
            room = self._in_hands(exchange, said, stop)
            if room.spare_m > best.spare_m:
                best, settings = room, said
            if best.spare_m >= NOTHING_M:
                break
        if best.spare_m < NOTHING_M:
            words = cannot("hold the restraint in the hands", sought="in whatever setting",
                           lacks=too_near(best.words, -best.spare_m), instead=self._other_socket(exchange, stop, tried))
            self._tell(exchange.steps[-1], words)
        said = self._stood(exchange, stop)
        if best.spare_m < NOTHING_M or settings == own:
            return said or None
        turned = {name: angle for name, angle in settings.items() if abs(angle) > 1e-9}
        words = f"the restraint is held with {settings_told(turned)}: else it meets something in the hands"
        self._tell(exchange.steps[-1], words)
        held = {name: f"{np.degrees(angle):g} deg" for name, angle in turned.items()}
        return said | {"held": held or dict.fromkeys(list(known)[:1], "0 deg")}

    def _other_socket(self, exchange: Exchange, stop: Stop | None, tried: Sequence[dict[str, float]]) -> str:
        """Say in which other socket the restraint would be clear of all while it is in the hands."""
        for name, site in self.scene.loaded.platform.document.worksites.items():
            other = replace(exchange, at=name)
            if site.socket and name != exchange.at and any(
                self._in_hands(other, said, stop).spare_m >= NOTHING_M for said in tried
            ):  # fmt: skip
                socket = f"{PLATFORM}/{site.socket}"
                return f"restraint: {{at: {socket}}}" if exchange.kind == "fit" else f"into: {site.socket}"
        return "at: another worksite, or what is in the way elsewhere by then"

    def _stood(self, exchange: Exchange, stop: Stop | None) -> dict[str, Any]:
        """Return how far the plate's place is shifted so that who walks there and fits or stows it is clear of the arm.

        The tip stays within reach of boots and gloves.
        """
        if stop is None or stop.visit is None:
            return {}
        visit, tried = self.left.visits[stop.visit], list[tuple[float, str, tuple[float, ...]]]()
        place = place_pose(self.scene, str(exchange.at), exchange.who)
        fits = Climb("", exchange.who, False, place, stop.piece.tree, stop.piece.position)
        for shift in SHIFTS_M[:STOOD]:
            plate = plate_at(self.scene, visit, stop) @ poses.translation(shift)
            tip = plate if visit.bare is None else plate @ np.array(visit.bare)
            beyond = max(self._beyond_m(fits, place, plate), self._beyond_m(fits, place, tip))
            lacks = (beyond, f"the tip is {beyond:.2f} m beyond reach")
            if beyond <= -SPARE_M or not any(shift):
                lacks = max(lacks, self._arm_lacks(shifted(stop, shift), visit.worksite))
                tried.append((*lacks, shift))
            if lacks[0] <= 0.0:
                break
        lacking_m, words, best = min(tried, key=lambda one: round(one[0], 2))
        step = exchange.steps[-1]
        if lacking_m > -NOTHING_M:
            self.lacking_m += lacking_m
            words = words if "beyond reach" in words else too_near(words, lacking_m)
            self._tell(step, cannot(f"{exchange.kind} the restraint at {visit.worksite}", lacks=words,
                                    sought="with the plate beside its place", instead="at: another worksite"))
        if not any(best):
            return {}
        self._tell(step, f"the plate stands {shift_told(best)} beside its place: else {tried[0][1]} would be too near")
        return {"shift": [write(one, "length") for one in best]}

    def _arm_lacks(self, stop: Stop, site: str) -> tuple[float, str]:
        """Return what the arm lacks at best where it takes a stop, m, people who walk there counted, and in words."""
        best: Taken | None = None
        for base in compared(self.scene, self.bases, site):
            ways = [*self.taking.ways_to_take(stop, base), *([] if best is None else [best])]
            best = min(ways, key=lambda way: way.short_m, default=None)
            if best is not None and best.short_m <= max(0.0, -best.alike_m):  # no other base lacks less
                break
        return (0.0, "") if best is None else (best.short_m, best.why)

    def _before(self, stop: Stop | None) -> tuple[Tree, Array]:
        """Return what hangs from what and stands where before a stop."""
        return (self.scene.tree, self.scene.position) if stop is None else (stop.piece.tree, stop.piece.position)

    def _in_hands(self, exchange: Exchange, settings: dict[str, float], stop: Stop | None) -> Room:
        """Return the room of the restraint in the hands of who stands at the worksite."""
        scene, who = self.scene, exchange.who
        tree, position = self._before(stop)
        position = self.climbing.standing(position, who, place_pose(scene, str(exchange.at), who))
        for name, angle in settings.items():
            joint = scene.loaded.restraints[RESTRAINT].document.settings[name].joint
            position[tree.column(f"{RESTRAINT}/{joint}")] = angle
        tree = tree.attach(who, WORLD, poses.identity())
        tree = hang(scene, tree, RESTRAINT, f"{who}/{scene.loaded.crew[who].document.hands}", position)
        others = [name for name in scene.loaded.crew if name != who]
        still = ~tree.bodies_of((ARM, RESTRAINT, *others))
        return self.climbing.least(tree, position[None], tree.bodies_of((RESTRAINT,)), still)


def shift_told(shift: Sequence[float]) -> str:
    """Return a shift for people."""
    return ", ".join(f"{one:+.1f} m" for one in shift)
