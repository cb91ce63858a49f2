"""Where everything on the arm would come to rest, if it were told to stop at the instant shown: a ghost, on demand."""

from __future__ import annotations

import numpy as np

from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.views.actors import SceneActors
from armcarry.views.ghosts import ghosts
from armcarry.views.player.layers import Layer
from armcarry.whatif.late_stop import stopped

#: what comes to rest nearer than this to where it is has no ghost, m
_SAME_M = 1e-3


def stop(record: Record, scene: SceneActors) -> Layer:
    """Return the ghost: every group of the scene that moves, as the bodies that are proven, where it would stand."""
    from vtkmodules.vtkCommonMath import vtkMatrix4x4

    layer = Layer()
    groups = [group for group in scene.groups if group.moves]
    matrices = [vtkMatrix4x4() for _ in groups]
    for group, matrix in zip(groups, matrices, strict=True):
        layer.solid += ghosts(record, group, np.eye(4), {}, matrix)
    links = [group.link for group in groups]

    def follow(time_s: float) -> None:
        if not links:
            return
        tree = record.phase_at(time_s).tree
        now, rest = (forward(tree, position, links) for position in (record.motion.at(time_s), stopped(record, time_s)))
        off_m = np.linalg.norm(rest[:, :3, 3] - now[:, :3, 3], axis=1) + np.abs(rest - now)[:, :3, :3].max(axis=(1, 2))
        for actor, matrix, pose, off in zip(layer.solid, matrices, rest, off_m, strict=True):
            actor.SetVisibility(bool(off > _SAME_M))
            matrix.DeepCopy(pose.ravel())

    layer.follow = follow
    return layer
