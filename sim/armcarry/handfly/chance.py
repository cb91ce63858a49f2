"""Faults to practise: on demand, or at random times; the same seed gives the same faults at the same times."""

from __future__ import annotations

import numpy as np

from armcarry.handfly.command import TICK_S
from armcarry.handfly.control import Fault, Pilot
from armcarry.scene.eyes import scene_cameras
from armcarry.scene.limits import runaway_rates

KINDS = ("runaway", "late", "camera")
#: between two random faults passes a time drawn evenly from this, s of flight
BETWEEN_S = (40.0, 240.0)
#: a late brake comes later by a time drawn evenly from this, s
LATE_S = (0.5, 2.0)


class Chance:
    """Draws faults."""

    def __init__(self, seed: int | None) -> None:
        """Args: seed, of the random faults; None for none unasked."""
        self._rng = np.random.default_rng(0 if seed is None else seed)
        self._asked = seed is not None
        self._next_s = float(self._rng.uniform(*BETWEEN_S))

    def due(self, pilot: Pilot) -> Fault | None:
        """Return the fault that begins at this tick, if any; while the brakes are asked for none begins."""
        if not self._asked or pilot.time_s < self._next_s or pilot.asked is not None:
            return None
        self._next_s = pilot.time_s + float(self._rng.uniform(*BETWEEN_S))
        return self.draw(pilot, str(self._rng.choice(KINDS)))

    def draw(self, pilot: Pilot, kind: str) -> Fault:
        """Return a fault of a kind, its joint, way, camera or lateness drawn.

        Raises:
            KeyError: there is no such kind.
        """
        if kind not in KINDS:
            raise KeyError(kind)
        if kind == "late":
            return Fault("late", pilot.tick, late_s=float(self._rng.uniform(*LATE_S)))
        if kind == "camera":
            names = [camera.name for camera in scene_cameras(pilot.scene)]
            return Fault("camera", pilot.tick, camera=str(self._rng.choice(names)) if names else "")
        joint = int(self._rng.integers(pilot.chain.size))
        sign = 1.0 if self._rng.random() < 0.5 else -1.0
        most = runaway_rates(pilot.scene.loaded.arm.document, pilot.load)
        return Fault("runaway", pilot.tick, joint, sign * float(most[joint]))


def seconds(fault: Fault, pilot: Pilot) -> float:
    """Return how long ago a fault began, s."""
    return (pilot.tick - fault.tick) * TICK_S
