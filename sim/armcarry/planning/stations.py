"""From which trolley stations and fixed mounts worksites are reached with margin, and the fewest moves of the base."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.files.names import accepted
from armcarry.planning.trial import ENOUGH_M, Base, Reached, Trial
from armcarry.scene.build import PLATFORM, Scene, build_scene
from armcarry.timeline.base import Travel
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.trolley import rail_at_start

HEADINGS = ("worksite", "from", "best", "clearance to spare", "joint margin", "what stands against the rest")


@dataclass(frozen=True)
class Stay:
    """One place of the base in a plan, and the worksites done from there in order."""

    base: Base
    worksites: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class StationMap:
    """W worksites from B places of the base.

    Attributes:
        worksites: names, in the order they are visited.
        bases: places, stations of one mount in order.
        reached: W rows of B.
        plan: stays of the base, fewest for the order of the worksites; those that no base reaches are left out.
        unreached: worksites that no base reaches with margin.
    """

    worksites: tuple[str, ...]
    bases: tuple[Base, ...]
    reached: tuple[tuple[Reached, ...], ...]
    plan: tuple[Stay, ...]
    unreached: tuple[str, ...]

    def rows(self) -> list[tuple[str, ...]]:
        """Return a row a worksite under HEADINGS."""
        return [self._row(name, row) for name, row in zip(self.worksites, self.reached, strict=True)]

    def _row(self, name: str, row: tuple[Reached, ...]) -> tuple[str, ...]:
        good = [k for k, one in enumerate(row) if one.good]
        against = [one.why for one in row if not one.good]
        most = max(set(against), key=against.count) if against else "-"
        if not good:
            return (name, "nowhere", "-", "-", "-", most)
        best = max(good, key=lambda k: (row[k].clearance_m, row[k].joint_rad))
        return (
            name, _ranges([self.bases[k] for k in good], self.bases), self.bases[best].title,
            f"{row[best].clearance_m:.2f} m" + (" or more" if row[best].clearance_m >= ENOUGH_M else ""),
            f"{np.degrees(row[best].joint_rad):.0f} deg", most,
        )  # fmt: skip

    @property
    def message(self) -> str:
        """The plan in a sentence."""
        stays = "; ".join(f"{stay.base.title}: {', '.join(stay.worksites)}" for stay in self.plan)
        lost = f"; from nowhere: {', '.join(self.unreached)}" if self.unreached else ""
        moves = max(len(self.plan) - 1, 0)
        return f"{moves} move{'s' if moves != 1 else ''} of the base for this order: {stays or 'no place'}{lost}"

    def as_dict(self) -> dict[str, Any]:
        """Return it for JSON; no station on a fixed mount."""
        return {
            "worksites": list(self.worksites),
            "bases": [{"mount": base.mount, "station_m": base.on_rail} for base in self.bases],
            "reached": [
                [{"good": one.good, "clearance_m": max(one.clearance_m, 0.0) if one.good else None,
                  "joint_rad": one.joint_rad if np.isfinite(one.joint_rad) else None, "why": one.why} for one in row]
                for row in self.reached
            ],
            "plan": [
                {"mount": stay.base.mount, "station_m": stay.base.on_rail, "worksites": list(stay.worksites)}
                for stay in self.plan
            ],
            "unreached": list(self.unreached),
        }  # fmt: skip


def _ranges(good: Sequence[Base], bases: Sequence[Base]) -> str:
    """Write neighbouring stations as ranges."""
    parts: list[list[int]] = []
    for base in good:
        k = bases.index(base)
        if parts and parts[-1][-1] == k - 1 and bases[k - 1].mount == base.mount:
            parts[-1].append(k)
        else:
            parts.append([k])
    words = []
    for part in parts:
        first, last = bases[part[0]], bases[part[-1]]
        words.append(first.title if first is last else f"{first.mount} {first.station_m:.2f} to {last.station_m:.2f} m")
    return ", ".join(words)


def station_map(
    scenario: Path, worksites: Sequence[str] = (), step_m: float = 0.5, tell: Callable[[str, float], None] | None = None
) -> StationMap:
    """Try every place of the base for worksites of a scenario's platform.

    The tool is brought to each worksite's stand with everything else where the scenario starts; the stations of a
    travelling mount are those that its carts leave free. The way in is flown too, with hands empty and
    full. Clearance is that of the arm; rider and load stand at a worksite alike from every base, so they say nothing
    of the base. The way to where one waits before it is judged by a rehearsal.

    Args:
        scenario: the script.
        worksites: names in the order they are visited; all of the platform when empty.
        step_m: distance of stations.
        tell: told what is being tried and the share done.

    Raises:
        InputError: a file is wrong, a worksite is not there, or the step is not positive.
    """
    if not step_m > 0:
        raise InputError("stations need a step of more than zero", found=f"{step_m:g} m", accepted="0.5 m")
    scene = build_scene(load_scenario(scenario))
    known = scene.loaded.platform.document.worksites
    for name in worksites:
        if name not in known:
            raise InputError(f"no worksite '{name}'", file=scenario, accepted=accepted(name, known, "worksite"))
    names = tuple(worksites) or tuple(known)
    bases = places_of_base(scene, step_m)
    columns: list[tuple[Reached, ...]] = []
    like: Trial | None = None
    for count, base in enumerate(bases):
        if tell is not None:
            tell(f"trying {base.title}", count / len(bases))
        trial = like = Trial(scene, base, like=like)
        columns.append(tuple(trial.reach(name) for name in names))
    reached = tuple(tuple(column[w] for column in columns) for w in range(len(names)))
    plan, lost = fewest_moves(names, bases, reached)
    return StationMap(names, bases, reached, plan, lost)


def places_of_base(scene: Scene, step_m: float, travels: Sequence[Travel] = ()) -> tuple[Base, ...]:
    """Return every mount, and stations of those that travel, where the carts leave them free.

    Args:
        travels: stretches that are free for the base of the script; left out, the one at the start.
    """
    found = []
    for name, mount in scene.loaded.platform.document.mounts.items():
        if mount.joint is None:
            found.append(Base(name, float("nan")))
            continue
        low, high = scene.tree.joint_limits[scene.tree.column(f"{PLATFORM}/{mount.joint}")]
        free = [(low, high)]
        if name == scene.loaded.scenario.base.mount:
            own = travels or (rail_at_start(scene.loaded, page_at_start(scene.loaded)).travel(),)
            free = [(travel.lower_m, travel.upper_m) for travel in own]
        inside = (np.arange(np.ceil(low / step_m), np.floor(high / step_m) + 1) * step_m for low, high in free)
        found += [Base(name, float(station)) for station in np.unique(np.concatenate([*free, *inside]))]
    return tuple(found)


def fewest_moves(
    worksites: Sequence[str], bases: Sequence[Base], reached: Sequence[Sequence[Reached]]
) -> tuple[tuple[Stay, ...], tuple[str, ...]]:
    """Return the fewest stays that do worksites in their order, and those that no base does.

    A stay goes on as long as one base does all its worksites, which is optimal for a fixed order; of the bases that
    do, the one with most clearance to spare at its tightest worksite is taken.
    """
    stays: list[Stay] = []
    lost: list[str] = []
    names: list[str] = []
    able: list[int] = []
    rows: list[Sequence[Reached]] = []

    def close() -> None:
        if names:
            best = max(able, key=lambda k: (min(r[k].clearance_m for r in rows), min(r[k].joint_rad for r in rows)))
            stays.append(Stay(bases[best], tuple(names)))
        names.clear()
        rows.clear()

    for name, row in zip(worksites, reached, strict=True):
        good = [k for k, one in enumerate(row) if one.good]
        if not good:
            lost.append(name)
            continue
        both = [k for k in able if k in good] if names else good
        if not both:
            close()
            both = good
        able[:] = both
        names.append(name)
        rows.append(row)
    close()
    return tuple(stays), tuple(lost)
