"""Whether what a run folder holds can be one run: asked once, after reading, so that nothing behind it need ask."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.record.finding import Finding, Verdict
from armcarry.record.pairs import PairTable
from armcarry.scene.tree import WORLD, Mounting, Tree

if TYPE_CHECKING:
    from armcarry.record.record import Curve, Phase, Record

#: a run lasts at most a week: what is drawn and sampled of it grows with it
LONGEST_S = 7 * 86400.0
#: a thing that hangs farther than this hangs nowhere; distances would lose their micrometres
FARTHEST_M = 1e6
#: how far a pose read back may be from a rotation, and two instants that should meet from each other
_CLOSE = 1e-6


def check_told(summary: Mapping[str, Any], findings: Sequence[Finding], written: Any) -> None:
    """Ask whether a summary tells of its findings what they say themselves. Raises ValueError if it does not."""
    _ask(isinstance(written, list), "findings.json is no list")
    counts = {str(v): sum(finding.verdict is v for finding in findings) for v in Verdict}
    _ask(summary.get("counts") == counts, "summary.json counts other verdicts than findings.json holds")
    _ask(summary.get("verdict") == str(overall(counts)), "summary.json tells another verdict than findings.json")


def overall(counts: Mapping[str, int]) -> Verdict:
    """Return the verdict of a run of which so many findings have each verdict."""
    return next((v for v in (Verdict.FAIL, Verdict.NOT_ASSESSED) if counts[str(v)]), Verdict.PASS)


def check_record(record: Record, findings: Sequence[Finding]) -> None:
    """Ask whether the parts of a record that was read back fit one another. Raises ValueError with what does not."""
    _motion(record.motion, record.scene.tree)
    _phases(record.phases, record.motion)
    end_s = record.motion.end_s
    for what, items in (("moves", record.moves), ("relaxed", record.relaxed)):
        for item in items:
            _ask(-_CLOSE <= item.start_s <= item.end_s <= end_s + _CLOSE, f"{what}: one outside the run")
    for event in record.events:
        _ask(-_CLOSE <= event.time_s <= end_s + _CLOSE, "events: one outside the run")
    _ask(all(abs(by_s) <= LONGEST_S for by_s in record.slip.values()), "slip: a step that takes longer than a week")
    if record.kept is not None:
        for what, entries in (("acts", record.kept.acts), ("violations", record.kept.violations)):
            for entry in entries:
                times = (entry.time_s, entry.start_s, entry.end_s)
                _ask(all(-_CLOSE <= t <= end_s + LONGEST_S for t in times), f"ledger.json: {what} outside the run")
    _pairs(record.table, {body.name for body in record.bodies}, end_s)
    for curve in record.curves:
        _curve(curve, end_s)
    _findings(findings, len(record.scene.arm_joints), end_s)


def check_pose(numbers: Any, what: str) -> Array:
    """Return 16 numbers as a rigid displacement (4, 4). Raises ValueError if they are none."""
    pose = np.asarray(numbers, dtype=float)
    _ask(pose.shape == (16,) and bool(np.all(np.abs(pose) < FARTHEST_M)), f"{what}: a pose that is not 16 numbers")
    pose = pose.reshape(4, 4)
    turn = pose[:3, :3]
    rigid = np.allclose(turn @ turn.T, np.eye(3), atol=_CLOSE) and np.linalg.det(turn) > 0
    _ask(bool(rigid and np.array_equal(pose[3], (0.0, 0.0, 0.0, 1.0))), f"{what}: a pose that is no rigid one")
    return pose


def check_hung(mountings: Sequence[Mounting]) -> Tree:
    """Return the tree of things that hang where they say. Raises ValueError where one hangs nowhere or in a circle."""
    parents = {m.instance: m.parent for m in mountings}
    links = {f"{m.instance}/{link}" for m in mountings for link in m.model.links}
    for instance, parent in parents.items():
        _ask(parent == WORLD or parent in links, f"{instance} hangs from '{parent}', which the scene does not have")
    for instance in parents:
        at, steps = instance, 0
        while parents[at] != WORLD:
            at, steps = parents[at].split("/", 1)[0], steps + 1
            _ask(steps <= len(parents), f"{instance} hangs from itself")
    return Tree(tuple(mountings))


def _ask(holds: bool, otherwise: str) -> None:
    if not holds:
        raise ValueError(otherwise)


def _motion(motion: Motion, tree: Tree) -> None:
    _ask(motion.joints == tree.joints, "the motion is of other joints than the scene has")
    _ask(motion.start_s == 0.0, "the motion does not begin at 0 s")
    _ask(motion.end_s <= LONGEST_S, f"a run of {motion.end_s:g} s, at most {LONGEST_S:g} s are read")
    _ask(bool(np.all(np.diff(motion.breaks_s) > 0.0)), "pieces of the motion that do not follow one another")
    _ask(bool(np.all(np.abs(motion.coefficients) < 1e12)), "coefficients of the motion that are too large")


def _phases(phases: Sequence[Phase], motion: Motion) -> None:
    _ask(len(phases) > 0, "it has no phases")
    ends = [phases[0].start_s, *(phase.end_s for phase in phases)]
    starts = [phase.start_s for phase in phases]
    _ask(bool(np.allclose(starts, ends[:-1], atol=_CLOSE) and np.all(np.diff(ends) >= 0.0)), "phases with gaps")
    _ask(abs(starts[0]) < _CLOSE and abs(ends[-1] - motion.end_s) < _CLOSE, "phases that do not cover the motion")


def _pairs(table: PairTable, bodies: set[str], end_s: float) -> None:
    for name in table.names:
        _ask(name in bodies, f"clearance.parquet names body '{name}', which the scene does not have")
    inside = (table.start_s >= -_CLOSE) & (table.start_s <= table.end_s) & (table.end_s <= end_s + _CLOSE)
    _ask(bool(inside.all()), "clearance.parquet: a row outside the run")
    _ask(bool(np.all(table.lower_m <= table.upper_m)), "clearance.parquet: a lower bound above the upper one")


def _curve(curve: Curve, end_s: float) -> None:
    name = f"clearance_curve.parquet: '{curve.group}'"
    times = curve.times_s
    _ask(len(curve.lower_m) > 0 and bool(np.all(np.diff(times) >= 0.0)), f"{name} has times that do not grow")
    _ask(times[0] >= -_CLOSE and times[-1] <= end_s + _CLOSE, f"{name} has times outside the run")
    _ask(bool(np.all(curve.lower_m <= curve.upper_m)), f"{name} has a lower bound above the upper one")


def _findings(findings: Iterable[Finding], joints: int, end_s: float) -> None:
    for finding in findings:
        times = (finding.start_s, finding.end_s) if finding.clearance is None else (finding.clearance.time_s,)
        _ask(all(abs(time_s) <= 2 * LONGEST_S for time_s in times), "findings.json: a time outside the run")
        _ask(finding.start_s <= finding.end_s + _CLOSE, "findings.json: an end before its start")
        for way in finding.ways:
            _ask(all(len(corner) == joints for corner in way.corners), "findings.json: a way of other joints")
