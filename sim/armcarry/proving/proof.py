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

from armcarry.asked.pairs import judged_pairs, pairs_that_fit, resting_pairs, seating_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.clearance import clearance_curve, prove_clearance
from armcarry.record.record import Curve, PairRow
from armcarry.scene.build import Scene
from armcarry.scene.rules import required_clearance_m
from armcarry.timeline.run import Phase, Run

Tell = Callable[[str, float], None]

#: cells of the clearance curve over a whole run, at least, and the longest cell: a carry of a day stays readable
CELLS, CELL_S = 480, 5.0
#: why no distance is asked of hardware in its seat
RESTS = "it sits in its seat"
#: how exactly the curve is known
BAND_M = 0.02

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
        here = _phase_rows(scene, run, phase)
        rows.extend(here)
        for curve in _phase_curves(scene, run, phase, here):
            curves.setdefault(curve.group, []).append(curve)
    return _merged(rows), tuple(_joined(parts) for parts in curves.values())


# -- what is asked of them ---------------------------------------------------------------------------------


def relaxed_groups(run: Run, phase: Phase, pairs: np.ndarray) -> dict[tuple[Relaxed, ...], np.ndarray]:
    """Group pairs by the relaxations that touch them in a phase."""
    active = [item for item in run.relaxed if item.start_s < phase.end_s and item.end_s > phase.start_s]
    fits = [pairs_that_fit(phase.tree, (item.pattern_a, item.pattern_b), *pairs.T) for item in active]
    groups: dict[tuple[Relaxed, ...], np.ndarray] = {}
    for key in {tuple(row) for row in np.stack(fits, axis=1)} if fits else {()}:
        members = np.all(np.stack(fits, axis=1) == np.array(key), axis=1) if fits else np.ones(len(pairs), dtype=bool)
        groups[tuple(item for item, fit in zip(active, key, strict=True) if fit)] = pairs[members]
    return groups


def windows_of(phase: Phase, relaxed: tuple[Relaxed, ...]) -> list[tuple[float, float, Relaxed | None]]:
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
    pairs, intended = judged_pairs(scene, phase.tree, run.motion.between(phase.start_s, phase.end_s))
    classes = scene.body_classes(phase.tree)
    rows = [_intended_row(phase, classes, a, b) for a, b in intended.tolist()]
    for relaxed, members in relaxed_groups(run, phase, pairs).items():
        for start, end, granted in windows_of(phase, relaxed):
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
    # a pair so far apart that it was never measured has no instant and no points
    times = np.where(np.isnan(bounds.time_s), start_s, bounds.time_s)
    points = np.nan_to_num(np.stack([bounds.point_a, bounds.point_b]))
    columns = zip(
        pairs.tolist(), bounds.status.tolist(), bounds.lower_m.tolist(), bounds.upper_m.tolist(), times.tolist(),
        map(tuple, points[0].tolist()), map(tuple, points[1].tolist()), strict=True,
    )
    asked = _Asked(scene, granted)
    seating, resting = seating_pairs(scene, phase.tree, pairs), resting_pairs(scene, phase.tree, pairs)
    rows = []
    for seats, rests, ((a, b), status, lower, upper, time, point_a, point_b) in zip(
        seating.tolist(), resting.tolist(), columns, strict=True
    ):
        required, why = asked.of(classes[a], classes[b])
        if rests and required is not None and required > 0.0:
            required, why = 0.0, RESTS
        if seats and required == 0.0:
            required, status = None, "intended"
        rows.append(
            PairRow(
                phase.tree.bodies[a].name, phase.tree.bodies[b].name, classes[a], classes[b], start_s, end_s,
                required, why, status, lower, upper, time, point_a, point_b,
            )
        )
    return rows


class _Asked:
    """What is required between two classes in a window, looked up once."""

    def __init__(self, scene: Scene, granted: Relaxed | None) -> None:
        self.rules, self.granted = scene.loaded.rules, granted
        self.known: dict[tuple[str, str], tuple[float | None, str]] = {}

    def of(self, class_a: str, class_b: str) -> tuple[float | None, str]:
        """Return the required clearance in metres, None without a rule, and why it is that."""
        key = (class_a, class_b)
        if key not in self.known:
            required, why = required_clearance_m(self.rules, class_a, class_b), "rule"
            if self.granted is not None and required is not None and self.granted.required_m < required:
                required, why = self.granted.required_m, self.granted.why
            self.known[key] = (required, why)
        return self.known[key]


def _intended_row(phase: Phase, classes: tuple[str, ...], a: int, b: int) -> PairRow:
    nowhere = (0.0, 0.0, 0.0)
    return PairRow(
        phase.tree.bodies[a].name, phase.tree.bodies[b].name, classes[a], classes[b], phase.start_s, phase.end_s,
        None, "intended contact", "intended", 0.0, 0.0, phase.start_s, nowhere, nowhere,
    )


_WORSE = {"contact": 0, "unresolved": 1, "proven": 2, "farther": 3, "intended": 4}


def _merged(rows: list[PairRow]) -> tuple[PairRow, ...]:
    """Join rows of one pair with one requirement: the least bounds, and the window from first to last."""
    by_key: dict[tuple[str, str, str, str, float | None, str], list[PairRow]] = defaultdict(list)
    for row in rows:
        by_key[(row.body_a, row.body_b, row.class_a, row.class_b, row.required_m, row.why)].append(row)
    merged = []
    for same in by_key.values():
        if len(same) == 1:
            merged.extend(same)
            continue
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


def _phase_curves(scene: Scene, run: Run, phase: Phase, rows: list[PairRow]) -> list[Curve]:
    """Return a curve for every two classes with a rule, relaxed pairs apart from the others.

    A cell of hours holds much motion, so its own bound may lie under what the rows prove of the same pairs all
    through the phase: the larger of the two counts, else a plot would show a gap too small that is not.
    """
    pairs, _ = judged_pairs(scene, phase.tree, run.motion.between(phase.start_s, phase.end_s))
    classes = scene.body_classes(phase.tree)
    groups: dict[tuple[str, float], list[tuple[int, int]]] = defaultdict(list)
    for relaxed, members in relaxed_groups(run, phase, pairs).items():
        rests, seats = resting_pairs(scene, phase.tree, members), seating_pairs(scene, phase.tree, members)
        for (a, b), seat in zip(members[~rests].tolist(), seats[~rests].tolist(), strict=True):
            required = required_clearance_m(scene.loaded.rules, classes[a], classes[b])
            if required is None:
                continue
            name = " to ".join(sorted((classes[a], classes[b])))
            if relaxed:
                required = min(required, *(item.required_m for item in relaxed))
                name = f"{name}, relaxed to {required:g} m"
                if seat and required == 0.0:
                    continue  # it goes into its seat: contact is meant
            groups[(name, required)].append((a, b))
    if not groups:
        return []
    every = np.concatenate([np.array(members) for members in groups.values()])
    number = np.concatenate([np.full(len(members), k) for k, members in enumerate(groups.values())])
    lasts_s = phase.end_s - phase.start_s
    cells = max(8, round(lasts_s / min((run.motion.end_s - run.motion.start_s) / CELLS, CELL_S)))
    curve = clearance_curve(
        phase.tree, run.motion, every, groups=number, cells=cells, band_m=BAND_M,
        report_distance_m=scene.loaded.rules.report_distance, start_s=phase.start_s, end_s=phase.end_s,
    )  # fmt: skip
    proven = _proven(rows)
    bodies = phase.tree.bodies
    floors = [min(proven[bodies[a].name, bodies[b].name] for a, b in members) for members in groups.values()]
    return [
        Curve(name, required, curve.times_s, np.maximum(curve.lower_m[k], floors[k]), curve.upper_m[k])
        for k, (name, required) in enumerate(groups)
    ]


def _proven(rows: list[PairRow]) -> dict[tuple[str, str], float]:
    """Return what is proven of every pair over all its windows."""
    found: dict[tuple[str, str], float] = {}
    for row in rows:
        pair = (row.body_a, row.body_b)
        found[pair] = min(row.lower_m, found.get(pair, np.inf))
    return found


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
