"""The keel truss of Tern Yard, its track with trolley and carts, and the mast."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from writer import Robot, at

BAYS = 12
BAY_M = 3.75
HALF_M = 1.1
#: x of the frames between bays: the keel runs from -22.5 m (stern) to 22.5 m (bow), 45 m in all
STATIONS_M = tuple(-BAYS * BAY_M / 2 + BAY_M * k for k in range(BAYS + 1))
#: corners in order about the keel: name, y, z
CORNERS = (
    ("port_top", HALF_M, HALF_M), ("star_top", -HALF_M, HALF_M),
    ("star_low", -HALF_M, -HALF_M), ("port_low", HALF_M, -HALF_M),
)
FACES = ("top", "star", "low", "port")

TRACK_Z_M = 1.32
#: height of the track's upper face, where trolley and carts sit
TRACK_TOP_M = TRACK_Z_M + 0.07
TRACK_FROM_M, TRACK_TO_M = -17.4, 19.2
TROLLEY_HALF_M = 0.9
CART_HALF_M = 0.65
TROLLEY_TOP_M = TRACK_TOP_M + 0.4
MAST_X_M = STATIONS_M[1]
MAST_TOP_M = 7.6


def bay_middle(bay: int) -> float:
    """Return x of the middle of bay 1..12."""
    return STATIONS_M[bay - 1] + BAY_M / 2


def add_keel(yard: Robot) -> None:
    """Add longerons, battens and braces, one body a member."""
    yard.fixed("keel", "yard", at(), 5200.0)
    for k, x in enumerate(STATIONS_M):
        for c, face in enumerate(FACES):
            (_, y0, z0), (_, y1, z1) = CORNERS[c], CORNERS[(c + 1) % 4]
            yard.capsule("keel", f"keel_frame_{k}_{face}", 0.045, (x, y0, z0), (x, y1, z1), "batten")
    for bay in range(1, BAYS + 1):
        x0, x1 = STATIONS_M[bay - 1], STATIONS_M[bay]
        for c, (name, y, z) in enumerate(CORNERS):
            yard.capsule("keel", f"keel_bay_{bay}_longeron_{name}", 0.06, (x0, y, z), (x1, y, z), "longeron")
            _, y1, z1 = CORNERS[(c + 1) % 4]
            ends = ((x0, y, z), (x1, y1, z1)) if bay % 2 else ((x1, y, z), (x0, y1, z1))
            yard.capsule("keel", f"keel_bay_{bay}_brace_{FACES[c]}", 0.035, *ends, "brace")


def add_track(yard: Robot) -> None:
    """Add the track on the keel's top face, the trolley and the two cart slides."""
    yard.fixed("track", "yard", at(), 900.0)
    pieces = np.linspace(TRACK_FROM_M, TRACK_TO_M, 5)
    for side, y in (("port", 0.45), ("star", -0.45)):
        for k, (x0, x1) in enumerate(pairwise(pieces), start=1):
            yard.box("track", f"track_{side}_{k}", (x1 - x0, 0.12, 0.14), at((x0 + x1) / 2, y, TRACK_Z_M), "track")
    for k, x in enumerate(STATIONS_M):
        if TRACK_FROM_M < x < TRACK_TO_M:
            yard.box("track", f"track_sleeper_{k}", (0.14, 1.1, 0.16), at(x, 0.0, 1.19), "batten")
    for name, x in (("stern", TRACK_FROM_M), ("bow", TRACK_TO_M)):
        yard.box("track", f"track_stop_{name}", (0.1, 1.1, 0.3), at(x, 0.0, TRACK_Z_M + 0.08), "track")
    for name, x in (("track_from", TRACK_FROM_M), ("track_to", TRACK_TO_M)):
        yard.frame_in_root(name, at(x, 0.0, TRACK_TOP_M))
    yard.turning(
        "trolley_slide", "trolley", "yard", at(0.0, 0.0, TRACK_TOP_M), (1, 0, 0),
        (TRACK_FROM_M + TROLLEY_HALF_M + 0.1, TRACK_TO_M - TROLLEY_HALF_M - 0.1), 0.025, 450.0, "prismatic",
    )
    yard.box("trolley", "trolley_bed", (2 * TROLLEY_HALF_M, 1.3, 0.22), at(0.0, 0.0, 0.13), "trolley")
    yard.cylinder("trolley", "trolley_post", 0.42, (0.0, 0.0, 0.24), (0.0, 0.0, 0.4), "knuckle")
    yard.fixed("trolley_mount", "trolley", at(0.0, 0.0, 0.4))
    for k in (1, 2):
        yard.turning(
            f"cart_{k}_slide", f"cart_{k}_place", "yard", at(0.0, 0.0, TRACK_TOP_M), (1, 0, 0),
            (TRACK_FROM_M + CART_HALF_M + 0.1, TRACK_TO_M - CART_HALF_M - 0.1), 0.1, 0.0, "prismatic",
        )
        # seats have +x out of the structure: the cart's base frame looks up, its z towards the stern
        yard.fixed(f"cart_{k}_seat", f"cart_{k}_place", at(0.0, 0.0, 0.0, pitch=-90.0))


def add_mast(yard: Robot) -> None:
    """Add the mast between bays 1 and 2 with the seat of the survey camera on its top."""
    yard.fixed("mast", "yard", at(MAST_X_M, 0.0, 0.0), 260.0)
    yard.cylinder("mast", "mast_foot", 0.28, (0, 0, 1.05), (0, 0, 1.5), "collar")
    yard.cylinder("mast", "mast_tube_low", 0.13, (0, 0, 1.5), (0, 0, 4.6), "longeron")
    yard.cylinder("mast", "mast_tube_high", 0.10, (0, 0, 4.6), (0, 0, MAST_TOP_M - 0.06), "longeron")
    for name, x, y in (("stern", -1.6, 0.0), ("port", 0.0, 1.1), ("star", 0.0, -1.1)):
        yard.capsule("mast", f"mast_stay_{name}", 0.03, (x, y, 1.1), (0, 0, 4.4), "brace")
    yard.cylinder("mast", "mast_head", 0.22, (0, 0, MAST_TOP_M - 0.06), (0, 0, MAST_TOP_M), "seat")
