"""Where places of a platform are, from its model alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.steps import AIRLOCK
from armcarry.geometry.model import Model


def spot(
    platform: PlatformDocument, model: Model, place: str, slid_m: Mapping[str, float] | None = None
) -> np.ndarray | None:
    """Return where a worksite, the airlock or a frame is (3,), joints at 0; None where that is not known.

    ``slid_m``: how far joints that slide have slid.
    """
    frame = platform.worksites[place].stand if place in platform.worksites else place.removeprefix("platform/")
    link = platform.airlock if place == AIRLOCK else frame
    if link not in model.links:
        return None
    joints, pose = {joint.child: joint for joint in model.joints}, np.eye(4)
    while link in joints:
        joint = joints[link]
        moved = np.eye(4)
        moved[:3, 3] = (slid_m or {}).get(joint.name, 0.0) * joint.axis
        pose, link = joint.origin @ moved @ pose, joint.parent
    return np.asarray(pose[:3, 3])


def apart_m(here: np.ndarray | None, there: np.ndarray | None) -> float:
    """Return how far apart two places are, 0 where one is not known."""
    return 0.0 if here is None or there is None else float(np.linalg.norm(there - here))
