"""The pressurised part of Tern Yard: three modules, the airlock and the struts that hold them to the keel."""

from __future__ import annotations

import numpy as np
from writer import Robot, at, axes, frustum

RADIUS_M = 2.0
#: height of the modules' axes below the keel's
AXIS_Z_M = -3.8
HEARTH_X_M = (3.0, 11.0)
LOFT_X_M = (11.9, 19.9)
DEN_X_M = 7.0
DEN_Y_M = (-2.7, -10.2)
CONE_M = 0.9
MOUTH_M = 1.05
AIRLOCK_RADIUS_M = 1.1
AIRLOCK_X_M = (-0.6, 2.3)
#: where the vehicle docks: middle of the ring, its axis to port
DOCK = (5.2, 2.75, AXIS_Z_M)


def _module(yard: Robot, name: str, start: np.ndarray, length: float) -> None:
    """Add a module from ``start``, whose x axis runs along it: a barrel between two cut cones."""
    yard.fixed(name, "yard", start, 9000.0)
    low = frustum(MOUTH_M, RADIUS_M, CONE_M)
    high = frustum(RADIUS_M, MOUTH_M, CONE_M)
    yard.mesh(name, f"{name}_cone_near", low, at(), "shell_end")
    yard.cylinder(name, f"{name}_barrel", RADIUS_M, (CONE_M, 0, 0), (length - CONE_M, 0, 0), "shell")
    yard.mesh(name, f"{name}_cone_far", high, at(length - CONE_M), "shell_end")


def add_modules(yard: Robot) -> None:
    """Add hearth and loft below the keel, den to starboard of hearth, collars between them, struts above."""
    _module(yard, "hearth", at(HEARTH_X_M[0], 0.0, AXIS_Z_M), HEARTH_X_M[1] - HEARTH_X_M[0])
    _module(yard, "loft", at(LOFT_X_M[0], 0.0, AXIS_Z_M), LOFT_X_M[1] - LOFT_X_M[0])
    _module(yard, "den", at(DEN_X_M, DEN_Y_M[0], AXIS_Z_M, yaw=-90.0), DEN_Y_M[0] - DEN_Y_M[1])
    yard.fixed("collars", "yard", at(), 900.0)
    collars = {
        "loft": ((HEARTH_X_M[1], 0, AXIS_Z_M), (LOFT_X_M[0], 0, AXIS_Z_M), 0.95),
        "den": ((DEN_X_M, -1.8, AXIS_Z_M), (DEN_X_M, DEN_Y_M[0], AXIS_Z_M), 0.95),
        "airlock": ((AIRLOCK_X_M[1], 0, AXIS_Z_M), (HEARTH_X_M[0], 0, AXIS_Z_M), 0.85),
        "dock": ((DOCK[0], 1.8, AXIS_Z_M), DOCK, 0.85),
        "bow": ((LOFT_X_M[1], 0, AXIS_Z_M), (LOFT_X_M[1] + 0.35, 0, AXIS_Z_M), 0.85),
    }
    for name, (start, end, radius) in collars.items():
        yard.cylinder("collars", f"collar_{name}", radius, start, end, "collar")
    yard.fixed("vehicle_dock", "yard", at(*DOCK, yaw=90.0))
    yard.fixed("struts", "yard", at(), 300.0)
    for module, (x0, x1) in (("hearth", (5.0, 9.0)), ("loft", (13.9, 17.9))):
        for k, x in enumerate((x0, x1), start=1):
            for side, sign in (("port", 1), ("star", -1)):
                ends = ((x, sign * 1.1, -1.1), (x, sign * 0.75, -1.98))
                yard.capsule("struts", f"strut_{module}_{side}_{k}", 0.06, *ends, "batten")
    yard.capsule("struts", "strut_porch", 0.05, (-0.25, 1.1, -1.1), (-0.25, 0.62, -2.84), "batten")


def add_airlock(yard: Robot) -> None:
    """Add the airlock astern of hearth; its hatch looks to the stern."""
    x0, x1 = AIRLOCK_X_M
    yard.fixed("airlock", "yard", at(0.0, 0.0, AXIS_Z_M), 1800.0)
    yard.cylinder("airlock", "airlock_barrel", AIRLOCK_RADIUS_M, (x0, 0, 0), (x1, 0, 0), "shell")
    yard.cylinder("airlock", "airlock_rim", 0.75, (x0 - 0.1, 0, 0), (x0, 0, 0), "collar")
    yard.cylinder("airlock", "airlock_hatch", 0.6, (x0 - 0.16, 0, 0), (x0 - 0.1, 0, 0), "hatch")
    # a worker comes out along +x of this frame, to the stern, head up
    yard.frame_in_root("hatch", axes((x0 - 0.16, 0.0, AXIS_Z_M), (-1, 0, 0), (0, 0, 1)))
    yard.box("airlock", "airlock_bottle_port", (1.2, 0.3, 0.3), at(0.9, 1.22, -0.35), "camera")
    yard.box("airlock", "airlock_bottle_star", (1.2, 0.3, 0.3), at(0.9, -1.22, -0.35), "camera")
