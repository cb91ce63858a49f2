"""Where people change places on the arm whose handrail is out of reach, and how a restraint is held in the hands.

What the arm leaves room for on the way on and off depends on its posture and is asked where that is chosen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Any

import numpy as np

from armcarry.files.day_state import Exchange
from armcarry.files.expand import LeftOpen
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.planning.climbs import Climb, Room
from armcarry.planning.restraint_places import NOTHING_M, SHIFTS_M, SPARE_M, RestraintPlaces, shift_told
from armcarry.planning.stops import Stop, plate_at, shifted
from armcarry.planning.trial import Base
from armcarry.planning.unfound import cannot, too_near
from armcarry.quantities import write
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.tree import WORLD

#: how far apart the two are at least, m
APART_M = 0.3
#: ways of changing places that are looked at in earnest at a worksite, and at another one that is to be told, most
MEASURED, AT_ANOTHER = 24, 2


@dataclass(frozen=True, eq=False)
class _Swap:
    """Two change places: the one who gets off and the one who gets on, the plate (4, 4), and at which worksite.

    ``stop`` is that of the arm there; None at a worksite where it does not come.
    """

    exchange: Exchange
    stop: Stop | None
    climbs: Sequence[Climb]
    plate: Array
    site: str


@dataclass(frozen=True, eq=False)
class _Chosen:
    """Where they do: a frame for each who climbs (None as the script has it), the plate's shift, and what it lacks.

    That is how far beyond reach the plate is, and otherwise by how much which two bodies come too near one another;
    ``arm`` tells that it is where the arm stands that lacks it, whoever goes where.
    """

    frames: tuple[str | None, ...]
    shift: tuple[float, ...]
    beyond_m: float
    room: Room
    arm: bool = False

    @property
    def lacking_m(self) -> float:
        return max(0.0, self.beyond_m, -self.room.spare_m if self.room.spare_m < NOTHING_M else 0.0)

    @property
    def lacks(self) -> str:
        if self.beyond_m > 0.0:
            return f"the plate is {self.beyond_m:.2f} m beyond reach"
        return too_near(self.room.words, self.lacking_m)


class Exchanges(RestraintPlaces):
    """Finds places and settings for the steps of a script in which people change places, or fit or stow a restraint.

    Attributes:
        places: what was found for each, as written; None where it does as the script has it.
        told: the same in words, and what could not be found.
        lacking_m: in all of them together.

    Args:
        scene: of the long form, with the settings of the restraint.
        left: what the script leaves open.
        stops: of the arm.
        bases: places of its base.
        tell: told what is being done.
        like: of the same script with other settings: where people hang on handrails is not worked out again.
    """

    def __init__(
        self, scene: Scene, left: LeftOpen, stops: Sequence[Stop], bases: Sequence[Base], tell: Callable[[str], None],
        like: Exchanges | None = None,
    ) -> None:  # fmt: skip
        super().__init__(scene, left, stops, bases, like)
        self._unfound: list[tuple[_Swap, _Chosen]] = []
        self.places: list[dict[str, Any] | None] = []
        self._rooms: dict[tuple[str, bytes, bytes], Room] = {}
        for exchange in left.exchanges:
            tell(f"looking at {exchange.kind} in {exchange.steps[-1]}")
            self.places.append(self._swap(exchange) if exchange.kind == "swap" else self._held(exchange))

    def explained(self) -> list[str]:
        """Return what was found in words, and of what could not be, what is lacking and where else it could."""
        for swap, best in self._unfound:
            self._tell(swap.climbs[0].step, self._why_not(swap, best))
        self._unfound.clear()
        return self.told

    # -- changing places ----------------------------------------------------------------------------------------------

    def _swap(self, exchange: Exchange) -> dict[str, Any] | None:
        """Return other places for a swap of which one is out of reach."""
        stop = next((one for one in self.stops if {climb.step for climb in one.climbs} & set(exchange.steps)), None)
        if stop is None or stop.visit is None:
            return None
        climbs, visit = [climb for climb in stop.climbs if climb.step in exchange.steps], self.left.visits[stop.visit]
        swap = _Swap(exchange, stop, climbs, plate_at(self.scene, visit, stop), visit.worksite)
        written = self._chosen(swap, [(None, climb.place) for climb in climbs], SHIFTS_M[0])
        if written.lacking_m <= 0.0:
            return None
        best = min((written, *self._choices(swap)), key=lambda one: one.lacking_m)
        if best.lacking_m > 0.0:
            self.lacking_m += best.lacking_m
            self._unfound.append((swap, best))
            return None
        ends = list(zip(climbs, best.frames, strict=True))
        words = [f"{climb.who} gets {'off to' if climb.off else 'on from'} {frame}" for climb, frame in ends if frame]
        if any(best.shift):
            words.append(f"the plate stands {shift_told(best.shift)} beside its place")
        self._tell(climbs[0].step, f"{', '.join(words)}: else {written.lacks}")
        said: dict[str, Any] = {"off" if climb.off else "on": frame for climb, frame in ends if frame}
        return said | ({"shift": [write(one, "length") for one in best.shift]} if any(best.shift) else {})

    def _choices(self, swap: _Swap) -> Iterator[_Chosen]:
        """Give ways of changing places within reach, until one does."""
        fixed, count = "shift" in swap.exchange.said, 0
        for shift in SHIFTS_M[:1] if fixed else SHIFTS_M:
            plate = swap.plate @ poses.translation(shift)
            able: list[list[tuple[str | None, Array]]] = []
            for climb in swap.climbs:  # who cannot alone cannot with the other either
                within = self._within_reach(swap, climb, plate)
                rooms = [self._alone(climb, place, plate).spare_m for _, place in within]
                able.append([one for one, spare_m in zip(within, rooms, strict=True) if spare_m >= NOTHING_M])
                if within and not able[-1]:
                    most = int(np.argmax(rooms))
                    yield self._chosen(swap, [within[most] if one is climb else (None, one.place)
                                              for one in swap.climbs], shift)  # fmt: skip
                count += bool(within)
            for picked in product(*able):
                if len(picked) == 2 and _apart_m(picked[0][1], picked[1][1]) < APART_M:
                    continue
                one = self._chosen(swap, picked, shift)
                yield one
                if one.lacking_m <= 0.0:
                    return
                count += 1
                if one.arm:
                    break
            if count >= (AT_ANOTHER if swap.stop is None else MEASURED):
                return

    def _chosen(self, swap: _Swap, picked: Sequence[tuple[str | None, Array]], shift: tuple[float, ...]) -> _Chosen:
        """Return what people who change places from and to some places lack, with the plate shifted.

        Where they lack nothing it is asked whether the arm can stand there.
        """
        plate, ends = swap.plate @ poses.translation(shift), list(zip(swap.climbs, picked, strict=True))
        beyond = max(self._beyond_m(climb, place, plate) for climb, (_, place) in ends)
        room = self._room([(climb, place) for climb, (_, place) in ends], plate) if beyond <= 0.0 else Room()
        one = _Chosen(tuple(name for name, _ in picked), shift, beyond, room)
        if one.lacking_m > 0.0 or swap.stop is None:
            return one
        by_step = {climb.step: replace(climb, place=place) for climb, (_, place) in ends}
        climbs = tuple(by_step.get(climb.step, climb) for climb in swap.stop.climbs if climb.way is None)
        stop = replace(shifted(swap.stop, shift), climbs=climbs)
        lacking_m, why = self._arm_lacks(stop, swap.site)
        return one if lacking_m <= 0.0 else replace(one, room=Room(-lacking_m, why), arm=True)

    def _within_reach(self, swap: _Swap, climb: Climb, plate: Array) -> list[tuple[str | None, Array]]:
        """Return the ends of handrails from which a plate is within reach, the nearest first, and the poses there."""
        if ("off" if climb.off else "on") in swap.exchange.said:
            return [(None, climb.place)]
        found = []
        for rail in self.scene.loaded.platform.document.handrails.values():
            for frame in (f"{PLATFORM}/{rail.start}", f"{PLATFORM}/{rail.end}"):
                place = self._place(climb.who, frame)
                beyond = self._beyond_m(climb, place, plate)
                if beyond <= -SPARE_M:
                    found.append((beyond, frame, place))
        kept: list[tuple[str | None, Array]] = []
        for _, frame, place in sorted(found, key=lambda one: one[:2]):  # rails that meet end at one place
            if all(_apart_m(place, other) > SPARE_M for _, other in kept):
                kept.append((frame, place))
        return kept

    def _alone(self, climb: Climb, place: Array, plate: Array) -> Room:
        """Return the room of one on the way on or off, from what is rigid with the plate."""
        key = (climb.step, place.tobytes(), plate.tobytes())
        if key not in self._rooms:
            moved = replace(climb, place=place)
            self._rooms[key] = self.climbing.room_of_plate(moved, climb.tree, climb.position, plate)
        return self._rooms[key]

    def _room(self, ends: Sequence[tuple[Climb, Array]], plate: Array) -> Room:
        """Return the least room of two on the way on and off: from what is rigid with the plate, and each other."""
        rooms = []
        for climb, place in ends:
            rooms.append(self._alone(climb, place, plate))
            for other, there in ends:
                if other.who != climb.who:
                    tree = climb.tree.attach(other.who, WORLD, poses.identity())
                    position = self.climbing.hanging(climb.position, other.who, there)
                    way = self.climbing.way(position, climb.who, plate, place, off=climb.off)
                    rooms.append(self.climbing.along(tree, climb.who, way, tree.bodies_of((other.who,))))
        return min(rooms, key=lambda one: one.spare_m)

    def _why_not(self, swap: _Swap, best: _Chosen) -> str:
        """Say what is lacking, and where else people could change places."""
        sites = self.scene.loaded.platform.document.worksites
        here, others = swap.plate[:3, 3], []
        for name, site in sites.items():
            plate = self.scene.tree.pose_of(f"{PLATFORM}/{site.stand}", self.scene.position)
            others.append((float(np.linalg.norm(plate[:3, 3] - here)), name, plate))
        others.sort(key=lambda one: one[:2])
        moved = (_Swap(_fixed(swap), None, swap.climbs, plate, name) for _, name, plate in others if name != swap.site)
        other = next((one.site for one in moved if any(way.lacking_m <= 0.0 for way in self._choices(one))), None)
        return cannot(f"change places at {swap.site}", lacks=best.lacks, sought="from any handrail within reach",
                      instead=f"at: {other}, the nearest that does" if other else "waits and to, or another at")

def _apart_m(here: Array, there: Array) -> float:
    """Return how far apart two places (4, 4) are."""
    return float(np.linalg.norm(here[:3, 3] - there[:3, 3]))


def _fixed(swap: _Swap) -> Exchange:
    """Return an exchange with the plate where it is, for another worksite."""
    return replace(swap.exchange, said=("shift",))
