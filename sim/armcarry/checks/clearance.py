"""Does anything come closer than the rules allow, at any instant?"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from armcarry.asked.pairs import neighbours
from armcarry.asked.requirement import NEIGHBOURS
from armcarry.quantities import clock
from armcarry.record.figures import at_least, down, near, reaches, up
from armcarry.record.finding import ClearanceDetail, Finding, Verdict
from armcarry.record.maker import Maker
from armcarry.record.pairs import STATUS, PairRow, PairTable
from armcarry.record.record import Record
from armcarry.scene.build import ARM
from armcarry.whatif.branches import other_branch

#: instants at which another branch of the arm is looked for, the worst gaps first: each takes a second
_BRANCHES = 3
#: what has this much to spare keeps what is required, however figures are rounded, m
_PLAINLY_M = 0.01
_CONTACT, _UNRESOLVED = STATUS.index("contact"), STATUS.index("unresolved")
_make = Maker("clearance")


def check(record: Record) -> tuple[Finding, ...]:
    """Fail each pair that is not proven to keep its required clearance; pass each two classes that do.

    Two classes without a rule are not assessed, but contact that is not declared fails between any two.
    """
    table, findings = record.table, list[Finding]()
    kinds = sorted(set(table.words))
    rank = np.array([kinds.index(word) for word in table.words], dtype=np.int64)
    both = np.sort(np.stack([rank[table.class_a], rank[table.class_b]], axis=1), axis=1)
    key = both[:, 0] * len(kinds) + both[:, 1]
    key[table.meant] = -1
    for group in np.unique(key[key >= 0]).tolist():
        first, second = (kinds[k] for k in divmod(group, len(kinds)))
        findings.extend(_judge_group((first, second), table, np.flatnonzero(key == group)))
    judged = _with_branches(record, sorted(findings, key=_beyond))
    return (*judged, *_neighbours(record), *_ignored(record), *_standing(record))


def too_near(rows: Iterable[PairRow]) -> tuple[Finding, ...]:
    """Return a finding for each row that comes too near, the worst first; what another branch would do is not asked."""
    return tuple(sorted((_failure(row) for row in rows if _broken(row)), key=_beyond))


def _neighbours(record: Record) -> list[Finding]:
    """Say what joints settle for every posture, and so is not judged again in the run."""
    found = neighbours(record.scene, record.scene.tree)
    names = [" and ".join(record.scene.tree.bodies[k].name for k in pair) for pair in found.pairs.tolist()]
    touching = [names[k] for k in np.flatnonzero(found.touch)]
    apart = [(float(found.least_m[k]), names[k]) for k in np.flatnonzero(found.settled & ~found.touch)]
    told = []
    if apart:
        least, nearest = min(apart)
        by = f"by {down(least, 'm')} at least"
        told.append(f"{len(apart)} pairs keep apart over all of its travel, the nearest {nearest} {by}")
    if touching:
        told.append(f"{len(touching)} touch wherever it stands, so that no motion brings them together: "
                    f"{'; '.join(touching)}")  # fmt: skip
    return [_make.passed(ARM, f"bodies of links that a joint joins: {'; '.join(told)}")] if told else []


def _ignored(record: Record) -> list[Finding]:
    """Say which bodies of the arm its document leaves unjudged: what was not looked at is no pass."""
    pairs = record.scene.loaded.arm.document.ignore_pairs
    if not pairs:
        return []
    told = "; ".join(f"{one} and {two}" for one, two in pairs)
    return [
        _make.not_assessed(
            ARM,
            f"the arm's document leaves {len(pairs)} pairs of its bodies unjudged, in every posture: {told}",
            "keep in ignore_pairs only what touches in every posture; the document's notes may say why",
        )
    ]


def _standing(record: Record) -> list[Finding]:
    """Say which joints of the arm no move moves, a gripper's above all: only where they stand is judged."""
    arm = record.scene.loaded.arm
    still = [joint for joint in arm.model.movable() if joint.name not in arm.document.joints]
    if not still:
        return []
    follows = [f"{joint.name} (which follows {joint.follows.joint})" for joint in still if joint.follows is not None]
    told = [*(joint.name for joint in still if joint.follows is None), *follows]
    return [
        _make.not_assessed(
            ARM,
            f"{len(still)} joints of the arm stand all through where home has them, and are judged there alone: "
            f"{', '.join(told)}",
            "set home of the arm to where they take most room, as a gripper does when it is open",
        )
    ]


def _with_branches(record: Record, findings: list[Finding]) -> tuple[Finding, ...]:
    """Say of the worst gaps beside the arm whether another branch of it has room, as computed for that instant."""
    known = {body.name for body in record.bodies}
    said: dict[float, str] = {}
    told = []
    for finding in findings:
        pair, instant = {finding.subject, finding.other}, finding.start_s
        if finding.verdict is not Verdict.FAIL or not pair <= known or not any(map(_of_the_arm, pair)):
            told.append(finding)
            continue
        if instant not in said and len(said) < _BRANCHES:
            joints = other_branch(record, instant)
            said[instant] = (
                f"; another branch, {joints}, holds the tool the same at {clock(instant)} and keeps every clearance"
                if joints else f"; no other branch of the arm that was tried has room at {clock(instant)}"
            )
        told.append(replace(finding, remedy=finding.remedy + said.get(instant, "")))
    return tuple(told)


def _of_the_arm(body: str) -> bool:
    return body.startswith(f"{ARM}/")


def _beyond(finding: Finding) -> float:
    """Return the key of order: contact first, then the least proven distance beyond what is required."""
    if finding.value is None or finding.limit is None:
        return float("-inf")
    return finding.value - finding.limit


def _judge_group(classes: tuple[str, str], table: PairTable, rows: np.ndarray) -> list[Finding]:
    near = table.rows(rows[_may_fail(table, rows)])
    unruled = rows[np.isnan(table.required_m[rows]) & (table.status[rows] != _CONTACT)]
    if len(unruled):
        nearest = table[int(unruled[np.lexsort((table.lower_m[unruled], table.upper_m[unruled]))[0]])]
        far = np.isinf(nearest.upper_m)  # never near enough to be measured
        apart = f"no nearer than {down(nearest.lower_m, 'm')}" if far else f"at {up(nearest.upper_m, 'm')}"
        return [
            *(_failure(row) for row in near if row.status == "contact"),
            _make.not_assessed(
                classes[0],
                f"no rule says how close {classes[0]} may come to {classes[1]}; {len(unruled)} pairs of bodies were "
                f"measured, the nearest {nearest.body_a} to {nearest.body_b} {apart}",
                f"add a rule between {classes[0]} and {classes[1]}",
                other=classes[1],
            ),
        ]
    failed = sorted((row for row in near if _broken(row)), key=lambda row: row.margin_m)
    left_open = [row for row in near if row.status == "unresolved" and not _broken(row)]
    if failed or left_open:
        return [*(_failure(row) for row in failed), *(_open(row) for row in left_open)]
    tightest = rows[np.lexsort((table.upper_m[rows], table.margin_m[rows]))[0]]
    return [_pass(table[int(tightest)], len(rows))]


def _may_fail(table: PairTable, rows: np.ndarray) -> np.ndarray:
    """Tell which rows (R,) are not plainly farther than is required, to be looked at one by one."""
    return np.asarray((table.status[rows] <= _UNRESOLVED) | ~(table.margin_m[rows] > _PLAINLY_M))


def _broken(row: PairRow) -> bool:
    """Tell whether a row comes too near: contact, or a lower bound below what is required.

    Where the proof was given up, only what was measured counts.
    """
    return row.status == "contact" or (row.required_m is not None and not reaches(_known_m(row), row.required_m))


def _open(row: PairRow) -> Finding:
    """Say of a row that nothing is proven of it, which is no pass."""
    return _make.not_assessed(
        row.body_a,
        f"{row.body_a} to {row.body_b}: the proof was given up between {clock(row.start_s)} and {clock(row.end_s)}, "
        f"for the motion is too fast for its clock; measured once, at {up(row.upper_m, 'm')}, and contact is not ruled "
        "out",
        "give the motion more time, or a clock that starts nearer to 0 s",
        other=row.body_b,
        at=(row.start_s, row.end_s),
    )


def _required_m(row: PairRow) -> float:
    return 0.0 if row.required_m is None else row.required_m


def _detail(row: PairRow) -> ClearanceDetail:
    return ClearanceDetail(row.lower_m, row.upper_m, _required_m(row), row.time_s, row.point_a, row.point_b)


def _failure(row: PairRow) -> Finding:
    place = f"{row.body_a} and {row.body_b}"
    if row.status != "contact" and row.required_m is not None:
        found = at_least(_known_m(row), row.required_m, "m")
        return _make.judged(
            found,
            row.body_a,
            f"{place} come within {found.said} at {clock(row.time_s)}; {found.asked} is required ({row.why})",
            other=row.body_b,
            at=row.time_s,
            remedy=_remedy(row),
            clearance=_detail(row),
        )
    asked = "no rule covers the two and no contact of theirs is declared"
    if row.required_m is not None:
        asked = f"{near(row.required_m, 'm')} is required ({row.why})"
    return _make.failed(
        row.body_a,
        f"{place} touch at {clock(row.time_s)}; {asked}",
        _remedy(row),
        other=row.body_b,
        at=row.time_s,
        limit=row.required_m,
        unit="m",
        clearance=_detail(row),
    )


def _known_m(row: PairRow) -> float:
    """Return the proven distance; what was measured where nothing is proven."""
    return row.upper_m if row.status == "unresolved" else row.lower_m


def _remedy(row: PairRow) -> str:
    other = row.body_b if row.class_a in ("arm", "rider", "hardware", "worker") else row.body_a
    kind = row.class_b if other == row.body_b else row.class_a
    if row.why == NEIGHBOURS:
        return (
            "keep the joint between the two away from where they meet, or, if they are meant to touch there, say so in "
            "ignore_pairs of the arm or as an intended contact"
        )
    if kind == "appendage":
        return f"stow the appendage that {other} belongs to, or lead the carry farther from it"
    if kind == "vehicle":
        return f"lead the carry farther from {other}, or make it while the vehicle is absent"
    if {row.class_a, row.class_b} == {"worker", "structure"}:
        return f"let the worker go another way, farther from {other}, or turn the body along it"
    return f"lead the carry farther from {other}: move the via point before it"


def _pass(row: PairRow, count: int) -> Finding:
    beyond = "farther than" if row.status == "farther" else "at least"
    relaxed = "" if row.why == "rule" else f" ({row.why})"
    found = at_least(row.lower_m, _required_m(row), "m")
    return _make.judged(
        found,
        row.body_a,
        f"{row.class_a} to {row.class_b}: {count} pairs; tightest {row.body_a} to {row.body_b}, {beyond} "
        f"{found.said} at {clock(row.time_s)}, {found.asked} required{relaxed}",
        other=row.body_b,
        at=row.time_s,
        clearance=_detail(row),
    )
