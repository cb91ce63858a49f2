"""Two motions over the same time brought to common pieces, exactly: joined joint by joint, or subtracted."""

from __future__ import annotations

from math import comb

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion


def combined(whole: Motion, part: Motion) -> Motion:
    """Return ``whole`` with the joints of ``part`` moving as ``part`` says; both over the same time.

    Pieces are cut where either has a break and re-expanded exactly.
    """
    breaks = np.union1d(whole.breaks_s, part.breaks_s)
    powers = max(whole.coefficients.shape[1], part.coefficients.shape[1])
    table = cut(whole, breaks, powers)
    table[:, :, whole.columns_of(part.joints)] = cut(part, breaks, powers)
    return Motion(whole.joints, breaks, table)


def cut(motion: Motion, breaks_s: Array, powers: int) -> Array:
    """Return the coefficients (K, powers, n) of a motion on finer pieces (Taylor shift of each)."""
    piece = np.searchsorted(motion.breaks_s[1:-1], breaks_s[:-1], side="right")
    shift = (breaks_s[:-1] - motion.breaks_s[piece])[:, None]
    source = motion.coefficients[piece]
    given = source.shape[1]
    table = np.zeros((len(piece), powers, source.shape[2]))
    for power in range(given):
        for above in range(power, given):
            table[:, power] += comb(above, power) * shift ** (above - power) * source[:, above]
    return table


def difference(first: Motion, second: Motion) -> Motion:
    """Return first - second, joint by joint; both have the same joints over the same time."""
    powers = max(first.coefficients.shape[1], second.coefficients.shape[1])
    breaks = np.union1d(first.breaks_s, second.breaks_s)
    return Motion(first.joints, breaks, cut(first, breaks, powers) - cut(second, breaks, powers))
