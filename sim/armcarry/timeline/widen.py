"""A motion of the arm as one of the whole joint vector."""

from __future__ import annotations

import numpy as np

from armcarry.errors import MotionError
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene


def widened(scene: Scene, arm: Motion, position: Array) -> Motion:
    """Return a motion (or path) of the arm's joints as one of the whole joint vector, all else standing still.

    Args:
        scene: which columns are the arm's.
        arm: polynomials of the arm's joints.
        position: where everything else stands (n,).
    """
    if arm.joints != scene.arm_joints:
        raise MotionError("the motion is not one of the arm's joints")
    table = np.zeros((*arm.coefficients.shape[:2], len(scene.tree.joints)))
    table[:, 0] = position
    table[:, :, scene.arm_columns] = arm.coefficients
    return Motion(scene.tree.joints, arm.breaks_s, table)
