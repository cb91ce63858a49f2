"""Handrails, cameras and the fixed mount of Tern Yard."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from keel import BAYS, HALF_M, MAST_TOP_M, MAST_X_M, STATIONS_M
from modules import AIRLOCK_RADIUS_M, AIRLOCK_X_M, AXIS_Z_M, DEN_X_M, DEN_Y_M, RADIUS_M
from writer import Robot, at, axes

Point = tuple[float, float, float]
#: handrails run this far off the keel's corners, along the diagonal
OFF_M = HALF_M + 0.22
_SHELL = RADIUS_M + 0.12


def _round(radius: float, degrees: float) -> tuple[float, float]:
    """Return y, z of a point about the modules' axis, degrees above level."""
    turn = np.radians(degrees)
    return float(radius * np.cos(turn)), float(AXIS_Z_M + radius * np.sin(turn))


def rails() -> dict[str, tuple[Point, Point]]:
    """Return every handrail, from end to end; ends that meet share a point, so that all hang together."""
    found: dict[str, tuple[Point, Point]] = {}
    for bay in range(1, BAYS + 1):
        x0, x1 = STATIONS_M[bay - 1], STATIONS_M[bay]
        found[f"keel_port_{bay}"] = ((x0, OFF_M, OFF_M), (x1, OFF_M, OFF_M))
        if 4 <= bay <= 11:
            found[f"keel_star_{bay}"] = ((x0, -OFF_M, OFF_M), (x1, -OFF_M, OFF_M))
    # down the port side between bays 6 and 7, across below, up the starboard side
    found["side_port"] = ((0.0, OFF_M, OFF_M), (0.0, OFF_M, -OFF_M))
    found["belly"] = ((0.0, OFF_M, -OFF_M), (0.0, -OFF_M, -OFF_M))
    found["side_star"] = ((0.0, -OFF_M, -OFF_M), (0.0, -OFF_M, OFF_M))
    y, z = _round(AIRLOCK_RADIUS_M + 0.12, 38)
    found["porch_strut"] = ((0.0, OFF_M, -OFF_M), (0.0, y, z))
    found["porch_rail"] = ((0.0, y, z), (AIRLOCK_X_M[0] - 0.25, y, z))
    found["porch_post"] = ((AIRLOCK_X_M[0] - 0.25, y, z), (AIRLOCK_X_M[0] - 0.25, 0.95, AXIS_Z_M - 0.6))
    found["airlock_1"] = ((0.0, y, z), (2.1, y, z))
    high, top = _round(_SHELL, 38)
    found["bridge"] = ((2.1, y, z), (4.0, high, top))
    found["hearth_1"] = ((4.0, high, top), (7.0, high, top))
    found["hearth_2"] = ((7.0, high, top), (10.0, high, top))
    found["bridge_loft"] = ((10.0, high, top), (12.9, high, top))
    found["loft_1"] = ((12.9, high, top), (16.0, high, top))
    found["loft_2"] = ((16.0, high, top), (19.0, high, top))
    # over hearth, between it and the keel, to den
    den_x = DEN_X_M + float(_SHELL * np.cos(np.radians(62)))
    den_z = float(AXIS_Z_M + _SHELL * np.sin(np.radians(62)))
    # two straight rails a quarter, so that none cuts into the barrel
    arch = [(7.0, *_round(_SHELL, angle)) for angle in (38, 64, 90, 116, 142)]
    for k, (start, end) in enumerate(pairwise(arch), start=1):
        found[f"crown_{k}"] = (start, end)
    found["den_step"] = (arch[-1], (den_x, DEN_Y_M[0] - 1.0, den_z))
    found["den_1"] = ((den_x, DEN_Y_M[0] - 1.0, den_z), (den_x, -6.5, den_z))
    found["den_2"] = ((den_x, -6.5, den_z), (den_x, DEN_Y_M[1] + 1.0, den_z))
    found["mast_foot_rail"] = ((MAST_X_M, OFF_M, OFF_M), (MAST_X_M + 0.3, 0.0, 1.9))
    found["mast_1"] = ((MAST_X_M + 0.3, 0.0, 1.9), (MAST_X_M + 0.3, 0.0, 4.6))
    found["mast_2"] = ((MAST_X_M + 0.3, 0.0, 4.6), (MAST_X_M + 0.3, 0.0, MAST_TOP_M - 0.6))
    return found


#: stand-offs: from a rail end on a line of rails towards the structure that holds it
def _standoffs() -> list[tuple[str, Point, Point]]:
    found: list[tuple[str, Point, Point]] = []
    for k, x in enumerate(STATIONS_M):
        found.append((f"keel_port_{k}", (x, OFF_M, OFF_M), (x, HALF_M, HALF_M)))
        if 3 <= k <= 11:
            found.append((f"keel_star_{k}", (x, -OFF_M, OFF_M), (x, -HALF_M, HALF_M)))
    for name, sign in (("port", 1), ("star", -1)):
        found.append((f"keel_low_{name}", (0.0, sign * OFF_M, -OFF_M), (0.0, sign * HALF_M, -HALF_M)))
    pairs = {
        "airlock_1": (AIRLOCK_RADIUS_M, (0.0, 2.1)), "hearth": (RADIUS_M, (4.0, 7.0, 10.0)),
        "loft": (RADIUS_M, (12.9, 16.0, 19.0)),
    }
    for name, (radius, places) in pairs.items():
        outer, inner = _round(radius + 0.12, 38), _round(radius - 0.02, 38)
        for k, x in enumerate(places, start=1):
            found.append((f"{name}_{k}", (x, *outer), (x, *inner)))
    for k, z in enumerate((1.9, 4.6, MAST_TOP_M - 0.6), start=1):
        found.append((f"mast_{k}", (MAST_X_M + 0.3, 0.0, z), (MAST_X_M + 0.05, 0.0, z)))
    for k, y in enumerate((DEN_Y_M[0] - 1.0, -6.5, DEN_Y_M[1] + 1.0), start=1):
        out, low = np.cos(np.radians(62)), np.sin(np.radians(62))
        a = (DEN_X_M + _SHELL * out, y, AXIS_Z_M + _SHELL * low)
        b = (DEN_X_M + (RADIUS_M - 0.02) * out, y, AXIS_Z_M + (RADIUS_M - 0.02) * low)
        found.append((f"den_{k}", a, b))
    return found


def add_rails(yard: Robot) -> None:
    """Add handrails, one capsule each, with their end frames, and the stand-offs that hold them."""
    yard.fixed("rails", "yard", at(), 160.0)
    for name, (start, end) in rails().items():
        yard.capsule("rails", f"rail_{name}", 0.019, start, end, "handrail")
        along = np.asarray(end) - np.asarray(start)
        x = along / np.linalg.norm(along)
        side = np.array([0.0, 0.0, 1.0]) if abs(x[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
        z = side - x * float(side @ x)
        for mark, point in (("from", start), ("to", end)):
            yard.frame_in_root(f"{name}_{mark}", axes(point, tuple(x), tuple(z / np.linalg.norm(z))))
    for name, outer, inner in _standoffs():
        yard.capsule("rails", f"standoff_{name}", 0.022, inner, outer, "rack")


#: camera -> place, point it looks at, title
CAMERAS: dict[str, tuple[Point, Point, str]] = {
    "bow_eye": ((22.3, 0.0, 1.9), (9.0, 3.5, 0.5), "bow end of the keel, looks astern"),
    "stern_eye": ((-22.2, 0.0, 1.9), (-12.0, 2.5, 0.5), "stern end of the keel, looks to the bow"),
    "bay_5_eye": ((-5.6, 1.35, -1.75), (3.0, 4.0, -0.5), "below bay 5 port, looks to the bow"),
    "loft_eye": ((19.3, 1.85, -2.6), (8.0, 4.5, 0.5), "bow end of loft, looks up and astern"),
    "hearth_eye": ((9.6, 1.95, -2.6), (2.0, 3.5, 0.0), "port shoulder of hearth, looks at bay 7"),
    "den_eye": ((7.0, -10.0, -1.55), (11.0, -2.0, 1.0), "far end of den, looks at the keel's starboard side"),
    "mast_eye": ((-18.45, -0.35, 5.4), (0.0, 1.5, 0.5), "half way up the mast, looks along the keel"),
}


def add_cameras(yard: Robot) -> None:
    """Add platform cameras: a box on a short post each; the frame looks along +x."""
    yard.fixed("eyes", "yard", at(), 42.0)
    posts = {
        "bow_eye": (22.3, 0.0, 1.1), "stern_eye": (-22.2, 0.0, 1.1), "bay_5_eye": (-5.6, 1.15, -1.15),
        "loft_eye": (18.9, 1.45, -2.75), "hearth_eye": (9.6, 1.45, -2.6), "den_eye": (7.0, -9.5, -2.0),
        "mast_eye": (-18.75, 0.0, 5.4),
    }
    for name, (place, goal, _) in CAMERAS.items():
        look = np.asarray(goal) - np.asarray(place)
        x = look / np.linalg.norm(look)
        z = np.array([0.0, 0.0, 1.0]) - x * x[2]
        frame = axes(place, tuple(x), tuple(z / np.linalg.norm(z)))
        yard.frame_in_root(name, frame)
        yard.box("eyes", f"{name}_body", (0.26, 0.16, 0.16), frame @ at(-0.14), "camera")
        yard.cylinder("eyes", f"{name}_lens", 0.06, tuple((frame @ at(-0.02))[:3, 3]), tuple(place), "lens")
        yard.capsule("eyes", f"{name}_post", 0.03, posts[name], tuple((frame @ at(-0.16))[:3, 3]), "rack")


def add_mount(yard: Robot) -> None:
    """Add the fixed mount on the keel's starboard side at bay 8."""
    yard.fixed("quay", "yard", axes((5.625, -HALF_M - 0.1, 0.2), BOW_X, (0, -1, 0)), 140.0)
    yard.box("quay", "quay_board", (1.6, 2.3, 0.08), at(0, -0.2, 0.0), "rack")
    yard.cylinder("quay", "quay_post", 0.42, (0, 0, 0.04), (0, 0, 0.4), "knuckle")
    yard.fixed("quay_mount", "quay", at(0, 0, 0.4))


BOW_X = (1.0, 0.0, 0.0)
