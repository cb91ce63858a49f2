"""Where places of a platform are, from its model alone."""

from __future__ import annotations

import numpy as np

from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.steps import AIRLOCK
from armcarry.geometry.model import Model


def spot(platform: PlatformDocument, model: Model, place: str) -> np.ndarray | None:
    """Return where a worksite, the airlock or a frame is (3,), all joints at 0; None where that is not known."""
    frame = platform.worksites[place].stand if place in platform.worksites else place.removeprefix("platform/")
    link = platform.airlock if place == AIRLOCK else frame
    if link not in model.links:
        return None
    joints, pose = {joint.child: joint for joint in model.joints}, np.eye(4)
    while link in joints:
        pose, link = joints[link].origin @ pose, joints[link].parent
    return np.asarray(pose[:3, 3])


def apart_m(here: np.ndarray | None, there: np.ndarray | None) -> float:
    """Return how far apart two places are, 0 where one is not known."""
    return 0.0 if here is None or there is None else float(np.linalg.norm(there - here))
