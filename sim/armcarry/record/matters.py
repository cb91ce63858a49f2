"""Which pair matters most, for every headline: what fails first, then the least share of what is required.

Pairs of the arm's own bodies stand apart, and so do bodies that keep one distance over the whole run, such as the arm's
foot and what it stands on: the carry does nothing to them, so that such a pair is the headline only while it fails, or
for a whole run in which nothing else is judged.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array

_ARM = "arm"


def own(class_a: str, class_b: str) -> bool:
    """Tell whether two classes make a pair of the arm with itself."""
    return class_a == class_b == _ARM


def share(lower_m: ArrayLike, required_m: ArrayLike) -> Array:
    """Return which share of what is required is proven to be kept: -inf in contact, inf where nothing is required."""
    lower, required = np.broadcast_arrays(np.asarray(lower_m, dtype=float), np.asarray(required_m, dtype=float))
    asked = required > 0.0
    nothing = np.where(lower < 0.0, -np.inf, np.inf)
    return np.where(asked, lower / np.where(asked, required, 1.0), nothing)


def weight(lower_m: ArrayLike, required_m: ArrayLike, apart: ArrayLike) -> Array:
    """Return the number by which pairs are ordered, the one that matters most first.

    Args:
        lower_m, required_m: proven distance and what is required of it.
        apart: whether it stands apart: of the arm with itself, or of bodies that never move against each other.

    Returns:
        The share; inf for a pair that is no headline.
    """
    found = share(lower_m, required_m)
    return np.where(np.asarray(apart, dtype=bool) & (found >= 1.0), np.inf, found)
