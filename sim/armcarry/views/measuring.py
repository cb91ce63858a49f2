"""The distance between any two bodies, or any two things, now.

It is the distance of the bodies that were proven, by the same distance that the proof uses, with bounds: what is
drawn for people lies inside them.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array
from armcarry.record.figures import down, up
from armcarry.record.record import Record
from armcarry.scene.words import plain


@dataclass(frozen=True, eq=False)
class Measured:
    """The nearest two bodies of two things at an instant.

    Attributes:
        bodies: their full names.
        lower_m, upper_m: bounds of their distance; -inf and 0 in contact.
        point_a, point_b: (3,) their nearest points in the world.
    """

    bodies: tuple[str, str]
    lower_m: float
    upper_m: float
    point_a: Array
    point_b: Array

    @property
    def words(self) -> str:
        """The distance and between what, for people: never more than there is."""
        pair = " – ".join(map(plain, self.bodies))
        if self.lower_m == -np.inf:
            return f"contact: {pair}"
        return f"{down(self.lower_m, 'm')} to {up(self.upper_m, 'm')}: {pair}"


def measurable(record: Record) -> tuple[str, ...]:
    """Return the names of all that can be measured from: things first, then every body."""
    bodies = [body.name for body in record.bodies]
    return (*dict.fromkeys(name.split("/", 1)[0] for name in bodies), *bodies)


def measured(record: Record, one: str, other: str, time_s: float) -> Measured | None:
    """Measure between two of ``measurable`` at an instant; None where both are the same or one is not there."""
    left, right = ([k for k, body in enumerate(record.bodies) if body.name == name or body.name.startswith(f"{name}/")]
                   for name in (one, other))
    pairs = np.array([(a, b) for a in left for b in right if a != b], dtype=np.int64)
    if not len(pairs) or one == other:
        return None
    found = distances([body.shape for body in record.bodies], record.body_poses(time_s), pairs)
    k = int(np.lexsort((found.upper_m[0], found.lower_m[0]))[0])
    a, b = (record.bodies[row].name for row in pairs[k])
    return Measured((a, b), float(found.lower_m[0, k]), float(found.upper_m[0, k]), found.point_a[0, k],
                    found.point_b[0, k])
