"""A plain run: the arm of ``rider_scene`` turns about its base's upright, or stands."""

import numpy as np
import pytest

from armcarry.motion.curve import Motion
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase


@pytest.fixture
def turning_record():
    """Build a record: the first joint turns at rate_rad_s for turning_s, then all stands for standing_s."""

    def build(scene, rate_rad_s=0.02, turning_s=40.0, standing_s=20.0, pairs=(), relaxed=()):
        table = np.zeros((2, 2, len(scene.position)))
        table[:, 0] = scene.position
        column = scene.tree.column("arm/j1")
        table[0, 1, column] = rate_rad_s
        table[1, 0, column] += rate_rad_s * turning_s
        end = turning_s + standing_s
        motion = Motion(scene.tree.joints, np.array([0.0, turning_s, end]), table)
        moves = (
            MoveSpan("round", 1, "swing", "to_joints", 0.0, turning_s, "rider"),
            MoveSpan("round", 2, "wait", "hold", turning_s, end, "rider"),
        )
        return Record(scene, (Phase(0.0, end, scene.tree),), motion, moves, pairs=pairs, relaxed=relaxed)

    return build
