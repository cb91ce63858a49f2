"""Who rolls on the rail before whom in a day by intent: what needs a stretch waits for who leaves it."""

from __future__ import annotations

from dataclasses import dataclass, field

from armcarry.files.documents.platform import PlatformDocument

#: what stands buffer to buffer is not in the way; shorter than this is rounding, m
TOUCH_M = 1e-6


@dataclass
class RailOrder:
    """Keeps account of the stretches of rail that the base and the carts took up in steps so far.

    Attributes:
        base: mount of the arm.
    """

    platform: PlatformDocument
    base: str
    #: what rolled -> the steps in which it did, each with the stretch (low, high) that it took up from begin to end, m
    rolled: dict[str, list[tuple[str, float, float]]] = field(default_factory=dict)

    def waits_for(self, what: str, here_m: float, to_m: float) -> list[str]:
        """Return the last step of everything else that took up any of the stretch over which something rolls."""
        low, high = self._stretch(what, here_m, to_m)
        found = []
        for other, steps in self.rolled.items():
            met = [step for step, lower, upper in steps if lower < high - TOUCH_M and low < upper - TOUCH_M]
            found += met[-1:] if other != what else []
        return found

    def rolls(self, step: str, what: str, here_m: float, to_m: float) -> None:
        """Note that something rolls in a step."""
        self.rolled.setdefault(what, []).append((step, *self._stretch(what, here_m, to_m)))

    def _stretch(self, what: str, here_m: float, to_m: float) -> tuple[float, float]:
        known = self.platform.mounts.get(what) if what == self.base else self.platform.carts.get(what)
        half_m = 0.0 if known is None else known.half_length
        return min(here_m, to_m) - half_m, max(here_m, to_m) + half_m
