"""The arm's limits by load class as arrays in the order of its joints."""

from __future__ import annotations

import numpy as np

from armcarry.files.documents.arm import ArmDocument, LoadClass
from armcarry.geometry.poses import Array


def _by_joint(arm: ArmDocument, table: dict[str, float]) -> Array:
    return np.array([table.get(joint, table.get("default", np.inf)) for joint in arm.joints])


def joint_rates(arm: ArmDocument, load: LoadClass) -> Array:
    """Return the largest rate of each joint (n,) with this load, rad/s or m/s."""
    return _by_joint(arm, load.joint_rate)


def joint_accelerations(arm: ArmDocument, load: LoadClass) -> Array:
    """Return the largest acceleration of each joint (n,) with this load, rad/s^2 or m/s^2."""
    return _by_joint(arm, load.joint_acceleration)


def brake_decelerations(arm: ArmDocument, load: LoadClass) -> Array:
    """Return the deceleration of each joint under its brake (n,) with this load, rad/s^2 or m/s^2."""
    return _by_joint(arm, load.brake_deceleration)


def runaway_rates(arm: ArmDocument, load: LoadClass, near: bool = False) -> Array:
    """Return the fastest each joint (n,) can run away with this load, rad/s or m/s, never less than commanded.

    Args:
        arm: its rates hold where the load class has none of its own.
        load: what the arm moves.
        near: inside the distance of structure at which the arm slows down.
    """
    table = load.runaway_rate or arm.runaway_rate or load.joint_rate
    share, slowed = (load.runaway_near, load.near_structure) if near else (1.0, 1.0)
    return np.maximum(share * _by_joint(arm, table), slowed * joint_rates(arm, load))
