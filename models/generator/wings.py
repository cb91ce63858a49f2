"""What turns on Tern Yard: two radiator wings that fold against the keel and a solar wing at the stern."""

from __future__ import annotations

import numpy as np
from writer import Robot, at

PANELS = 4
#: panel: along the keel, away from the hinge, thick
PANEL_M = (3.0, 2.3, 0.05)
#: a hinge's axis stands this far off the panels' middle plane, so that folded panels lie 0.2 m apart
FOLD_M = 0.1
HINGE_Y_M = 1.62
HINGE_Z_M = 0.75
RADIATORS = {"port": (9.375, 1), "star": (-5.625, -1)}
SOLAR_X_M = -26.0
#: half the chord of the solar wing, which tapers from root to tip
SOLAR_ROOT_HALF_M, SOLAR_TIP_HALF_M = 2.2, 1.3


def add_radiators(yard: Robot) -> None:
    """Add the wings; stowed they hang folded beside the keel, deployed they stand out level."""
    for side, (x, sign) in RADIATORS.items():
        name = f"radiator_{side}"
        yard.fixed(f"{name}_root", "yard", at(x, sign * HINGE_Y_M, HINGE_Z_M), 90.0)
        yard.box(f"{name}_root", f"{name}_beam", (3.2, 0.22, 0.16), at(0, -sign * 0.2, 0.1), "seat")
        for end, dx in (("stern", -1.4), ("bow", 1.4)):
            yard.capsule(
                f"{name}_root", f"{name}_bracket_{end}", 0.05, (dx, -sign * 0.3, 0.1), (dx, -sign * 0.52, 0.35), "seat"
            )
        parent, y, z = f"{name}_root", 0.0, 0.0
        for k in range(1, PANELS + 1):
            # seen along the hinge the panels go down, up, down, up; each hinge lies on the outer side of the last fold
            fold = 1 if k % 2 else -1
            travel = (0.0, 90.0) if k == 1 else ((-180.0, 0.0) if fold > 0 else (0.0, 180.0))
            travel = travel if sign > 0 else (-travel[1], -travel[0])
            yard.turning(f"{name}_hinge_{k}", f"{name}_panel_{k}", parent, at(0, y, z), (1, 0, 0), travel, 0.5, 40.0)
            offset = 0.0 if k == 1 else fold * sign * FOLD_M
            yard.box(
                f"{name}_panel_{k}", f"{name}_sheet_{k}", (PANEL_M[0], PANEL_M[2], PANEL_M[1] - 0.06),
                at(0, offset, -PANEL_M[1] / 2), "radiator" if k % 2 else "radiator_back",
            )
            parent = f"{name}_panel_{k}"
            y, z = offset + fold * sign * FOLD_M, -PANEL_M[1]


def stowed(side: str) -> dict[str, float]:
    """Return the joint angles in degrees that fold a wing."""
    sign = RADIATORS[side][1]
    return {
        f"radiator_{side}_hinge_{k}": 0.0 if k == 1 else sign * (180.0 if k % 2 == 0 else -180.0)
        for k in range(1, PANELS + 1)
    }


def deployed(side: str) -> dict[str, float]:
    """Return the joint angles in degrees that spread a wing."""
    sign = RADIATORS[side][1]
    return {f"radiator_{side}_hinge_{k}": sign * 90.0 if k == 1 else 0.0 for k in range(1, PANELS + 1)}


def add_solar_wing(yard: Robot) -> None:
    """Add the solar wing beyond the stern end: a boom out of the keel, a turning spar across, two blankets."""
    yard.fixed("solar_root", "yard", at(SOLAR_X_M, 0.0, 0.0), 400.0)
    yard.cylinder("solar_root", "solar_boom", 0.22, (3.4, 0, 0), (0.35, 0, 0), "longeron")
    yard.cylinder("solar_root", "solar_hub", 0.4, (0, -0.7, 0), (0, 0.7, 0), "collar")
    for name, y, z in (("port_top", 1, 1), ("star_top", -1, 1), ("star_low", -1, -1), ("port_low", 1, -1)):
        yard.capsule(
            "solar_root", f"solar_leg_{name}", 0.05, (3.5, y * 1.1, z * 1.1), (2.0, y * 0.2, z * 0.2), "brace"
        )
    yard.turning("solar_turn", "solar_spar", "solar_root", at(), (0, 1, 0), (-175.0, 175.0), 0.3, 1100.0)
    for side, sign in (("port", 1), ("star", -1)):
        yard.cylinder("solar_spar", f"solar_mast_{side}", 0.12, (0, sign * 0.7, 0), (0, sign * 14.0, 0), "longeron")
        for half, dx in (("fore", 1), ("aft", -1)):
            outline = ((0.2, 2.2), (SOLAR_ROOT_HALF_M, 2.2), (SOLAR_TIP_HALF_M, 13.8), (0.2, 13.8))
            corners = [(dx * x, sign * y, z) for x, y in outline for z in (-0.02, 0.02)]
            yard.mesh("solar_spar", f"solar_blanket_{side}_{half}", np.array(corners), at(), "cell")
        for end, y, half_m in (("root", 2.05, SOLAR_ROOT_HALF_M), ("tip", 13.95, SOLAR_TIP_HALF_M)):
            yard.box(
                "solar_spar", f"solar_bar_{side}_{end}", (2 * half_m + 0.1, 0.12, 0.12), at(0, sign * y, 0), "batten"
            )
