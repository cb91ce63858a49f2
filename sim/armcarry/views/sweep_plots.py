"""Plots of faults of the arm: late stops, runaway joints, a locked joint."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from armcarry.checks.runaway import bad_stretches
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.figures import of_finding
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.scene.words import plain_joint
from armcarry.views import palette
from armcarry.views.plots import page, say
from armcarry.views.time_axis import MINUTE_S, time_axis
from armcarry.views.words import worst_verdict
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.faults import LONGEST_DETECTION_S
from armcarry.whatif.late_stop import run_outs
from armcarry.whatif.locked_joint import Escape, escapes, instants
from armcarry.whatif.runaway_joint import Runaways, runaways

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: columns of the map of runaways
_COLUMNS = 160
#: room beyond what must be left, m, and the shade of each step: the less room, the darker
_STEPS = (0.0, 0.02, 0.05, 0.1, 0.2, ENOUGH_M)
_SHADES = ("#08306B", "#2171B5", "#6BAED6", "#B5D3EA", "#E3EEF7")


def stopping(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot run-out of the tip, time to rest and clearance left against the time of a stop command."""
    found = run_outs(record)
    words = "if told to stop at this moment, reaction included; dashed: nothing more may be lost"
    with page(3, 1, f"Late stop{worst_verdict(findings, 'stopping')}", words) as (figure, panels):
        most = float(found.runout_m.max(initial=0.0))
        _curve(panels[0], found.time_s, found.runout_m, "m", f"run-out of the tip: {most:.3f} m at most")
        longest = float(found.runout_s.max(initial=0.0))
        _curve(panels[1], found.time_s, found.runout_s, "s", f"time to rest: {longest:.1f} s at most")
        edges, low = found.cells_s / MINUTE_S, np.append(found.lower_m, found.lower_m[-1])
        panels[2].fill_between(edges, 0.0, np.maximum(low, 0.0), step="post", color=palette.SKY_BLUE, alpha=0.7,
                               linewidth=0)
        panels[2].step(edges, low, where="post", color=palette.BLUE)
        short = np.where(low < 0, 0.0, np.nan)
        panels[2].step(edges, short, where="post", color=palette.VERMILLION, linewidth=9)
        panels[2].axhline(0.0, color=palette.VERMILLION, linestyle="dashed")
        panels[2].set_ylim(min(-0.02, 1.2 * float(low.min())), 1.1 * ENOUGH_M)
        panels[2].set_ylabel("m")
        panels[2].set_title(
            f"room beyond what must be left (proven, to {ENOUGH_M:g} m)"
            f"{_least(findings)}", loc="left",
        )  # fmt: skip
        for axes in panels:
            time_axis(axes, record, axes is panels[2], ((0.0, record.duration_s), None))
    return figure


def _least(findings: Sequence[Finding]) -> str:
    """Say how near the worst stop comes, with the number and the instant of the finding."""
    for finding in findings:
        found = of_finding(finding)
        if finding.check == "stopping" and found is not None and finding.clearance is not None:
            return f": {found.said} left at {clock(finding.clearance.time_s)}, {found.asked} must be"
    return ""


def _curve(axes: Axes, times_s: Array, values: Array, unit: str, title: str) -> None:
    axes.plot(times_s / MINUTE_S, values, color=palette.BLUE)
    k = int(np.argmax(values))
    axes.plot(times_s[k] / MINUTE_S, values[k], "o", color=palette.INK, markersize=8)
    axes.set_ylim(0, 1.15 * max(float(values.max(initial=0.0)), 1e-3))
    axes.set_ylabel(unit)
    axes.set_title(title, loc="left")


def runaway(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot the map of runaways: a row a joint and way, the shade the room that is left; red where too little."""
    words = "room left, beyond what must be, if this joint runs away at this moment (proven); right: least room, and "
    words += "the longest safe detection time"
    with page(1, 1, f"Runaway joint{worst_verdict(findings, 'runaway')}", words) as (figure, (axes,)):
        if any(f.check == "runaway" and f.verdict is Verdict.NOT_ASSESSED for f in findings):
            say(axes, "The arm's document does not say how fast a joint can run away")
            return figure
        found = runaways(record)
        edges, room = runaway_map(found)
        _shade(axes, edges, room)
        axes.set_yticks(range(len(found.faults)), [plain_joint(found.name(k)) for k in range(len(found.faults))])
        axes.set_ylim(len(found.faults) - 0.5, -0.5)
        axes.grid(False)
        for k in range(len(found.faults)):
            axes.text(1.005, k, _told(found, room, k), transform=axes.get_yaxis_transform(), va="center", fontsize=12)
        bad = bad_stretches(found)
        for stretch in bad:
            axes.axvspan(stretch.start_s / MINUTE_S, stretch.end_s / MINUTE_S, ymin=-0.015, ymax=0.0, clip_on=False,
                         color=palette.VERMILLION)
        if bad:
            names = ", ".join(f"{clock(s.start_s)} to {clock(s.end_s)}" for s in bad[:4])
            axes.set_title(f"do not dwell: {names}{' and more' if len(bad) > 4 else ''}", loc="left")
        _shade_legend(axes)
        time_axis(axes, record, True, ((0.0, record.duration_s), None))
    return figure


def runaway_map(found: Runaways) -> tuple[Array, Array]:
    """Return edges of columns of time (K+1,) and the least room of every fault in each (F, K)."""
    edges = np.linspace(0.0, found.record.duration_s, _COLUMNS + 1)
    room = np.full((len(found.faults), _COLUMNS), np.inf)
    for part in found.parts:
        leaves = part.leaves
        first = np.clip(np.searchsorted(edges, leaves.start_s, side="right") - 1, 0, _COLUMNS - 1)
        last = np.clip(np.searchsorted(edges, leaves.end_s, side="left"), first + 1, _COLUMNS)
        for a, b, fault, low in zip(first, last, leaves.fault, leaves.lower_m, strict=True):
            room[fault, a:b] = np.minimum(room[fault, a:b], low)
    return edges, room


def _told(found: Runaways, room: Array, fault: int) -> str:
    safe, least = float(found.safe_detection_s[fault]), float(room[fault].min())
    sign = "✕ " if least < 0 else ""
    within = "none" if safe < 0 else f"{'≥ ' if safe >= LONGEST_DETECTION_S else ''}{safe:.2f} s"
    more = "≥ " if least >= ENOUGH_M else ""
    return f"{sign}{more}{least:.3f} m   {within}"


def _shade(axes: Axes, edges: Array, room: Array) -> None:
    from matplotlib.colors import BoundaryNorm, ListedColormap

    colours = ListedColormap([palette.VERMILLION, *_SHADES])
    norm = BoundaryNorm([-1e3, *_STEPS[:-1], 1e3], colours.N)
    rows = np.arange(len(room) + 1) - 0.5
    axes.pcolormesh(edges / MINUTE_S, rows, room, cmap=colours, norm=norm, edgecolors="none")
    for k in range(1, len(room)):
        axes.axhline(k - 0.5, color=palette.PAPER, linewidth=2.4 if k % 2 == 0 else 0.8)


def _shade_legend(axes: Axes) -> None:
    from matplotlib.patches import Patch

    names = ["✕ too little", *(f"{a:g} to {b:g} m" for a, b in pairwise(_STEPS[:-1]))]
    marks = [Patch(facecolor=c, edgecolor=palette.FAINT_INK) for c in (palette.VERMILLION, *_SHADES)]
    axes.legend(
        marks, [*names, f"more than {_STEPS[-2]:g} m"], loc="upper center", bbox_to_anchor=(0.5, -0.09), ncols=6,
        frameon=False, fontsize=12, columnspacing=1.2, handlelength=1.4,
    )


def locked_joint(record: Record, findings: Sequence[Finding] = ()) -> Figure:
    """Plot what is left to every rider when a joint locks: a row a joint, a column an instant, with the time."""
    words = "what the other joints bring the rider within reach of if this joint locks then, and how long it takes"
    found = escapes(record) if len(instants(record)) else ()
    riders = list(dict.fromkeys(item.crew for item in found))
    title = f"Locked joint{worst_verdict(findings, 'locked_joint')}"
    with page(1, max(len(riders), 1), title, words) as (figure, panels):
        if not found:
            say(panels[0], "Nobody rides, or the rules leave locked joints out")
        for axes, crew in zip(panels, riders, strict=False):
            _answers(axes, record, crew, [item for item in found if item.crew == crew], axes is panels[0])
    return figure


def _answers(axes: Axes, record: Record, crew: str, mine: Sequence[Escape], labelled: bool) -> None:
    times = sorted({item.time_s for item in mine})
    joints = [plain_joint(joint) for joint in record.scene.arm_joints]
    for item in mine:
        _answer(axes, times.index(item.time_s), item)
    axes.set_xticks(range(len(times)), [clock(round(time)).removesuffix(".0") for time in times])
    axes.set_yticks(range(len(joints)), joints if labelled else [""] * len(joints))
    axes.set_xlim(-0.5, len(times) - 0.5)
    axes.set_ylim(len(joints) - 0.5, -0.5)
    axes.set_xlabel("locks at, from the start")
    axes.grid(False)
    lost = sum(item.kind == "none" for item in mine)
    axes.set_title(f"{crew}: a way out in {len(mine) - lost} of {len(mine)} cases", loc="left")


_ANSWERS = {"here": "in reach", "handrail": "handrail", "safe point": "safe point", "none": "✕ no way"}


def _answer(axes: Axes, column: int, item: Escape) -> None:
    from matplotlib.patches import Rectangle

    colour = {"none": palette.VERMILLION, "safe point": "#B5D3EA"}.get(item.kind, "#D5EBE3")
    axes.add_patch(Rectangle((column - 0.48, item.joint - 0.46), 0.96, 0.92, facecolor=colour, edgecolor="none"))
    ink = palette.PAPER if item.kind == "none" else palette.INK
    words = _ANSWERS[item.kind]
    if item.kind in ("handrail", "safe point"):
        words += f"\n{clock(round(item.lasting_s)).removesuffix('.0')}" if item.lasting_s > 0 else "\nin reach"
    axes.text(column, item.joint, words, ha="center", va="center", fontsize=12, color=ink)
