"""Every pair of bodies that moves against another, over the whole run: proven bounds and curves.

A pair is measured phase by phase, with each phase cut where a relaxation begins or ends for it, so that a
smaller requirement holds only while it was granted. Windows with the same requirement are joined again.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np

from armcarry.clearance import clearance_curve, pairs_that_move, prove_clearance
from armcarry.record.record import Curve, PairRow
from armcarry.scene.build import Scene
from armcarry.scene.names import any_pair_matches, pair_matches
from armcarry.scene.rules import required_clearance_m
from armcarry.timeline.run import Phase, Relaxed, Run

Tell = Callable[[str, float], None]

#: cells of the clearance curve over a whole run
CELLS = 480
#: bodies of these classes carry no clearance of their own
UNJUDGED = ("inside",)


def prove_run(scene: Scene, run: Run, tell: Tell | None = None) -> tuple[tuple[PairRow, ...], tuple[Curve, ...]]:
    """Prove the clearance of every pair that moves against another over a run.

    Args:
        scene: rules and classes.
        run: phases and motion.
        tell: told what is being done and the share of the whole rehearsal.

    Returns:
        One row a pair and requirement, and a curve for each two classes that have a rule.
    """
    rows: list[PairRow] = []
    curves: dict[str, list[Curve]] = {}
    say = tell or (lambda words, share: None)
    for count, phase in enumerate(run.phases, start=1):
        say(f"proving clearances, {count} of {len(run.phases)}", 0.6 + 0.3 * count / len(run.phases))
        rows.extend(_phase_rows(scene, run, phase))
        for curve in _phase_curves(scene, run, phase):
            curves.setdefault(curve.group, []).append(curve)
    return _merged(rows), tuple(_joined(parts) for parts in curves.values())


# -- which pairs, and what is asked of them ---------------------------------------------------------------


def judged_pairs(scene: Scene, run: Run, phase: Phase) -> tuple[np.ndarray, np.ndarray]:
    """Return the pairs (P, 2) of body rows to measure in a phase, and those that are meant to touch (Q, 2).

    Left out: pairs without relative motion, bodies of links joined directly, pairs the arm's document
    ignores, bodies of one crewmember or one piece of hardware among themselves, and anyone inside.
    """
    tree = phase.tree
    classes = scene.body_classes(tree)
    moving = pairs_that_move(tree, run.motion.between(phase.start_s, phase.end_s))
    joined = {(tree.links[row], tree.links[parent]) for row, parent in enumerate(tree.parents) if parent >= 0}
    whole = {*scene.loaded.crew, *scene.loaded.hardware}
    ignored = [(f"arm/{a}", f"arm/{b}") for a, b in scene.loaded.arm.document.ignore_pairs]
    contacts = [contact.bodies for contact in scene.loaded.rules.intended_contact]
    kept: list[tuple[int, int]] = []
    intended: list[tuple[int, int]] = []
    for a, b in moving.tolist():
        one, two = tree.bodies[a], tree.bodies[b]
        if classes[a] in UNJUDGED or classes[b] in UNJUDGED:
            continue
        owner, other = one.name.split("/", 1)[0], two.name.split("/", 1)[0]
        if owner == other and (owner in whole or {(one.link, two.link), (two.link, one.link)} & joined):
            continue
        names = (one.name, two.name)
        if any_pair_matches(ignored, names):
            continue
        (intended if any_pair_matches(contacts, names) else kept).append((a, b))
    return np.array(kept, dtype=np.int64).reshape(-1, 2), np.array(intended, dtype=np.int64).reshape(-1, 2)


def _relaxed_groups(run: Run, phase: Phase, pairs: np.ndarray) -> dict[tuple[Relaxed, ...], np.ndarray]:
    """Group pairs by the relaxations that touch them in a phase."""
    active = [item for item in run.relaxed if item.start_s < phase.end_s and item.end_s > phase.start_s]
    groups: dict[tuple[Relaxed, ...], list[tuple[int, int]]] = defaultdict(list)
    for a, b in pairs.tolist():
        names = (phase.tree.bodies[a].name, phase.tree.bodies[b].name)
        found = tuple(item for item in active if pair_matches((item.pattern_a, item.pattern_b), names))
        groups[found].append((a, b))
    return {key: np.array(value) for key, value in groups.items()}


def _windows(phase: Phase, relaxed: tuple[Relaxed, ...]) -> list[tuple[float, float, Relaxed | None]]:
    """Cut a phase where relaxations begin and end; the smallest requirement counts where they overlap."""
    cuts = {phase.start_s, phase.end_s}
    for item in relaxed:
        cuts |= {min(max(time, phase.start_s), phase.end_s) for time in (item.start_s, item.end_s)}
    times = sorted(cuts)
    windows: list[tuple[float, float, Relaxed | None]] = []
    for start, end in pairwise(times):
        here = [item for item in relaxed if item.start_s <= start and item.end_s >= end]
        windows.append((start, end, min(here, key=lambda item: item.required_m, default=None)))
    return windows


# -- rows --------------------------------------------------------------------------------------------------


def _phase_rows(scene: Scene, run: Run, phase: Phase) -> list[PairRow]:
    pairs, intended = judged_pairs(scene, run, phase)
    classes = scene.body_classes(phase.tree)
    rows = [_intended_row(phase, classes, a, b) for a, b in intended.tolist()]
    for relaxed, members in _relaxed_groups(run, phase, pairs).items():
        for start, end, granted in _windows(phase, relaxed):
            rows.extend(_window_rows(scene, run, phase, members, start, end, granted))
    return rows


def _window_rows(
    scene: Scene, run: Run, phase: Phase, pairs: np.ndarray, start_s: float, end_s: float, granted: Relaxed | None
) -> list[PairRow]:
    rules = scene.loaded.rules
    classes = scene.body_classes(phase.tree)
    bounds = prove_clearance(
        phase.tree, run.motion, pairs, report_distance_m=rules.report_distance, start_s=start_s, end_s=end_s
    )
    rows = []
    for k, (a, b) in enumerate(pairs.tolist()):
        required = required_clearance_m(rules, classes[a], classes[b])
        why = "rule"
        if granted is not None and required is not None and granted.required_m < required:
            required, why = granted.required_m, granted.why
        rows.append(
            PairRow(
                phase.tree.bodies[a].name, phase.tree.bodies[b].name, classes[a], classes[b], start_s, end_s,
                required, why, bounds.status[k], float(bounds.lower_m[k]), float(bounds.upper_m[k]),
                float(bounds.time_s[k]), _point(bounds.point_a[k]), _point(bounds.point_b[k]),
            )
        )
    return rows


def _intended_row(phase: Phase, classes: tuple[str, ...], a: int, b: int) -> PairRow:
    nowhere = (0.0, 0.0, 0.0)
    return PairRow(
        phase.tree.bodies[a].name, phase.tree.bodies[b].name, classes[a], classes[b], phase.start_s, phase.end_s,
        None, "intended contact", "intended", 0.0, 0.0, phase.start_s, nowhere, nowhere,
    )


def _point(xyz: np.ndarray) -> tuple[float, float, float]:
    return (float(xyz[0]), float(xyz[1]), float(xyz[2]))


_WORSE = {"contact": 0, "proven": 1, "farther": 2, "intended": 3}


def _merged(rows: list[PairRow]) -> tuple[PairRow, ...]:
    """Join rows of one pair with one requirement: the least bounds, and the window from first to last."""
    by_key: dict[tuple[str, str, str, str, float | None, str], list[PairRow]] = defaultdict(list)
    for row in rows:
        by_key[(row.body_a, row.body_b, row.class_a, row.class_b, row.required_m, row.why)].append(row)
    merged = []
    for same in by_key.values():
        nearest = min(same, key=lambda row: (_WORSE[row.status], row.upper_m))
        merged.append(
            replace(
                nearest,
                start_s=min(row.start_s for row in same),
                end_s=max(row.end_s for row in same),
                lower_m=min(row.lower_m for row in same),
            )
        )
    return tuple(merged)


# -- curves ------------------------------------------------------------------------------------------------


def _phase_curves(scene: Scene, run: Run, phase: Phase) -> list[Curve]:
    """Return a curve for every two classes with a rule, relaxed pairs apart from the others."""
    pairs, _ = judged_pairs(scene, run, phase)
    classes = scene.body_classes(phase.tree)
    groups: dict[tuple[str, float], list[tuple[int, int]]] = defaultdict(list)
    for relaxed, members in _relaxed_groups(run, phase, pairs).items():
        for a, b in members.tolist():
            required = required_clearance_m(scene.loaded.rules, classes[a], classes[b])
            if required is None:
                continue
            name = " to ".join(sorted((classes[a], classes[b])))
            if relaxed:
                required = min(required, *(item.required_m for item in relaxed))
                name = f"{name}, relaxed to {required:g} m"
            groups[(name, required)].append((a, b))
    if not groups:
        return []
    every = np.concatenate([np.array(members) for members in groups.values()])
    number = np.concatenate([np.full(len(members), k) for k, members in enumerate(groups.values())])
    cells = max(8, round(CELLS * (phase.end_s - phase.start_s) / (run.motion.end_s - run.motion.start_s)))
    times, lower, upper = clearance_curve(
        phase.tree, run.motion, every, groups=number, cells=cells, start_s=phase.start_s, end_s=phase.end_s
    )
    return [Curve(name, required, times, lower[k], upper[k]) for k, (name, required) in enumerate(groups)]


def _joined(parts: list[Curve]) -> Curve:
    """Join the curves of one group over phases; a gap between phases is a cell without bodies (infinite)."""
    times, lower, upper = [parts[0].times_s], [parts[0].lower_m], [parts[0].upper_m]
    for before, part in pairwise(parts):
        if part.times_s[0] > before.times_s[-1]:
            times.append(part.times_s[:1])
            lower.append(np.array([np.inf]))
            upper.append(np.array([np.inf]))
        times.append(part.times_s[1:])
        lower.append(part.lower_m)
        upper.append(part.upper_m)
    return Curve(
        parts[0].group, min(part.required_m for part in parts), np.concatenate(times), np.concatenate(lower),
        np.concatenate(upper),
    )
