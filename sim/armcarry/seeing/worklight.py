"""Whether the sun lights what is worked on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.seeing.sight import Watch
from armcarry.seeing.sunlight import Sun, cut_s

#: light on work points is looked at this often, s
LOOK_STEP_S = 10.0
#: surfaces this near to a work point do not shade it: the point lies on them, m
_SURFACE_M = 0.05


@dataclass(frozen=True)
class WorkLight:
    """Light on one work point during a stay.

    Attributes:
        lit: share of the stay in which the sun lights it.
        shaded_by: the body that shades it most, empty if none.
    """

    point: str
    lit: float
    shaded_by: str


def light_on(sun: Sun, points: dict[str, str], start_s: float, end_s: float) -> tuple[WorkLight, ...]:
    """Return the light on work points, name -> link, over a stay, looked at every LOOK_STEP_S.

    A work point is lit where the sun stands before it (on the side of its +x axis) and nothing is between.
    """
    middles = np.array([(a + b) / 2 for a, b in cut_s(start_s, end_s, LOOK_STEP_S)])
    phases = [phase for phase in sun.record.phases if phase.end_s > phase.start_s]
    number = np.searchsorted([phase.start_s for phase in phases], middles, side="right") - 1
    found = []
    for name, link in points.items():
        lit, shade = 0, np.zeros(len(sun.record.bodies), dtype=np.int64)
        for k, phase in enumerate(phases):
            times = middles[number == k]
            if len(times):
                watch = Watch(sun.record, phase, ())
                pose = sun.record.link_path(link, times)
                nothing = np.zeros(len(watch.bodies), dtype=bool)
                blocked = sun.shaders(watch, times, pose[:, :3, 3], nothing, _SURFACE_M)
                before = np.einsum("ni,ni->n", pose[:, :3, 0], sun.sky.sun_direction(times)) > 0
                up = sun.up(times)
                lit += int(np.sum(before & up & ~blocked.any(axis=1)))
                shade += np.sum(blocked & (before & up)[:, None], axis=0)
        worst = int(shade.argmax())
        by = sun.record.bodies[worst].name if shade[worst] else ""
        found.append(WorkLight(name, lit / len(middles), by))
    return tuple(found)
