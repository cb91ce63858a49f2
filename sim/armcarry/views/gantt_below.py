"""What stands below the lanes of a day: daylight and other windows, and what is left of the tanks of suits."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from armcarry.quantities import clock
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.tanks import Curve, curves_of
from armcarry.timeline.wanted import Spans, known_windows
from armcarry.views import palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

#: left edge and width of what is drawn over time, shares of the figure
LEFT, WIDE = 0.062, 0.925
_TOP, _BOTTOM = 0.815, 0.17
#: height of a row of windows, and of the curves; shares of the figure
_ROW, _CURVES, _GAP = 0.03, 0.14, 0.02
_LINES = ("solid", "dashed", "dotted", "dashdot")
_COLOURS = (palette.BLUE, palette.VERMILLION, palette.BLACK)


def room_for_lanes(plan: DayPlan) -> tuple[float, float, float, float]:
    """Return left, bottom, width and height of the lanes, shares of the figure: above what stands below."""
    below = _ROW * len(_rows(plan)) + (_CURVES + _GAP if _curves(plan) else 0.0)
    bottom = _BOTTOM + below
    return LEFT, bottom, WIDE, _TOP - bottom


def draw_below(figure: Figure, plan: DayPlan, lanes: Axes) -> None:
    """Draw the rows of windows right below the lanes, the curves of tanks below those."""
    rows, curves = _rows(plan), _curves(plan)
    low, high = lanes.get_xlim()
    bottom = lanes.get_position().y0
    if rows:
        bottom -= _ROW * len(rows)
        axes = figure.add_axes((LEFT, bottom, WIDE, _ROW * len(rows)), sharex=lanes)
        _windows(axes, rows)
        axes.set_xlim(low, high)
    if curves:
        axes = figure.add_axes((LEFT, bottom - _GAP - _CURVES, WIDE, _CURVES), sharex=lanes)
        _tanks(axes, curves)
        axes.set_xlim(low, high)
    if rows or curves:
        axes.set_xlabel(lanes.get_xlabel(), fontsize=12)
        lanes.set_xlabel("")
        for above in figure.axes[:-1]:
            above.tick_params(axis="x", labelbottom=False, length=0)


def _rows(plan: DayPlan) -> dict[str, Spans]:
    """Return name -> windows that are drawn: light where it is known, and those of the day."""
    known = known_windows(plan.scene.loaded.scenario)
    return {name: spans for name, spans in known.items() if name != "darkness"}


def _curves(plan: DayPlan) -> tuple[Curve, ...]:
    return curves_of(plan.limits, plan.schedule)


def _windows(axes: Axes, rows: dict[str, Spans]) -> None:
    for k, (name, spans) in enumerate(rows.items()):
        light = name == "daylight"
        axes.broken_barh(
            [(begin / 3600.0, (end - begin) / 3600.0) for begin, end in spans], (k + 0.15, 0.7), gid=f"window {name}",
            facecolor="#F9E79F" if light else "#BCE0F5", edgecolor=palette.FAINT_INK, linewidth=0.6,
            hatch="" if light else "...",
        )  # fmt: skip
    axes.set_ylim(len(rows), 0.0)
    axes.set_yticks([k + 0.5 for k in range(len(rows))], [name.replace("_", " ") for name in rows], fontsize=11)
    axes.tick_params(axis="y", length=0)
    axes.tick_params(axis="x", labelsize=12)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)


def _tanks(axes: Axes, curves: Sequence[Curve]) -> None:
    """Draw what is left above the reserve, hours of light effort: a line a tank, a style a person."""
    people = list(dict.fromkeys(curve.drawn.who for curve in curves))
    tanks = list(dict.fromkeys(curve.drawn.tank for curve in curves))
    for curve in curves:
        style, colour = people.index(curve.drawn.who), tanks.index(curve.drawn.tank)
        axes.plot(curve.time_s / 3600.0, curve.left_s / 3600.0, linestyle=_LINES[style % len(_LINES)], linewidth=1.8,
                  color=_COLOURS[colour % len(_COLOURS)], label=curve.limit.name.replace("_", " "),
                  gid=f"tank {curve.limit.name}")  # fmt: skip
    least = min(float(curve.left_s.min()) for curve in curves)
    axes.axhline(0.0, color=palette.VERMILLION, linewidth=1.5)
    axes.set_ylim(min(0.0, np.floor(least / 3600.0)), None)
    axes.set_ylabel("hours\nleft", fontsize=11, rotation=0, ha="right", va="center")
    axes.grid(color=palette.GRID, linewidth=0.8)
    axes.tick_params(labelsize=11)
    axes.legend(loc="lower left", ncols=len(curves), frameon=False, fontsize=10, handlelength=1.5, borderpad=0.1,
                columnspacing=0.8, title=f"above the reserve, as light effort; least {clock(least)}",
                title_fontsize=11, alignment="left")  # fmt: skip
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
