"""Any arm of ours as a robot of roboticstoolbox, with the same kinematics."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from armcarry.errors import MotionError
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.loaded import Loaded
from armcarry.files.model_checks import check_model
from armcarry.files.model_files import open_model
from armcarry.files.places import find_model
from armcarry.files.validate import raise_all, read_source
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.redundancy import pose_error
from armcarry.motion.sweep import z_onto

if TYPE_CHECKING:
    from roboticstoolbox import Robot


def toolbox(arm: Loaded[ArmDocument] | Path | str) -> Robot:
    """Return the roboticstoolbox robot of an arm, from its base to its tip.

    Joints stand in the order of the arm's document, radians and metres, their travel as ``qlim``.

    Args:
        arm: ``"heron"``, the path of an arm's YAML, or an arm that was read, as ``record.scene.loaded.arm``.

    Raises:
        InputError: no such arm, or its files are wrong.
        MotionError: the tip does not hang from the base.
    """
    from roboticstoolbox import ET, ETS, Robot

    if not isinstance(arm, Loaded):
        arm = read_arm(arm)
    document, by_child = arm.document, {joint.child: joint for joint in arm.model.joints}
    way, link = [], document.tip
    while link != document.base:
        if link not in by_child:
            raise MotionError(f"link '{document.tip}' does not hang from '{document.base}'")
        way.append(by_child[link])
        link = by_child[link].parent
    steps = ETS()
    for joint in reversed(way):
        steps = steps * ET.SE3(joint.origin)
        if joint.kind == "fixed":
            continue
        turned = z_onto(joint.axis)
        make = ET.Rz if joint.kind == "revolute" else ET.tz
        limits = np.array([joint.lower, joint.upper])
        steps = steps * ET.SE3(turned) * make(qlim=limits) * ET.SE3(poses.inverse(turned))
    return Robot(steps, name=arm.model.name)


def taken(
    arm: Loaded[ArmDocument], T_base_point: Array, T_tip_point: Array, *, turned: bool = True, seeds: int = 100
) -> Array | None:
    """Ask roboticstoolbox's own solver for joint positions (n,), within their travel, that bring a point to a pose.

    Args:
        arm: an arm that was read.
        T_base_point: the pose wanted (4, 4), in the arm's base.
        T_tip_point: the point that is brought there (4, 4), at the arm's tip.
        turned: whether the orientation counts, not the position alone.
        seeds: how many joint positions to start from, the same each time.

    Returns:
        The first found, whose pose was checked to a micrometre and a microradian, or None.
    """
    from roboticstoolbox import ET

    steps = toolbox(arm).ets() * ET.SE3(T_tip_point)
    low, high = steps.qlim
    low, high = np.where(np.isfinite(low), low, -np.pi), np.where(np.isfinite(high), high, np.pi)
    mask = np.array([1.0, 1.0, 1.0, *([1.0 if turned else 0.0] * 3)])
    for q0 in np.random.default_rng(0).uniform(low, high, (seeds, len(low))):
        # its own draws obey no seed: one search from each of ours; its tolerance is on half the squared error
        found = steps.ik_LM(T_base_point, q0=q0, ilimit=100, slimit=1, tol=1e-14, mask=mask, joint_limits=True)
        left = pose_error(np.asarray(steps.eval(found.q)), T_base_point)
        if found.success and np.abs(left[: 6 if turned else 3]).max() < 1e-6:
            return np.asarray(found.q, dtype=float)
    return None


def read_arm(arm: Path | str) -> Loaded[ArmDocument]:
    """Read an arm by its name or the path of its document. Raises InputError."""
    path = Path(arm) if Path(arm).suffix else find_model("arms", str(arm), Path("here.yaml"))
    file = open_model(read_source(path, ArmDocument))
    raise_all(check_model(file))
    return Loaded(file.document, file.model(), path)
