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
        arm = _read(arm)
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


def _read(arm: Path | str) -> Loaded[ArmDocument]:
    path = Path(arm) if Path(arm).suffix else find_model("arms", str(arm), Path("here.yaml"))
    file = open_model(read_source(path, ArmDocument))
    raise_all(check_model(file))
    return Loaded(file.document, file.model(), path)
