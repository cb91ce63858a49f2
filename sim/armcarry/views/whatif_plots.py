"""Plots of what could go wrong and who would see it: the way home, cameras, light, people near the arm."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from armcarry.checks.stranded import home_curves, stranded_curve
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.figures import of_finding
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.seeing.glare import hindered
from armcarry.seeing.sight import sightings, stretches
from armcarry.seeing.sunlight import Sun
from armcarry.views import palette
from armcarry.views.plots import page, say
from armcarry.views.time_axis import MINUTE_S, time_axis
from armcarry.views.words import worst_verdict
from armcarry.whatif.nearness import NearCurve, near_curve
from armcarry.working.stops import stops

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIGN = {Verdict.PASS: "✓", Verdict.FAIL: "✕", Verdict.NOT_ASSESSED: "?"}
_HEIGHT = 0.7  # of a bar, of the distance of two rows
_LIGHTS = {"day": palette.YELLOW, "twilight": palette.ORANGE, "night": palette.INK}


def stranded(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot time home and gap to the nearest handrail of every rider, the others' time, and until all are inside."""
    curves, others = stranded_curve(record), home_curves(record)
    rules = record.scene.loaded.rules
    count = 2 * len(curves) + len(others)
    words = "if the arm stopped for good at this moment; dashed: allowed; dot: worst moment"
    title = f"Way home of a stranded rider{worst_verdict(findings, 'stranded')}"
    with page(max(count, 1), 1, title, words) as (figure, panels):
        for panel, other in zip(panels[2 * len(curves) :], others, strict=False):
            allowed_min = None if other.limit_s is None else other.limit_s / MINUTE_S
            _line(panel, other.time_s, other.home_s / MINUTE_S, allowed_min, "min")
            verdict = _verdict(findings, "stranded", other.who, "airlock")
            worst = _worst(findings, other.who, other.time_s, other.home_s)
            panel.set_title(f"{other.words}{worst}{verdict}", loc="left")
            time_axis(panel, record, panel is panels[-1], _whole(record))
        if not count:
            say(panels[0], "No rider is aboard in this run, or the platform has no hatch or handrails")
        for k, curve in enumerate(curves):
            _line(panels[2 * k], curve.time_s, curve.return_time_s / MINUTE_S, rules.safe_return / MINUTE_S, "min")
            verdict = _verdict(findings, "stranded", curve.crew, "airlock")
            worst = _worst(findings, curve.crew, curve.time_s, curve.return_time_s)
            words = f"{curve.crew}: time to the hatch{worst}{verdict}"
            panels[2 * k].set_title(words, loc="left")
            _line(panels[2 * k + 1], curve.time_s, curve.gap_m, rules.tether_reach, "m")
            verdict = _verdict(findings, "stranded", curve.crew, "handrail")
            words = f"{curve.crew}: from the gloves to the nearest handrail, {curve.gap_m.max():.2f} m at most{verdict}"
            panels[2 * k + 1].set_title(words, loc="left")
            for panel in panels[2 * k : 2 * k + 2]:
                time_axis(panel, record, panel is panels[-1], _whole(record))
    return figure


def _worst(findings: Sequence[Finding], who: str, time_s: Array, home_s: Array) -> str:
    """Say the longest way home of the finding, which is proven, or of the instants looked at, and when it is."""
    said = clock(float(home_s.max()))
    for finding in findings:
        if (finding.check, finding.subject, finding.other) == ("stranded", who, "airlock"):
            found = of_finding(finding)
            said = said if found is None else found.said
    return f", {said} at {clock(float(time_s[int(home_s.argmax())]))}"


def _line(axes: Axes, times_s: Array, values: Array, limit: float | None, unit: str) -> None:
    axes.plot(times_s / MINUTE_S, values, color=palette.BLUE)
    k = int(np.argmax(values))
    axes.plot(times_s[k] / MINUTE_S, values[k], "o", color=palette.INK, markersize=8)
    top = max(float(values.max()), 1e-9)
    if limit is not None:
        axes.axhline(limit, color=palette.VERMILLION, linestyle="dashed")
        axes.fill_between(times_s / MINUTE_S, limit, values, where=values > limit, color=palette.VERMILLION, alpha=0.4)
        if limit > 3 * top:  # far below the limit the shape of the curve would be lost
            axes.set_ylim(0, 1.6 * top)
            axes.text(0.995, 0.9, f"allowed: {limit:g} {unit}", transform=axes.transAxes, ha="right", va="top",
                      color=palette.VERMILLION)
        else:
            axes.set_ylim(0, 1.15 * max(limit, top))
    else:
        axes.set_ylim(0, 1.15 * top)
    axes.set_ylabel(unit)


def cameras(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot which cameras see the tip and every rider, a row a camera, and the best crossing of two views."""
    found = sightings(record)
    words = "bar: proven to see it at every instant; red: no camera does. Below: greatest angle between two views"
    blind = [item for item in findings if item.check == "seen" and item.verdict is Verdict.FAIL]
    if blind:
        words += f"; ✕: close gap nobody sees ({len(blind)})"
    rows = max(len(found.targets), 1)
    with page(2, rows, f"What cameras see{worst_verdict(findings, 'seen')}", words) as (figure, panels):
        if not found.cameras or len(found.edges_s) < 2:
            for panel in panels:
                say(panel, "No camera")
            return figure
        for t, target in enumerate(found.targets):
            upper, lower = panels[2 * t], panels[2 * t + 1]
            _bars(upper, found.edges_s, [found.seen[:, e, t] for e in range(len(found.cameras))])
            upper.set_yticks(range(len(found.cameras)), [plain(name) if t == 0 else "" for name in found.cameras])
            upper.set_ylim(len(found.cameras) - 0.5, -0.5)
            for start, end in found.unseen(target):
                upper.axvspan(start / MINUTE_S, end / MINUTE_S, color=palette.VERMILLION, alpha=0.5, linewidth=0)
            upper.set_title(f"{plain(target)}{_verdict(findings, 'seen', target, '')}", loc="left")
            best = np.degrees(found.crossing_rad[..., t].max(axis=(1, 2)))
            shown = np.where(found.there[:, t], best, np.nan)
            lower.step(found.edges_s / MINUTE_S, np.append(shown, shown[-1]), where="post", color=palette.BLUE)
            for gap in blind:
                middle = (gap.start_s + gap.end_s) / 2 / MINUTE_S
                lower.axvspan(gap.start_s / MINUTE_S, gap.end_s / MINUTE_S, color=palette.VERMILLION, alpha=0.5)
                lower.text(middle, 86, "✕", color=palette.INK, ha="center", va="center", fontweight="bold")
            lower.set_ylim(0, 92)
            lower.set_yticks([0, 30, 60, 90])
            lower.set_ylabel("deg" if t == 0 else "")
            time_axis(upper, record, False, _whole(record))
            time_axis(lower, record, True, _whole(record))
    return figure


def _bars(axes: Axes, edges_s: Array, rows: Sequence[np.ndarray], colour: str = palette.BLUE) -> None:
    """Draw a row of bars over chosen cells of time for each of some rows."""
    for k, chosen in enumerate(rows):
        spans = [(a / MINUTE_S, (b - a) / MINUTE_S) for a, b in stretches(edges_s, chosen)]
        axes.broken_barh(spans, (k - _HEIGHT / 2, _HEIGHT), facecolors=colour, linewidth=0)


def light(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot day and night, the sun in visors and cameras, and the stays at worksites, a row each."""
    words = "yellow: day, orange: twilight, black: night; red: the sun hinders sight; blue: work at a worksite"
    with page(1, 1, f"Light{worst_verdict(findings, 'light')}", words) as (figure, panels):
        if record.scene.loaded.scenario.environment is None:
            say(panels[0], "The scenario does not say when it is and how the platform flies, so light is not assessed")
            return figure
        sun, rows = Sun(record), list[tuple[str, list[tuple[float, float]], str]]()
        for kind, colour in _LIGHTS.items():
            spans = [(span.start_s, span.end_s) for span in sun.spans if span.light == kind]
            rows.append((f"day and night{_verdict(findings, 'light', 'sun', '')}", spans, colour))
        for shine in hindered(record).visors:
            title = f"visor of {shine.crew}{_verdict(findings, 'light', shine.crew, 'visor')}"
            rows.append((title, list(shine.stretches), palette.VERMILLION))
        for item in hindered(record).cameras:
            title = f"cameras on {plain(item.target)}{_verdict(findings, 'light', item.target, 'cameras')}"
            rows.append((title, list(item.lost), palette.VERMILLION))
        for stop in stops(record):
            rows.append((f"work at {plain(stop.worksite)}", [(stop.start_s, stop.end_s)], palette.BLUE))
        _table(panels[0], record, rows)
    return figure


def _table(axes: Axes, record: Record, rows: Sequence[tuple[str, Sequence[tuple[float, float]], str]]) -> None:
    titles = list(dict.fromkeys(title for title, *_ in rows))
    for title, spans, colour in rows:
        bars = [(a / MINUTE_S, (b - a) / MINUTE_S) for a, b in spans]
        axes.broken_barh(bars, (titles.index(title) - _HEIGHT / 2, _HEIGHT), facecolors=colour, linewidth=0)
    axes.set_yticks(range(len(titles)), titles)
    axes.set_ylim(len(titles) - 0.5, -0.5)
    time_axis(axes, record, True, _whole(record))


def near_people(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot every free worker's distance from arm, rider and load, and the protective separation asked for."""
    curves = [curve for crew in record.scene.loaded.crew if (curve := near_curve(record, crew)) is not None]
    report = record.scene.loaded.rules.report_distance
    words = f"solid: distance while the arm moves, cut at {report:g} m; dashed: protective separation; filled: too near"
    title = f"Free workers near the moving arm{worst_verdict(findings, 'near_people')}"
    with page(max(len(curves), 1), 1, title, words) as (figure, panels):
        if not curves:
            say(panels[0], "Nobody works outside the restraint while the arm moves")
        for axes, curve in zip(panels, curves, strict=False):
            _separation(axes, curve, report)
            axes.set_title(f"{curve.worker}{_verdict(findings, 'near_people', curve.worker, None)}", loc="left")
            time_axis(axes, record, axes is panels[len(curves) - 1], _whole(record))
    return figure


def _separation(axes: Axes, curve: NearCurve, report_m: float) -> None:
    minutes = curve.time_s / MINUTE_S
    axes.plot(minutes, np.minimum(curve.distance_m, report_m), color=palette.BLUE)
    axes.plot(minutes, curve.separation_m, color=palette.VERMILLION, linestyle="dashed")
    short = curve.distance_m < curve.separation_m
    axes.fill_between(minutes, curve.distance_m, curve.separation_m, where=short, color=palette.VERMILLION, alpha=0.5)
    axes.set_ylim(0, max(report_m, 1.1 * float(np.nanmax(curve.separation_m))))
    axes.set_ylabel("m")


def _verdict(findings: Sequence[Finding], check: str, subject: str, other: str | None) -> str:
    """Return the sign of the worst verdict on a subject, empty where there is none."""
    among = [
        finding.verdict for finding in findings
        if finding.check == check and finding.subject == subject and (other is None or finding.other == other)
    ]
    worst = next((verdict for verdict in (Verdict.FAIL, Verdict.NOT_ASSESSED, Verdict.PASS) if verdict in among), None)
    return "" if worst is None else f"  {_SIGN[worst]}"


def _whole(record: Record) -> tuple[tuple[float, float], None]:
    return (record.motion.start_s, record.motion.end_s), None
