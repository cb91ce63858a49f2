"""Say in a few words what a move does."""

from __future__ import annotations

from armcarry.files.documents.carries import Move
from armcarry.quantities import show
from armcarry.scene.build import Scene


def describe(scene: Scene, move: Move) -> str:
    """Say in a few words what a move does."""
    if move.to_worksite is not None:
        return f"to {scene.loaded.platform.document.worksites[move.to_worksite].title}"
    if move.to_pose is not None:
        return f"to a pose in {move.to_pose.frame}"
    if move.line is not None:
        return f"straight line in {move.line.frame}"
    if move.one_joint is not None:
        joint, value = next(iter(move.one_joint.items()))
        return f"{joint} alone to {show(value, 'angle', 1)}"
    if move.hold is not None:
        return f"hold {show(move.hold, 'time')}"
    if move.attach is not None:
        return f"attach {move.attach.what} to {move.attach.to}"
    if move.detach is not None:
        return f"leave {move.detach.what} at {move.detach.to}"
    if move.appendage is not None:
        name, state = next(iter(move.appendage.items()))
        return f"{name} to {state}"
    if move.posture is not None:
        return f"{move.posture.who} takes posture {move.posture.posture}"
    if move.via:
        return f"to joint angles past {len(move.via)} via point{'s' if len(move.via) > 1 else ''}"
    return "to joint angles"
