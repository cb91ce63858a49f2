"""The visiting vehicle: docks by its nose ring, x along its own axis away from the platform, z up."""

from __future__ import annotations

import numpy as np
from writer import Robot, at, frustum

FIN_INNER_M = 1.9
FIN_OUTER_M = 4.6


def build() -> Robot:
    """Return the vehicle; its root is the ring that meets the platform's dock."""
    ship = Robot("visitor", "ring", 100.0)
    ship.cylinder("ring", "visitor_ring", 0.85, (0, 0, 0), (0.25, 0, 0), "vehicle_end")
    ship.fixed("hull", "ring", at(), 8200.0)
    ship.mesh("hull", "visitor_nose", frustum(0.8, 1.55, 1.1), at(0.25), "vehicle")
    ship.cylinder("hull", "visitor_cabin", 1.55, (1.35, 0, 0), (3.4, 0, 0), "vehicle")
    ship.cylinder("hull", "visitor_waist", 1.35, (3.4, 0, 0), (5.6, 0, 0), "vehicle_end")
    ship.mesh("hull", "visitor_tail", frustum(1.35, 0.75, 0.6), at(5.6), "vehicle")
    ship.mesh("hull", "visitor_bell", frustum(0.3, 0.55, 0.6), at(6.2), "vehicle_end")
    for k in range(4):
        turn = np.radians(45 + 90 * k)
        y, z = 1.42 * np.cos(turn), 1.42 * np.sin(turn)
        ship.box("hull", f"visitor_thruster_{k + 1}", (0.4, 0.3, 0.3), at(5.1, y, z, roll=45 + 90 * k), "vehicle_end")
    ship.fixed("fins", "hull", at(3.0), 160.0)
    for name, sign in (("up", 1), ("down", -1)):
        ship.capsule("fins", f"visitor_spar_{name}", 0.06, (0, 0, sign * 1.3), (0, 0, sign * FIN_INNER_M), "brace")
        for half, low in (("inner", FIN_INNER_M), ("outer", (FIN_INNER_M + FIN_OUTER_M) / 2 + 0.03)):
            size = (FIN_OUTER_M - FIN_INNER_M) / 2 - 0.03
            ship.box(
                "fins", f"visitor_fin_{name}_{half}", (1.9, 0.05, size), at(0, 0, sign * (low + size / 2)), "cell"
            )
    return ship
