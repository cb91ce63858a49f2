"""What the page is told of a run, as plain values for JSON: captions, clearances, findings, cameras."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Curve, PairRow, Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.closest import closest_track, judged
from armcarry.views.curves import thinned
from armcarry.views.doing import doings
from armcarry.views.eyes import eyes
from armcarry.views.groups import leaders
from armcarry.views.plots import top_m
from armcarry.views.viewpoint import Viewpoint, overview, towards_gap, whole
from armcarry.views.words import CAUTION, counted, verdict_word

_SPEEDS = (0.25, 0.5, 1, 2, 5, 10, 20, 30, 60, 120, 300)
#: the fastest lets a run pass in no less than this, s
_PASSES_S = 20.0
_CURVE_CELLS = 1200
_TRACK_STEPS = 1500
#: so many clearance findings get a camera of their own, the tightest first
_VIEWS = 16
#: instants nearer than this are one, s
_SAME_S = 1e-6


def page_facts(record: Record, findings: Sequence[Finding]) -> dict[str, Any]:
    """Return everything the page shows but the scene itself."""
    track, pairs = _track(record)
    loaded = record.scene.loaded
    shown = [_finding(record, finding, k < _VIEWS) for k, finding in enumerate(_tight_first(findings))]
    order = {id(finding): k for k, finding in enumerate(_tight_first(findings))}
    return {
        "title": loaded.scenario.title,
        "counts": counted(findings),
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
        "doings": [{"start": each.start_s, "end": each.end_s, "words": each.words} for each in doings(record)],
        "curves": [
            _curve(curve, loaded.rules.report_distance) for curve in sorted(record.curves, key=_least_margin_m)
        ],
        "track": track,
        "pairs": pairs,
        "findings": [shown[order[id(finding)]] for finding in findings],
        "tightest": _tightest(record),
        "cameras": [{"name": eye.name, "title": eye.title} for eye in eyes(record)],
        "follow": f"group {leaders(record)[record.scene.tool(record.phases[0].tree)]}",
        "home": _view(overview(whole(record), 16 / 9)),
        "colours": colours(),
    }


def colours() -> dict[str, str]:
    """Return the colours of the page by role."""
    return {
        "room": palette.ROOM, "panel": palette.PANEL, "light": palette.LIGHT, "faint": palette.FAINT_LIGHT,
        "rule": "#3A434E", "band": palette.SKY_BLUE, "sky": palette.SKY_BLUE, "orange": palette.ORANGE,
        "fail": palette.VERMILLION, "pass": palette.BLUISH_GREEN, "one": palette.LIGHT, "other": palette.LIGHT,
    }


def _least_margin_m(curve: Curve) -> float:
    return float(np.min(curve.lower_m, initial=np.inf)) - curve.required_m


def _curve(curve: Curve, report_m: float) -> dict[str, Any]:
    short = thinned(curve, _CURVE_CELLS)
    return {
        "group": curve.group, "required": curve.required_m, "top": top_m(curve, report_m),
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
        "times": _rounded(times, 3), "row": compact.tolist(), "lower": _rounded(track.lower_m),
        "a": _rounded(np.nan_to_num(track.point_a).ravel()), "b": _rounded(np.nan_to_num(track.point_b).ravel()),
    }
    return table, [_pair(record.pairs[k]) for k in used]


def _pair(row: PairRow) -> dict[str, Any]:
    return {"a": row.body_a, "b": row.body_b, "a_words": plain(row.body_a), "b_words": plain(row.body_b),
            "required": row.required_m}


def _gap(row: PairRow) -> dict[str, Any]:
    return {"pair": _pair(row), "value": _rounded(np.array([row.lower_m]))[0],
            "a": [round(v, 4) for v in row.point_a], "b": [round(v, 4) for v in row.point_b]}


def _tightest(record: Record) -> dict[str, Any] | None:
    row = record.tightest
    if row is None or row.status == "farther":
        return None
    view = towards_gap(record, row.time_s, (row.body_a, row.body_b), row.point_a, row.point_b)
    return {"time": row.time_s, "gap": _gap(row), "view": _view(view)}


def _finding(record: Record, finding: Finding, with_view: bool) -> dict[str, Any]:
    sign = palette.VERDICTS[finding.verdict][1]
    told: dict[str, Any] = {
        "verdict": str(finding.verdict), "sign": sign, "word": verdict_word(finding.verdict), "time": finding.start_s,
        "message": finding.message, "remedy": finding.remedy, "check": finding.check, "gap": None, "view": None,
    }
    row = _row_of(record, finding)
    if row is not None:
        told |= {"time": row.time_s, "gap": _gap(row)}
        if with_view:
            view = towards_gap(record, row.time_s, (row.body_a, row.body_b), row.point_a, row.point_b)
            told["view"] = _view(view)
    return told


def _row_of(record: Record, finding: Finding) -> PairRow | None:
    """Return the row of the table that a finding about two bodies speaks of, None where there is none."""
    rows = record.once(_rows_by_pair).get(frozenset((finding.subject, finding.other)), [])
    detail = finding.clearance
    if detail is not None:
        return next((row for row in rows if row.time_s == detail.time_s), None)
    return next((row for row in rows if abs(row.time_s - finding.start_s) < _SAME_S and judged(row)), None)


def _rows_by_pair(record: Record) -> dict[frozenset[str], list[PairRow]]:
    found: dict[frozenset[str], list[PairRow]] = {}
    for row in record.pairs:
        found.setdefault(frozenset((row.body_a, row.body_b)), []).append(row)
    return found


def _tight_first(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings in the order in which they get a camera: failed first, then by what is left."""

    def key(finding: Finding) -> tuple[bool, bool, float]:
        detail = finding.clearance
        left = detail.lower_m - detail.required_m if detail is not None else np.inf
        return detail is None, finding.verdict is not Verdict.FAIL, left

    return sorted(findings, key=key)


def _view(view: Viewpoint) -> dict[str, Any]:
    return {"eye": [round(v, 3) for v in view.eye_m], "focus": [round(v, 3) for v in view.focus_m]}


def _rounded(values: Array, digits: int = 4) -> list[float | None]:
    """Return numbers for JSON; what is not finite becomes None."""
    return [round(float(v), digits) if np.isfinite(v) else None for v in values]
