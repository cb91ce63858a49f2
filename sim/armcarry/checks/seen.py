"""Do cameras see the arm's tip, its riders and the gaps it passes through?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.quantities import clock
from armcarry.record.figures import at_least, down, near
from armcarry.record.finding import ClearanceDetail, Finding
from armcarry.record.maker import Maker
from armcarry.record.record import MoveSpan, PairRow, Record
from armcarry.scene.eyes import scene_cameras
from armcarry.seeing.gaps import CloseGap, Gaps, watched_gaps
from armcarry.seeing.sight import Sightings, sightings

_make = Maker("seen")


@dataclass(frozen=True)
class Watched:
    """What cameras see of one target in one move.

    Attributes:
        cameras: those proven to see it from beginning to end.
        pair: the two that fix it best, empty where no two see it at once: the greatest sum over time of the
            sine of the angle between their lines.
        crossing_rad: least angle between those two lines while both see it.
        pair_share: share of the move in which both are proven to see it.
        unseen_s: time in which no camera is proven to see it.
    """

    move: MoveSpan
    target: str
    cameras: tuple[str, ...]
    pair: tuple[str, ...]
    crossing_rad: float
    pair_share: float
    unseen_s: float


def watched(record: Record) -> tuple[Watched, ...]:
    """Return what cameras see of the tip and every rider, move by move."""
    found = sightings(record)
    moves = [move for move in record.moves if move.end_s > move.start_s]
    return tuple(
        _watched(found, move, k)
        for move in moves
        for k in range(len(found.targets))
        if found.there[found.within(move.start_s, move.end_s), k].any()
    )


def _watched(found: Sightings, move: MoveSpan, target: int) -> Watched:
    cells = found.within(move.start_s, move.end_s) & found.there[:, target]
    lasting, seen = found.lengths_s[cells], found.seen[cells][:, :, target]
    names = tuple(name for name, sees in zip(found.cameras, seen.all(axis=0), strict=True) if sees)
    angle = found.crossing_rad[cells][..., target]
    worth = np.einsum("c,cab->ab", lasting, np.sin(angle))
    pair: tuple[str, ...] = ()
    crossing = share = 0.0
    if worth.size and worth.max() > 0:
        a, b = np.unravel_index(int(worth.argmax()), worth.shape)
        both = seen[:, a] & seen[:, b]
        pair = (found.cameras[a], found.cameras[b])
        crossing, share = float(angle[both, a, b].min()), float(lasting[both].sum() / lasting.sum())
    unseen = float(lasting[~seen.any(axis=1)].sum())
    return Watched(move, found.targets[target], names, pair, crossing, share, unseen)


def check(record: Record) -> tuple[Finding, ...]:
    """Give a finding for the tip and every rider, and one for every gap that is too close while nobody sees it.

    That a camera sees tip or rider is proven at every instant; the rest counts as unseen. Where the rules add
    a distance to what no camera sees (``unseen_extra``), every gap between what the arm moves and anything
    else, if closer than its requirement and that distance, must be seen. A granted relaxation stands as it is.
    """
    off = scene_cameras(record.scene, off=True)
    if not sightings(record).cameras and off:
        names = ", ".join(camera.name for camera in off)
        message = f"every camera is out of service ({names}), so nobody sees tip, riders and gaps"
        return (_make.not_assessed("arm", message, "take one off the script's cameras_off"),)
    if not sightings(record).cameras:
        remedy = "name the cameras in the documents of platform, arm and crew"
        return (_make.not_assessed("arm", "neither platform, arm nor crew has a camera", remedy),)
    extra = record.scene.loaded.rules.unseen_extra
    targets = [_target(record, target, extra) for target in sightings(record).targets]
    return (*targets, *(_gaps(record, extra) if extra > 0 else ()))


def _target(record: Record, target: str, extra_m: float) -> Finding:
    found = sightings(record)
    unseen = found.unseen(target)
    dark = float(sum(end - start for start, end in unseen))
    moves = [item for item in watched(record) if item.target == target]
    if not unseen:
        message = f"at every instant a camera sees {target}{_least(moves)}"
        return _make.passed(target, message, at=(0.0, record.duration_s), value=dark, unit="s")
    start, end = max(unseen, key=lambda item: item[1] - item[0])
    move = record.move_at((start + end) / 2)
    message = (
        f"for {clock(dark)}{_in_parts(len(unseen))} no camera is proven to see {target}, longest from "
        f"{clock(start)} to {clock(end)}{f' in {move.title}' if move else ''}"
    )
    if extra_m > 0:
        message += f"; gaps that nobody sees must be {extra_m:g} m wider"
        return _make.passed(target, message, at=(start, end), value=dark, unit="s")
    message += "; the rules do not say what that asks for (unseen_extra)"
    remedy = f"turn or add a camera that sees {target} from {clock(start)} to {clock(end)}"
    return _make.not_assessed(target, message, remedy, at=(start, end), value=dark, unit="s")


def _in_parts(count: int) -> str:
    return f" in {count} stretches" if count > 1 else ""


def _least(moves: list[Watched]) -> str:
    """Say where two cameras fix a target worst, and which two do it there."""
    moves = [item for item in moves if item.move.kind not in ("attach", "detach")]
    if not moves:
        return ""
    worst = min(moves, key=lambda item: item.pair_share * float(np.sin(item.crossing_rad)))
    if not worst.pair:
        return f"; in {worst.move.title} never two at once"
    share = "" if worst.pair_share > 0.99 else f" in {near(worst.pair_share, '%')} of it"
    return (
        f"; the best pair fixes it least well in {worst.move.title}: {worst.pair[0]} with {worst.pair[1]}, lines "
        f"crossing at {down(worst.crossing_rad, 'rad', 0)} or more{share}"
    )


def _gaps(record: Record, extra_m: float) -> list[Finding]:
    gaps, found = Gaps(record), watched_gaps(record).close
    blind = [gap for gap in found if not gap.seen.all()]
    if blind:
        told = [_blind(gap, gaps, extra_m) for gap in blind]
        return sorted(told, key=lambda item: (item.value or 0) - (item.limit or 0))
    if found:
        words = (
            f"a camera sees every gap that is less than {extra_m:g} m wider than required, {len(found)} in all; the "
            f"tightest, {_watchers(found, gaps)}"
        )
    else:
        words = f"every gap is at least {extra_m:g} m wider than required, so none needs to be seen"
    return [_make.passed("gaps", words, limit=extra_m, unit="m")]


def _watchers(found: Sequence[CloseGap], gaps: Gaps) -> str:
    gap = min(found, key=lambda item: item.row.margin_m)
    k = int(np.argmin(gap.lower_m))
    names = gaps.seen_by(float(gap.time_s[k]), gap.middle_m[k])
    return f"{_pair(gap.row)} at {clock(float(gap.time_s[k]))} by {', '.join(names)}"


def _pair(row: PairRow) -> str:
    return f"{row.body_a} and {row.body_b}"


def _blind(gap: CloseGap, gaps: Gaps, extra_m: float) -> Finding:
    dark = np.flatnonzero(~gap.seen)
    k = dark[int(np.argmin(gap.lower_m[dark]))]
    row, when = gap.row, float(gap.time_s[k])
    required = (row.required_m or 0.0) + extra_m
    lower = max(row.lower_m, float(gap.lower_m[k]))
    lasting = float(np.sum(gap.end_s[dark] - gap.start_s[dark]))
    idle = gaps.would_see(when, gap.middle_m[k])
    camera = (
        f"bring back {' or '.join(idle)}, which would see it"
        if idle
        else f"turn or add a camera that sees between {row.body_a} and {row.body_b} at {clock(when)}"
    )
    wide = at_least(lower, required, "m")
    return _make.failed(
        row.body_a,
        f"{_pair(row)} come within {wide.said} at {clock(when)} where no camera sees the gap, for {clock(lasting)} in "
        f"all; {near(required - extra_m, 'm')} is required and {extra_m:g} m more where nobody sees",
        f"keep {wide.short} more apart there, or {camera}",
        other=row.body_b,
        at=(float(gap.start_s[dark[0]]), float(gap.end_s[dark[-1]])),
        value=lower,
        limit=required,
        unit="m",
        clearance=ClearanceDetail(lower, row.upper_m, required, when, row.point_a, row.point_b),
    )
