"""How a tank is used up over what its wearer does.

Everything is counted in seconds of light effort: a full tank holds as many as it lasts at that, and a second of heavy
effort takes more than one of them. So what is left reads as time whatever the tank holds.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

import numpy as np

from armcarry.geometry.poses import Array

#: (name of a step, start, end) of what somebody does, seconds
Span = tuple[str, float, float]


@dataclass(frozen=True)
class Drawn:
    """How fast a tank is used up, in seconds of light effort a second.

    Attributes:
        tank: its name; who: who wears it.
        keep_s: the reserve, seconds of light effort.
        rest, homeward: between steps, and on the way home by hand.
        by_step: during a step; a step that is missing counts as rest.
    """

    tank: str
    who: str
    keep_s: float
    rest: float
    homeward: float
    by_step: Mapping[str, float] = field(default_factory=dict)

    def rate(self, step: str) -> float:
        """Return how fast it is used up during a step."""
        return self.by_step.get(step, self.rest)

    def over(self, spans: Iterable[Span], until_s: float = 0.0) -> tuple[Array, Array]:
        """Return instants (N,) and what is used by then (N,); of two steps at once the faster, between steps at rest.

        The instants go from 0 to the last end, or to ``until_s`` where that is later.
        """
        spans = [span for span in spans if span[2] > span[1]]
        times = np.array(sorted({0.0, until_s, *(at for _, *ends in spans for at in ends)}))
        busy = np.zeros(len(times) - 1)
        for name, start_s, end_s in spans:
            during = (times[:-1] >= start_s) & (times[1:] <= end_s)
            busy[during] = np.maximum(busy[during], self.rate(name))
        fast = np.where(busy > 0.0, busy, self.rest)
        return times, np.concatenate([[0.0], np.cumsum(fast * np.diff(times))])

    def used_s(self, spans: Iterable[Span], until_s: float = 0.0) -> float:
        """Return what is used by the last instant of :meth:`over`."""
        return float(self.over(spans, until_s)[1][-1])
