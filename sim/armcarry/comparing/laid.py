"""The clock of a second run laid on that of the first: shifted as a whole, or step beside step."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.merge import cut

#: instants nearer than this are the same, s
_SAME_S = 1e-6
#: how long what takes no time in a run is taken to last in it, s
_MOMENT_S = 1e-3


@dataclass(frozen=True, eq=False)
class Laid:
    """Instants of the first run (K,) and those of the second (K,) that belong to them, both strictly increasing.

    Between two of them time runs evenly; before the first and after the last as fast as in the first run.
    """

    first_s: Array
    second_s: Array

    @staticmethod
    def shifted(by_s: float) -> Laid:
        """Return the second run's time plus ``by_s`` as the first's."""
        return Laid(np.array([by_s]), np.array([0.0]))

    @staticmethod
    def at(pairs: Iterable[tuple[float, float]]) -> Laid:
        """Return the clock laid at pairs of instants, first run's and second's; those out of order are left out.

        What takes time in one run and none in the other, a step that came in or is gone, gets a millisecond there.
        """
        kept: list[tuple[float, float]] = []
        for first, second in sorted(pairs):
            if not kept:
                kept.append((first, second))
                continue
            on, too = first - kept[-1][0], second - kept[-1][1]
            if max(on, too) <= _SAME_S or min(on, too) < -2 * _MOMENT_S:
                continue
            kept.append((kept[-1][0] + max(on, _MOMENT_S), kept[-1][1] + max(too, _MOMENT_S)))
        kept = kept or [(0.0, 0.0)]
        return Laid(np.array([pair[0] for pair in kept]), np.array([pair[1] for pair in kept]))

    def to_first(self, times_s: ArrayLike) -> Array:
        """Return the first run's times of times of the second."""
        return _between(np.asarray(times_s, dtype=float), self.second_s, self.first_s)

    def to_second(self, times_s: ArrayLike) -> Array:
        """Return the second run's times of times of the first."""
        return _between(np.asarray(times_s, dtype=float), self.first_s, self.second_s)

    def motion(self, motion: Motion) -> Motion:
        """Return the second run's motion on the first run's clock, exactly: each piece as long as it is there."""
        inside = self.second_s[(self.second_s > motion.start_s) & (self.second_s < motion.end_s)]
        breaks = np.union1d(motion.breaks_s, inside)
        powers = motion.coefficients.shape[1]
        table = cut(motion, breaks, powers)
        laid = self.to_first(breaks)
        pace = np.diff(breaks) / np.diff(laid)
        return Motion(motion.joints, laid, table * (pace[:, None] ** np.arange(powers))[:, :, None])


def _between(times_s: Array, known_s: Array, wanted_s: Array) -> Array:
    inner = np.interp(times_s, known_s, wanted_s)
    before, after = times_s - known_s[0], times_s - known_s[-1]
    return np.asarray(np.where(before < 0, wanted_s[0] + before, np.where(after > 0, wanted_s[-1] + after, inner)))
