"""What follows from somebody's own body in the posture of the day: where the hands are, how far they reach."""

from __future__ import annotations

from typing import Any

import numpy as np

from armcarry.files.documents.bodies import CrewDocument
from armcarry.files.documents.scenario import CrewMember
from armcarry.files.model_files import ModelFile
from armcarry.files.spots import pose_of
from armcarry.geometry import poses
from armcarry.geometry.poses import Array


def hands_over_boots(file: ModelFile[Any], member: CrewMember) -> Array | None:
    """Return T_boots_hands (4, 4) of a crewmember in the scenario's posture; None where it is not known."""
    document: CrewDocument = file.document
    return _over_boots(file, member, document.hands)


def reach_m(file: ModelFile[Any], member: CrewMember) -> float:
    """Return how far from boots or gloves something may be that is beside somebody, as the ledger has it."""
    document: CrewDocument = file.document
    shoulders = [_over_boots(file, member, link) for link in document.shoulders]
    heights = [float(np.linalg.norm(pose[:3, 3])) for pose in shoulders if pose is not None]
    return float(np.mean(heights or [0.0])) + document.sizes[member.size].reach.one_hand


def _over_boots(file: ModelFile[Any], member: CrewMember, link: str) -> Array | None:
    document: CrewDocument = file.document
    posture, model = document.postures.get(member.posture), file.model("sizes", member.size, "urdf")
    boots, pose = pose_of(model, document.boots, posture), pose_of(model, link, posture)
    return None if posture is None or boots is None or pose is None else poses.inverse(boots) @ pose
