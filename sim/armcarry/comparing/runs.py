"""Two runs side by side, or a run and the log of what was flown: how far they are apart, and what it changes."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from armcarry.comparing.laid import Laid
from armcarry.comparing.nearer import GroupDifference, PairDifference, group_differences, pair_differences
from armcarry.comparing.steps import StepDifference, common_steps, lay_steps, step_differences
from armcarry.errors import RecordError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.merge import difference
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.limits import joint_rates

Align = Literal["steps", "start", "best"]
#: the tip is compared this often, s
TIP_STEP_S = 0.1
#: step of the search for the best alignment, s
_SEARCH_S = 0.5
_ROUNDING = 1e-9


@dataclass(frozen=True)
class JointDifference:
    """One joint of the arm; angles and rates in rad (m for a joint that slides), shares of what is allowed.

    ``deviation`` is the largest over all instants, not over samples; ``time_s`` is where it is, to a quarter of a
    piece of the motion. A margin below 0 is a stop that was passed, a share above 1 a rate limit that was passed.
    """

    joint: str
    turns: bool
    deviation: float
    time_s: float
    rms: float
    margin_first: float
    margin_second: float
    rate_share_first: float
    rate_share_second: float

    @property
    def stop_passed(self) -> bool:
        """Whether the second run goes beyond the joint's travel."""
        return self.margin_second < -_ROUNDING

    @property
    def rate_passed(self) -> bool:
        """Whether the second run is faster than its load allows."""
        return self.rate_share_second > 1 + 1e-6


@dataclass(frozen=True)
class TipDifference:
    """The arm's tip: largest distance and angle between the two, looked at every ``step_s``."""

    distance_m: float
    distance_time_s: float
    angle_rad: float
    angle_time_s: float
    rms_m: float
    step_s: float


@dataclass(frozen=True)
class Comparison:
    """What two runs differ in. Times are those of the first run.

    Attributes:
        align: how the second run's clock lies on the first's: step beside step, at the start, or where it fits best.
        shift_s: where it is shifted as a whole, the second run's time plus this is the first run's time.
        start_s, end_s: the time both have.
        joints, tip: deviations.
        pairs: pairs of bodies whose proven least distance differs, those that newly fail first.
        groups: where a class of pairs is certainly nearer in the second run.
        verdicts: check, subject, other -> verdict before and after, where they differ.
        steps: steps that differ.
        common_steps: how many steps both have; none where they are no two versions of one plan.
    """

    align: Align
    shift_s: float
    start_s: float
    end_s: float
    joints: tuple[JointDifference, ...]
    tip: TipDifference
    pairs: tuple[PairDifference, ...]
    groups: tuple[GroupDifference, ...]
    verdicts: tuple[tuple[str, str, str, str, str], ...] = ()
    steps: tuple[StepDifference, ...] = ()
    common_steps: int = 0

    @property
    def worse(self) -> bool:
        """Whether the second run fails anything that the first does not."""
        return (
            any(joint.stop_passed and joint.margin_first >= -_ROUNDING for joint in self.joints)
            or any(joint.rate_passed and joint.rate_share_first <= 1 + 1e-6 for joint in self.joints)
            or any(pair.newly_fails for pair in self.pairs)
            or any(after == Verdict.FAIL for *_, after in self.verdicts)
        )

    def as_dict(self) -> dict[str, Any]:
        """Return the form that --json prints; infinities become None."""
        plain = asdict(self)
        for joint, row in zip(self.joints, plain["joints"], strict=True):
            row |= {"stop_passed": joint.stop_passed, "rate_passed": joint.rate_passed}
        for pair, row in zip(self.pairs, plain["pairs"], strict=True):
            row |= {"newly_fails": pair.newly_fails}
        plain["worse"] = self.worse
        result: dict[str, Any] = _finite(plain)
        return result


def compare(
    first: Record,
    second: Record,
    *,
    align: Align = "steps",
    findings: tuple[Iterable[Finding], Iterable[Finding]] = ((), ()),
) -> Comparison:
    """Compare two runs of one arm.

    Args:
        first, second: the plan and what was flown, or any two runs.
        align: ``steps`` lays each move of the arm beside the same move, and the beginnings together where the two
            have none in common; ``start`` lays the beginnings together; ``best`` shifts the second in time until
            the joints deviate least (root mean square over the time both have, at least half of the shorter run).
        findings: what the checks found in each, to tell changed verdicts.

    Raises:
        RecordError: the runs are of arms with other joints.
    """
    if first.scene.arm_joints != second.scene.arm_joints:
        raise RecordError("the two runs are of different arms: their joints have other names")
    joints = first.scene.arm_joints
    laid = lay_steps(first, second) if align == "steps" else None
    align = align if laid is not None or align == "best" else "start"
    shift_s = _best_shift(first, second) if align == "best" else 0.0
    laid = laid or Laid.shifted(shift_s)
    findings = (tuple(findings[0]), tuple(findings[1]))
    moved, ours = laid.motion(_only(second.motion, joints)), _only(first.motion, joints)
    start_s, end_s = max(ours.start_s, moved.start_s), min(ours.end_s, moved.end_s)
    apart = difference(ours.between(start_s, end_s), moved.between(start_s, end_s))
    return Comparison(
        align, shift_s, start_s, end_s,
        _joints(first, second, apart),
        _tip(first, second, laid, start_s, end_s),
        pair_differences(first, second),
        group_differences(first, second, laid),
        _verdicts(*findings),
        step_differences(first, second, findings),
        common_steps(first, second),
    )  # fmt: skip


def _only(motion: Motion, joints: Sequence[str]) -> Motion:
    return Motion(tuple(joints), motion.breaks_s, motion.coefficients[:, :, motion.columns_of(joints)])


def _best_shift(first: Record, second: Record) -> float:
    """Return the shift with the least mean square of the joints' differences: a search by steps, then finer."""
    ours, theirs = (_only(record.motion, first.scene.arm_joints) for record in (first, second))
    longest = max(ours.end_s, theirs.end_s)
    least_overlap = 0.5 * min(ours.duration_s, theirs.duration_s)
    step = max(_SEARCH_S, longest / 4000)

    def cost(shift_s: float) -> float:
        start, end = max(0.0, shift_s), min(ours.end_s, theirs.end_s + shift_s)
        times = np.linspace(start, end, max(2, int((end - start) / step)))
        return float(np.mean((ours.at(times) - theirs.at(times - shift_s)) ** 2))

    shifts = np.arange(least_overlap - theirs.end_s, ours.end_s - least_overlap + step / 2, step)
    shifts = np.union1d(shifts, [0.0])
    here = float(shifts[int(np.argmin([cost(float(shift)) for shift in shifts]))])
    from scipy.optimize import minimize_scalar

    low, high = max(here - step, float(shifts[0])), min(here + step, float(shifts[-1]))
    if high <= low:
        return here
    finer = float(minimize_scalar(cost, bounds=(low, high), method="bounded", options={"xatol": 1e-4}).x)
    return finer if cost(finer) < cost(here) else here


def _joints(first: Record, second: Record, apart: Motion) -> tuple[JointDifference, ...]:
    low, high = apart.extremes()
    largest = np.maximum(-low, high)
    times = np.unique((apart.breaks_s[:-1, None] + np.diff(apart.breaks_s)[:, None] * np.linspace(0, 1, 5)).ravel())
    sampled = apart.at(times)
    weights = np.gradient(times) if len(times) > 1 else np.ones(1)
    rms = np.sqrt(np.average(sampled**2, axis=0, weights=weights))
    turns = first.scene.tree.revolute[first.scene.arm_columns]
    margins = [_margins(record) for record in (first, second)]
    shares = [_rate_shares(record) for record in (first, second)]
    return tuple(
        JointDifference(
            joint, bool(turns[k]), float(largest[k]), float(times[int(np.argmax(np.abs(sampled[:, k])))]),
            float(rms[k]), float(margins[0][k]), float(margins[1][k]), float(shares[0][k]), float(shares[1][k]),
        )
        for k, joint in enumerate(apart.joints)
    )


def _margins(record: Record) -> Array:
    """Return the least distance of each arm joint (n,) from the ends of its travel, exact; below 0 beyond them."""
    low, high = record.motion.extremes()
    columns = record.scene.arm_columns
    limits = record.scene.tree.joint_limits[columns]
    return np.asarray(np.minimum(low[columns] - limits[:, 0], limits[:, 1] - high[columns]))


def _rate_shares(record: Record) -> Array:
    """Return the largest share of its allowed rate of each arm joint (n,), exact."""
    columns = record.scene.arm_columns
    arm = record.scene.loaded.arm.document
    share = np.zeros(len(columns))
    for move in record.moves:
        if move.end_s > move.start_s:
            low, high = record.motion.between(move.start_s, move.end_s).extremes(1)
            fastest = np.maximum(-low, high)[columns]
            share = np.maximum(share, fastest / joint_rates(arm, arm.loads[move.load]))
    return share


def _tip(first: Record, second: Record, laid: Laid, start_s: float, end_s: float) -> TipDifference:
    times = np.linspace(start_s, end_s, max(2, int(np.ceil((end_s - start_s) / TIP_STEP_S)) + 1))
    ours = first.link_path(first.scene.arm_tip, times)
    theirs = second.link_path(second.scene.arm_tip, laid.to_second(times))
    distance = np.linalg.norm(theirs[:, :3, 3] - ours[:, :3, 3], axis=1)
    angle = np.linalg.norm(poses.rotation_vector(poses.inverse(ours) @ theirs), axis=-1)
    far, turned = int(np.argmax(distance)), int(np.argmax(angle))
    return TipDifference(
        float(distance[far]), float(times[far]), float(angle[turned]), float(times[turned]),
        float(np.sqrt(np.mean(distance**2))), float(times[1] - times[0]),
    )


def _verdicts(first: Iterable[Finding], second: Iterable[Finding]) -> tuple[tuple[str, str, str, str, str], ...]:
    """Return where the worst verdict of a check on a subject differs; 'none' where one has no such finding."""
    order = {Verdict.PASS: 0, Verdict.NOT_ASSESSED: 1, Verdict.FAIL: 2}
    worst: list[dict[tuple[str, str, str], Verdict]] = []
    for findings in (first, second):
        found: dict[tuple[str, str, str], Verdict] = {}
        for item in findings:
            key = (item.check, item.subject, item.other)
            found[key] = max(item.verdict, found.get(key, Verdict.PASS), key=order.__getitem__)
        worst.append(found)
    keys = sorted({*worst[0], *worst[1]})
    changed = [
        (*key, str(worst[0].get(key, "none")), str(worst[1].get(key, "none")))
        for key in keys
        if worst[0].get(key) != worst[1].get(key)
    ]
    # a pass that is told of another subject is no difference
    return tuple(row for row in changed if {row[3], row[4]} != {"none", "pass"})


def _finite(value: Any) -> Any:
    if isinstance(value, dict):
        return {key: _finite(item) for key, item in value.items()}
    if isinstance(value, (list, tuple)):
        return [_finite(item) for item in value]
    if isinstance(value, float) and not abs(value) < float("inf"):
        return None
    return value


__all__ = ["Align", "Comparison", "JointDifference", "TipDifference", "compare"]
