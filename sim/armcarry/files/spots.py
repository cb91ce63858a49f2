"""Where frames of a platform and of bodies are, from their models alone."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.steps import AIRLOCK
from armcarry.geometry import poses
from armcarry.geometry.model import Model
from armcarry.geometry.poses import Array


def pose_of(model: Model, link: str, values: Mapping[str, float] | None = None) -> Array | None:
    """Return T_root_link (4, 4) of a model, joints that are not named at 0; None where it has no such link."""
    if link not in model.links:
        return None
    joints, pose, at = {joint.child: joint for joint in model.joints}, poses.identity(), values or {}
    while link in joints:
        joint = joints[link]
        value = at.get(joint.name, 0.0)
        slides = joint.kind == "prismatic"
        moved = poses.translation(value * joint.axis) if slides else poses.rotation_about(joint.axis, value)
        pose, link = joint.origin @ moved @ pose, joint.parent
    return np.asarray(pose)


def place_of(
    platform: PlatformDocument, model: Model, place: str, slid_m: Mapping[str, float] | None = None
) -> Array | None:
    """Return T_platform_place (4, 4) of a worksite's stand, the airlock or a frame; None where that is not known.

    ``slid_m``: how far joints that slide have slid; all other joints are at 0.
    """
    frame = platform.worksites[place].stand if place in platform.worksites else place.removeprefix("platform/")
    link = platform.airlock if place == AIRLOCK else frame
    return None if link is None else pose_of(model, link, slid_m)


def spot(
    platform: PlatformDocument, model: Model, place: str, slid_m: Mapping[str, float] | None = None
) -> Array | None:
    """Return where a worksite, the airlock or a frame is (3,); None where that is not known."""
    pose = place_of(platform, model, place, slid_m)
    return None if pose is None else pose[:3, 3]


def apart_m(here: np.ndarray | None, there: np.ndarray | None) -> float:
    """Return how far apart two places are, 0 where one is not known."""
    return 0.0 if here is None or there is None else float(np.linalg.norm(there - here))
