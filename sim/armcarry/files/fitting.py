"""Where the arm's bare tip goes so that the restraint, once it is on it, has its plate at a place."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from armcarry.files.documents.bodies import RestraintDocument
from armcarry.files.spots import pose_of
from armcarry.geometry import poses
from armcarry.geometry.model import Model
from armcarry.quantities import write

#: pose of the mount in the plate's frame, row by row
Bare = tuple[tuple[float, ...], ...]


def mount_in_plate(document: RestraintDocument, model: Model, settings: Mapping[str, float]) -> Bare:
    """Return T_plate_mount of a restraint with its adjustments at some angles, 0 where they are not named."""
    angles = {document.settings[name].joint: angle for name, angle in settings.items() if name in document.settings}
    plate, mount = pose_of(model, document.plate, angles), pose_of(model, document.mount, angles)
    pose = poses.identity() if plate is None or mount is None else poses.inverse(plate) @ mount
    return tuple(tuple(row) for row in pose.tolist())


def stood(point: Sequence[float], bare: Bare | None = None) -> dict[str, Any]:
    """Return where the plate stands at a point, or the bare tip where it stood there with the restraint on it."""
    if bare is None:
        return {"position": position(point)}
    pose = poses.translation(point) @ np.array(bare)
    turns = [write(round(angle, 9), "angle") for angle in poses.rpy(pose).tolist()]
    return {"position": position([round(value, 6) for value in pose[:3, 3].tolist()]), "rotation": turns}


def led(stand: str, point: Sequence[float], bare: Bare | None = None) -> dict[str, Any]:
    """Return a straight move of the plate, or of the bare tip as if the plate were on it, to a point at a stand."""
    return {"line": {"frame": f"platform/{stand}", "to": stood(point, bare)["position"]}}


def position(point: Sequence[float]) -> list[str]:
    """Return a position as it is written."""
    return [write(value, "length") for value in point]
