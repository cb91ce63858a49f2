"""How far beside its stated place the plate stands so that a rider's own hands meet the handhold of an item."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from armcarry.files.own_body import hands_over_boots
from armcarry.files.spell import Names
from armcarry.files.spots import place_of, pose_of
from armcarry.geometry import poses

#: hands that are off by less than this are meant to be: ways in end a little before what is bolted there, m
MEANT_M = 0.03
#: the plate is shifted in whole of these, m
STEP_M = 0.001


def meeting_shift(
    known: Names, who: str, what: str, seat: str, site: str, point: Sequence[float], slid_m: Mapping[str, float]
) -> tuple[float, float, float]:
    """Return the shift (3,) of the plate, in the axes of the stand, with which hands meet an item in its seat.

    Nothing where they do, as the way in is stated for somebody of that size and posture, or where it is not known.

    Args:
        known: names of the script.
        who: stands in the restraint.
        what: item with its base on the seat.
        seat, site: names of the seat and of the worksite that is come to.
        point: of the plate in the stand's frame, all the way in.
        slid_m: how far joints of the platform that slide have slid by then.
    """
    nothing = (0.0, 0.0, 0.0)
    script, file = known.source.document, known.files["hardware", what, "model"]
    if who not in script.crew:
        return nothing
    platform = known.files["platform",]
    stand = place_of(known.platform, platform.model(), site, slid_m)
    frame = place_of(known.platform, platform.model(), known.platform.seats[seat].frame, slid_m)
    base = pose_of(file.model(), file.document.base, file.document.rest)
    handhold = pose_of(file.model(), file.document.handhold, file.document.rest)
    hands = hands_over_boots(known.files["crew", who, "body"], script.crew[who])
    if stand is None or frame is None or base is None or handhold is None or hands is None:
        return nothing
    wanted = poses.inverse(stand) @ frame @ poses.inverse(base) @ handhold
    off = wanted[:3, 3] - hands[:3, 3] - np.asarray(point)
    if np.linalg.norm(off) <= MEANT_M:
        return nothing
    x, y, z = (np.round(off / STEP_M) * STEP_M).tolist()
    return x, y, z
