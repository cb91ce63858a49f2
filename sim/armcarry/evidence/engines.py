"""Engines of others asked about the same things, where they are installed."""

from __future__ import annotations

from collections.abc import Iterator
from importlib.util import find_spec

import numpy as np

from armcarry.evidence.row import AGREES, DIFFERS, Kind, Row, compared, not_run
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.loaded import Loaded
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.motion.toolbox import toolbox
from armcarry.record.finding import Verdict
from armcarry.record.record import Record
from armcarry.scene.tree import Tree

KIND: Kind = "independent engine"
#: postures drawn over the travel of the arm
_POSTURES = 20


def engines(record: Record) -> Iterator[Row]:
    """Yield what other engines say of the arm of a run and of the run.

    Args:
        record: a run that was asked about with ``whatif.opinions.with_opinions``.
    """
    arm = record.scene.loaded.arm
    tree = Tree().place("arm", arm.model)
    q = _drawn(tree)
    yield _toolbox(arm, tree, q)
    yield _pinocchio(arm, tree, q)
    yield from _opinions(record)


def _drawn(tree: Tree) -> Array:
    low, high = np.where(np.isfinite(tree.joint_limits), tree.joint_limits, [-np.pi, np.pi]).T
    return np.asarray(np.random.default_rng(4).uniform(low, high, (_POSTURES, len(tree.joints))))


def _toolbox(arm: Loaded[ArmDocument], tree: Tree, q: Array) -> Row:
    name, source = f"tip of the arm in {_POSTURES} postures", "roboticstoolbox"
    if find_spec("roboticstoolbox") is None:
        return not_run(KIND, name, source, "roboticstoolbox is not installed here")
    robot, ours = toolbox(arm), forward(tree, q)
    base, tip = (ours[:, tree.index(f"arm/{link}")] for link in (arm.document.base, arm.document.tip))
    order = [tree.column(f"arm/{joint}") for joint in arm.document.joints]
    theirs = np.stack([robot.fkine(row[order]).A for row in q])
    return compared(KIND, name, source, float(np.abs(np.linalg.inv(base) @ tip - theirs).max()), 0.0, 1e-9, "m")


def _pinocchio(arm: Loaded[ArmDocument], tree: Tree, q: Array) -> Row:
    name, source = f"every frame of the arm in {_POSTURES} postures", "pinocchio"
    if find_spec("pinocchio") is None:
        return not_run(KIND, name, source, "pinocchio is not installed here")
    import pinocchio

    model = pinocchio.buildModelFromUrdf(str(arm.path.parent / arm.document.urdf))
    data, off, ours = model.createData(), 0.0, forward(tree, q)
    order = [tree.column(f"arm/{joint}") for joint in list(model.names)[1:]]
    for row, vector in enumerate(q):
        pinocchio.framesForwardKinematics(model, data, vector[order])
        for frame, placed in zip(model.frames, data.oMf, strict=True):
            if frame.type == pinocchio.FrameType.BODY:
                off = max(off, float(np.abs(ours[row, tree.index(f"arm/{frame.name}")] - placed.homogeneous).max()))
    return compared(KIND, name, source, off, 0.0, 1e-9, "m")


def _opinions(record: Record) -> Iterator[Row]:
    """Yield the findings of the check of second opinions as rows."""
    from armcarry.checks.second_opinion import check

    for finding in check(record):
        name = f"{finding.other or 'tightest pairs'} of {record.scene.loaded.scenario.title}"
        source = finding.subject
        if finding.verdict is Verdict.NOT_ASSESSED:
            yield not_run(KIND, name, source, finding.message)
        else:
            verdict = AGREES if finding.verdict is Verdict.PASS else DIFFERS
            yield Row(KIND, name, source, finding.message, "agreement within the engine's own band", verdict)

