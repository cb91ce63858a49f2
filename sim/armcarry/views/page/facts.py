"""What the page is told of a run, as plain values for JSON: captions, clearances, findings, cameras."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Shape, Sphere, bounding_radius_m
from armcarry.procedure.spoken import script
from armcarry.procedure.tasks import procedure
from armcarry.quantities import clock
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Curve, Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.bookmarks import FILE, FORMAT, LONGEST, MOST, Bookmark
from armcarry.views.closest import Track, asked, closest_track, kept, said
from armcarry.views.curves import thinned
from armcarry.views.daylight import daylight
from armcarry.views.eyes import CONE_M, eyes
from armcarry.views.folded import folded, people_in
from armcarry.views.groups import Group, rigid_groups
from armcarry.views.hooked import hands_table
from armcarry.views.idle import PASSES_S, idle_stretches
from armcarry.views.indoors import indoors
from armcarry.views.inset import middle_body, outlines
from armcarry.views.kept_out import OPACITY, drawn_rooms
from armcarry.views.lanes import day_lanes, run_lanes, step_starts
from armcarry.views.looks import bands
from armcarry.views.measuring import measurable
from armcarry.views.page.ghost import after, stops
from armcarry.views.plots import top_m
from armcarry.views.pointed import Gap, gap_at, gap_of, label_words, look_at, named, shown_first, standing, value_words
from armcarry.views.subtitles import on_the_clock
from armcarry.views.viewpoint import Viewpoint, about_gap, overview, screens, towards_gap, whole
from armcarry.views.way import way
from armcarry.views.words import CAUTION, counted, overall, verdict_word

_SPEEDS = (0.25, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300)
#: the fastest lets a run pass in no less than this, s
_PASSES_S = 20.0
_CURVE_CELLS = 1200
_TRACK_STEPS = 1500
_SUN_STEP_S = 30.0
#: so many findings that did not fail get a camera of their own, the tightest first; each that failed gets one, to a
#: number that nobody looks at one by one
_VIEWS, _FAILED_VIEWS = 16, 120


def page_facts(record: Record, findings: Sequence[Finding], marks: Sequence[Bookmark] = ()) -> dict[str, Any]:
    """Return everything the page shows but the scene itself; ``marks`` are the bookmarks kept of the run."""
    track, pairs = _track(record)
    loaded = record.scene.loaded
    curves = sorted(record.curves, key=_least_margin_m)
    folds = folded(findings)
    ordered = [findings[k] for fold in folds for k in fold.rows]
    seen, groups = _with_views(record, ordered), rigid_groups(record)
    cues = script(record, procedure(record, findings))
    said = on_the_clock(cues, record.motion.start_s, record.motion.end_s)
    return {
        "title": loaded.scenario.title,
        "counts": f"{palette.VERDICTS[overall(findings)][1]} {counted(findings)}", "verdict": str(overall(findings)),
        "caution": CAUTION,
        "start_s": record.motion.start_s,
        "end_s": record.motion.end_s,
        "report_m": loaded.rules.report_distance,
        "speeds": [speed for speed in _SPEEDS if speed <= max(60, record.duration_s / _PASSES_S)],
        "moves": [
            {"start": move.start_s, "end": move.end_s, "carry": plain(move.carry), "title": plain(move.title),
             "say": move.say}
            for move in record.moves
        ],
        # the subtitles: what is said of whatever is under way
        "doings": [{"start": each.start_s, "end": each.end_s, "words": each.words} for each in said],
        "hands": [] if (hands := hands_table(record)) is None else [list(hands.columns), *map(list, hands.rows)],
        "curves": [_curve(record, curve) for curve in curves],
        "track": track,
        "pairs": pairs,
        "findings": [_finding(record, finding, curves, k in seen, groups) for k, finding in enumerate(ordered)],
        "folds": [{"words": fold.words, "verdict": str(fold.verdict), "count": len(fold.rows)} for fold in folds],
        "tightest": _tightest(record),
        "cameras": [{"name": eye.name, "title": eye.title} for eye in eyes(record)],
        "follow": f"group {record.leaders[record.scene.tool(record.phases[0].tree)]}",
        "sun": _sun(record),
        "home": _view(overview(whole(record), 16 / 9)),
        "way": _way(record),
        "stops": stops(record, groups),
        "plan": [_rounded(outline.ravel(), 2) for outline in outlines(record)],
        "people": [
            {"name": name, "words": plain(name), "node": middle_body(record, name),
             "hue": bands(record, name).hue, "bands": bands(record, name).count}
            for name in loaded.crew
        ],
        "cone_m": CONE_M,
        "rooms": {
            "opacity": OPACITY,
            "each": [{"node": f"room {room.name}", "words": room.words, "on": [[*span] for span in room.on]}
                     for room in drawn_rooms(record)],
        },
        "indoors": {name: [[round(t, 2) for t in span] for span in spans] for name, spans in indoors(record).items()},
        "shapes": {body.name: _shape(body.shape) for body in record.bodies},
        "things": [{"name": name, "words": plain(name)} for name in measurable(record)],
        "bookmarks": {"form": FORMAT, "file": FILE, "most": MOST, "longest": LONGEST,
                      "marks": [mark.as_dict() for mark in marks]},
        **_lanes(record),
        "colours": colours(),
    }


def _shape(shape: Shape) -> dict[str, Any]:
    """Return a shape as the page measures it: exactly, its kind, sizes in metres, and its farthest point's distance."""
    match shape:
        case Sphere(radius):
            kind, size = "sphere", [radius]
        case Capsule(radius, length):
            kind, size = "capsule", [radius, length]
        case Cylinder(radius, length):
            kind, size = "cylinder", [radius, length]
        case Box(sides):
            kind, size = "box", [side / 2 for side in sides]
        case ConvexMesh(vertices):
            kind, size = "hull", np.round(np.ravel(vertices), 5).tolist()
    return {"kind": kind, "size": size, "far": round(bounding_radius_m(shape) + 5e-5, 4)}


def _way(record: Record) -> dict[str, Any]:
    planned = way(record)
    return {
        "points": _rounded(planned.points_m.ravel(), 2), "kept": planned.kept.tolist(),
        "times": _rounded(planned.times_s, 1),
        "places": [{"words": words, "at": _rounded(point, 2)} for words, point in planned.places],
    }


def _lanes(record: Record) -> dict[str, Any]:
    """Return who does what when, and the instants at which something begins."""
    found = day_lanes(record) or run_lanes(record)
    return {
        "lanes": [
            {"name": lane.name, "bars": [
                {"start": bar.start_s, "end": bar.end_s, "words": bar.words, "kind": bar.kind} for bar in lane.bars
            ]}
            for lane in found.lanes
        ],
        "steps": np.unique(np.round(step_starts(record), 1)).tolist(),
        "idle": [[round(end, 2) for end in stretch] for stretch in idle_stretches(record)], "idle_passes": PASSES_S,
    }


def colours() -> dict[str, str]:
    """Return the colours of the page by role."""
    return {
        "room": palette.ROOM, "panel": palette.PANEL, "light": palette.LIGHT, "faint": palette.FAINT_LIGHT,
        "rule": "#3A434E", "band": palette.SKY_BLUE, "sky": palette.SKY_BLUE, "orange": palette.ORANGE,
        "near": palette.YELLOW,
        "fail": palette.VERMILLION, "pass": palette.BLUISH_GREEN, "one": palette.LIGHT, "other": palette.LIGHT,
    }


def _sun(record: Record) -> dict[str, Any] | None:
    """Return where the sun stands every minute and how much of it shows, and where the Earth is; None without a sky."""
    start, end = record.motion.start_s, record.motion.end_s
    times = np.linspace(start, end, max(int(np.ceil((end - start) / _SUN_STEP_S)), 1) + 1)
    lights = [daylight(record, float(time_s)) for time_s in times]
    found = [light for light in lights if light is not None]
    if not found:
        return None
    return {
        "times": _rounded(times, 1), "way": _rounded(np.concatenate([light.sun for light in found]), 4),
        "share": _rounded(np.array([light.share for light in found]), 3), "earth": _rounded(found[0].earth, 4),
        "away": round(found[0].away, 4),
    }


def _least_margin_m(curve: Curve) -> float:
    return float(np.min(curve.lower_m, initial=np.inf)) - curve.required_m


def _with_views(record: Record, findings: Sequence[Finding]) -> set[int]:
    """Return which findings get a camera of their own."""
    order = sorted(range(len(findings)), key=lambda k: shown_first(record, findings[k]))
    failed = [k for k in order if findings[k].verdict is Verdict.FAIL]
    others = [k for k in order if findings[k].verdict is not Verdict.FAIL and gap_of(record, findings[k]) is not None]
    return {*failed[:_FAILED_VIEWS], *others[:_VIEWS]}


def _curve(record: Record, curve: Curve) -> dict[str, Any]:
    short, report_m = thinned(curve, _CURVE_CELLS), record.scene.loaded.rules.report_distance
    row = record.least_of(curve)
    return {
        "group": curve.group, "required": curve.required_m, "top": top_m(curve, report_m),
        "least": "" if row is None else f"{said(row, row.lower_m)} at {clock(row.time_s)}",
        "times": _rounded(short.times_s, 2),
        # below 0 in contact, None where no pair of the group is there; an upper None is beyond the axis
        "lower": _rounded(np.maximum(short.lower_m, -1.0)), "upper": _rounded(np.maximum(short.upper_m, 0.0)),
    }


def _track(record: Record) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    start, end = record.motion.start_s, record.motion.end_s
    times = np.union1d(np.linspace(start, end, _TRACK_STEPS), [row.time_s for row in (record.tightest,) if row])
    track = closest_track(record, times)
    used, row = np.unique(track.row[track.row >= 0], return_inverse=True)
    compact = np.full(len(times), -1)
    compact[track.row >= 0] = row
    table = {
        "times": _rounded(times, 3), "row": compact.tolist(), **_told(record, track),
        "a": _rounded(np.nan_to_num(track.point_a).ravel()), "b": _rounded(np.nan_to_num(track.point_b).ravel()),
    }
    return table, [_pair(row.body_a, row.body_b) for row in (record.pairs[k] for k in used)]


def _told(record: Record, track: Track) -> dict[str, list[Any]]:
    """Return the words for the closest pair of each instant, and where it is less than required."""
    rows = [None if k < 0 else record.pairs[k] for k in track.row]
    values = [float(value) for value in track.lower_m]
    return {
        "words": ["" if row is None else said(row, value) for row, value in zip(rows, values, strict=True)],
        "needed": ["" if row is None else asked(row, value) for row, value in zip(rows, values, strict=True)],
        "short": [int(row is not None and not kept(row, value)) for row, value in zip(rows, values, strict=True)],
    }


def _pair(a: str, b: str) -> dict[str, Any]:
    return {"a": a, "b": b, "a_words": plain(a), "b_words": plain(b)}


def _gap(gap: Gap) -> dict[str, Any]:
    """Return two bodies and their nearest points; what is said of them stands beside it."""
    return {
        "pair": _pair(*gap.bodies), "value": _rounded(np.array([gap.lower_m]))[0],
        "a": [round(v, 4) for v in gap.point_a], "b": [round(v, 4) for v in gap.point_b],
    }


def _tightest(record: Record) -> dict[str, Any] | None:
    row = record.tightest
    if row is None or row.status == "farther":
        return None
    view = towards_gap(record, row.time_s, (row.body_a, row.body_b), row.point_a, row.point_b)
    verdict = Verdict.PASS if kept(row, row.lower_m) else Verdict.FAIL
    value, needed = f"{palette.VERDICTS[verdict][1]} {said(row, row.lower_m)}", asked(row, row.lower_m)
    return {
        "time": row.time_s, "gap": _gap(gap_at(row)), "view": _view(view), "verdict": str(verdict),
        "before": _before(record, gap_at(row), view),
        "value": value, "needed": needed, "label": f"{value} ({needed})", "curve": None,
    }


def _finding(
    record: Record, finding: Finding, curves: Sequence[Curve], with_view: bool, groups: tuple[Group, ...]
) -> dict[str, Any]:
    """Return a finding as the page shows it: failed or not is its own verdict, whatever its gap has to spare."""
    gap = gap_of(record, finding)
    row = None if gap is None else gap.row
    value, needed = value_words(finding, gap)
    time_s = worst_s(finding)
    return {
        "verdict": str(finding.verdict), "sign": palette.VERDICTS[finding.verdict][1],
        "word": verdict_word(finding.verdict), "time": time_s, "when": clock(time_s), "message": finding.message,
        "remedy": finding.remedy, "check": plain(finding.check), "value": value, "needed": needed,
        "label": label_words(finding, gap), "gap": None if gap is None else _gap(gap),
        "curve": None if row is None else next((k for k, c in enumerate(curves) if c.covers(row)), None),
        "of": named(finding), "after": after(record, gap, groups),
        "people": list(people_in(record, finding)), **_seen_from(record, finding, gap, with_view),
    }


def _seen_from(record: Record, finding: Finding, gap: Gap | None, with_view: bool) -> dict[str, Any]:
    """Return the view of a finding, and what stands before its gap there."""
    if not with_view:
        return {"view": None, "before": []}
    view = look_at(record, finding)
    return {"view": _view(view), "before": [] if gap is None else _before(record, gap, view)}


def _before(record: Record, gap: Gap, view: Viewpoint) -> list[str]:
    points = about_gap(np.asarray(gap.point_a), np.asarray(gap.point_b))
    return list(screens(standing(record, gap), gap.time_s, gap.bodies, points, view.eye_m))


def _view(view: Viewpoint) -> dict[str, Any]:
    return {"eye": [round(v, 3) for v in view.eye_m], "focus": [round(v, 3) for v in view.focus_m]}


def _rounded(values: Array, digits: int = 4) -> list[float | None]:
    """Return numbers for JSON; what is not finite becomes None."""
    return [round(float(v), digits) if np.isfinite(v) else None for v in values]
