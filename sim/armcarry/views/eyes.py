"""The eyes a run can be watched through: the platform's cameras, and each crewmember's visor."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM

#: what is shown of a visor's view: a wide picture, narrower than what eyes see in all
_VISOR_VERTICAL_RAD = float(np.radians(64))
_WIDE = 16 / 9
#: what an eye sees is shown on demand as a pyramid so long
CONE_M = 5.0


@dataclass(frozen=True)
class Eye:
    """Something that looks along +x of a link, up is +z.

    Attributes:
        name: short and unique.
        title: for people.
        link: full name of the link it is fixed to.
        vertical_rad: vertical angle of view.
        aspect: width over height of its picture.
    """

    name: str
    title: str
    link: str
    vertical_rad: float
    aspect: float = _WIDE


def eyes(record: Record) -> tuple[Eye, ...]:
    """Return the crew's eyes, then the platform's cameras, heads at zero pan and tilt."""
    loaded = record.scene.loaded
    crew = [
        Eye(name, f"Eyes of {name}", f"{name}/{member.document.visor}", _VISOR_VERTICAL_RAD)
        for name, member in loaded.crew.items()
    ]
    cameras = [
        Eye(
            name, camera.title or name.replace("_", " "), f"{PLATFORM}/{camera.frame}", camera.vertical_view,
            float(np.tan(camera.horizontal_view / 2) / np.tan(camera.vertical_view / 2)),
        )
        for name, camera in loaded.platform.document.cameras.items()
    ]
    return (*crew, *cameras)
