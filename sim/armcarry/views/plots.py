"""Plots on paper: joint angles, joint rates and clearance against time, in degrees, metres and time from the start.

Figures are made without pyplot, so that nothing global is opened, changed or left behind.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from armcarry.files.atomic import write_bytes_atomic
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.figures import at_least
from armcarry.record.record import Curve, PairRow, Record
from armcarry.scene.limits import joint_rates
from armcarry.scene.words import plain_joint
from armcarry.views import palette
from armcarry.views.curves import within
from armcarry.views.time_axis import MINUTE_S, SLIDE_IN, Window, time_axis

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_DPI = 120
#: as many groups of clearance fit on a slide and stay readable
_PANELS = 5
_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans", "font.size": 13, "axes.titlesize": 14, "axes.titleweight": "bold",
    "axes.labelsize": 13, "xtick.labelsize": 12, "ytick.labelsize": 12, "axes.grid": True,
    "grid.color": palette.GRID, "grid.linewidth": 0.8, "axes.edgecolor": palette.FAINT_INK,
    "axes.spines.top": False, "axes.spines.right": False, "text.color": palette.INK,
    "axes.labelcolor": palette.INK, "xtick.color": palette.INK, "ytick.color": palette.INK, "lines.linewidth": 2.4,
    "figure.facecolor": palette.PAPER, "axes.facecolor": palette.PAPER, "axes.axisbelow": True,
    "text.parse_math": False,
}


@dataclass(frozen=True)
class Unit:
    """What a quantity is shown in: the factor from SI and the word on the axis."""

    factor: float
    word: str


_MOVES = ("start of a move", {"color": palette.FAINT_INK, "linewidth": 1})
_POSITION_LEGEND = (
    ("joint", {"color": palette.BLUE}),
    ("end of travel", {"color": palette.VERMILLION}),
    ("margin required of it", {"color": palette.VERMILLION, "alpha": 0.3, "linewidth": 12}),
    ("nearest to an end", {"color": palette.INK, "marker": "o", "linestyle": "none"}),
    _MOVES,
)
_RATE_LEGEND = (("rate", {"color": palette.BLUE}), ("limit for the load", {"color": palette.VERMILLION}), _MOVES)

DEGREE, METRE = Unit(180 / np.pi, "deg"), Unit(1.0, "m")


def joint_angles(record: Record, cursor_s: float | None = None, window_s: Window | None = None) -> Figure:
    """Plot every arm joint against time with its travel limits and the margin the rules ask for.

    Args:
        record: the run.
        cursor_s: an instant to mark in every panel.
        window_s: from when to when; the whole run when left out.
    """
    window = _window(record, window_s)
    times = _times(record, window)
    values = record.motion.at(times)[:, record.scene.arm_columns]
    rules = record.scene.loaded.rules.margins
    limits = record.scene.tree.joint_limits[record.scene.arm_columns]

    def panel(axes: Axes, k: int, unit: Unit, turns: bool) -> str:
        angle, (lower, upper) = values[:, k] * unit.factor, limits[k] * unit.factor
        axes.plot(times / MINUTE_S, angle, color=palette.BLUE)
        margin = (rules.joint_position if turns else rules.joint_travel) * unit.factor
        if not np.isfinite(upper - lower):
            return "no limit of travel"
        for end, inward in ((lower, margin), (upper, -margin)):
            axes.axhline(end, color=palette.VERMILLION, linewidth=2.4)
            axes.axhspan(end, end + inward, color=palette.VERMILLION, alpha=0.3, linewidth=0)
        axes.set_ylim(lower - 0.04 * (upper - lower), upper + 0.04 * (upper - lower))
        left = np.minimum(angle - lower, upper - angle)
        axes.plot(times[np.argmin(left)] / MINUTE_S, angle[np.argmin(left)], "o", color=palette.INK, markersize=8,
                  clip_on=False)
        return f"margin {left.min():.3g} {unit.word} (≥ {margin:.3g})"

    return _joint_panels(record, "Joint positions", _POSITION_LEGEND, panel, (window, cursor_s))


def joint_rate_figure(record: Record, cursor_s: float | None = None, window_s: Window | None = None) -> Figure:
    """Plot every arm joint's rate against time with the limits of the load it moves; arguments as joint_angles."""
    window = _window(record, window_s)
    times = _times(record, window)
    rates = record.motion.at(times, order=1)[:, record.scene.arm_columns]
    steps, allowed = rate_limits(record)

    def panel(axes: Axes, k: int, unit: Unit, turns: bool) -> str:
        axes.plot(times / MINUTE_S, rates[:, k] * unit.factor, color=palette.BLUE)
        limit = allowed[:, k] * unit.factor
        for sign in (1, -1):
            axes.step(steps / MINUTE_S, sign * np.append(limit, limit[-1]), where="post", color=palette.VERMILLION)
        top = np.nanmax(limit) if np.any(np.isfinite(limit)) else np.abs(rates[:, k]).max() * unit.factor + 1e-9
        axes.set_ylim(-1.15 * top, 1.15 * top)
        return f"largest {np.abs(rates[:, k]).max() * unit.factor:.3g} {unit.word}/s"

    return _joint_panels(record, "Joint rates", _RATE_LEGEND, panel, (window, cursor_s), per="/s")


def rate_limits(record: Record) -> tuple[Array, Array]:
    """Return times (K+1,) and the rate limits (K, n) of the arm's joints between them, NaN outside all moves."""
    arm = record.scene.loaded.arm.document
    rates = {str(name): joint_rates(arm, load) for name, load in arm.loads.items()}
    moves = [move for move in record.moves if move.end_s > move.start_s]
    edges = np.unique([0.0, record.duration_s, *(m.start_s for m in moves), *(m.end_s for m in moves)])
    limits = np.full((len(edges) - 1, len(arm.joints)), np.nan)
    for move in moves:
        inside = (edges[:-1] >= move.start_s) & (edges[1:] <= move.end_s)
        limits[inside] = rates[move.load]
    return edges, limits


def clearance(record: Record, cursor_s: float | None = None, window_s: Window | None = None) -> Figure:
    """Plot the proven band of the least distance against time, one panel a group, with the required line.

    Arguments as joint_angles.
    """
    window = _window(record, window_s)
    shown = [cut for curve in record.curves if (cut := within(curve, *window)) is not None]
    curves = sorted(shown, key=lambda curve: float(np.min(curve.lower_m)) - curve.required_m)[:_PANELS]
    title, words = "Clearance against time", "shaded: proven band of the least distance; dashed: required"
    if len(shown) > len(curves):
        words += f"; the tightest {len(curves)} of {len(shown)} groups"
    with page(max(len(curves), 1), 1, title, words) as (figure, panels):
        if not curves:
            say(panels[0], "No pair of bodies with a required clearance comes near in this run")
        report = record.scene.loaded.rules.report_distance
        for axes, curve in zip(panels, curves, strict=False):
            _band(axes, curve, report, record.least_of(curve))
            time_axis(axes, record, axes is panels[len(curves) - 1], (window, cursor_s))
    return figure


def save(figure: Figure, path: Path) -> Path:
    """Write a figure as PNG or SVG by the ending of its name, and return the path."""
    write_bytes_atomic(path, image(figure, path.suffix.removeprefix(".")))
    return path


def image(figure: Figure, kind: str = "png") -> bytes:
    """Return a figure as a PNG or SVG file has it."""
    made = BytesIO()
    figure.savefig(made, dpi=_DPI, format=kind, metadata={"Software": None} if kind == "png" else {"Date": None})
    return made.getvalue()


def is_drawn(figure: Figure) -> bool:
    """Tell whether there is anything in a figure but words."""
    return any(axes.has_data() for axes in figure.axes)


def _band(axes: Axes, curve: Curve, report_m: float, row: PairRow | None) -> None:
    """Draw a curve; the row says how near it comes and when, as the findings do."""
    edges = curve.times_s / MINUTE_S
    low, high = (np.append(b, b[-1]) for b in (np.maximum(curve.lower_m, 0.0), np.maximum(curve.upper_m, 0.0)))
    top = top_m(curve, report_m)
    high = np.minimum(np.where(np.isfinite(high), high, top), top)
    nobody = np.isinf(low)  # no pair of the group is there
    low, high = np.where(nobody, np.nan, low), np.where(nobody, np.nan, high)
    axes.fill_between(edges, np.minimum(low, top), high, step="post", color=palette.SKY_BLUE, alpha=0.7, linewidth=0)
    axes.step(edges, np.minimum(low, top), where="post", color=palette.BLUE)
    axes.axhline(curve.required_m, color=palette.VERMILLION, linestyle="dashed")
    axes.set_ylim(0, top)
    axes.set_ylabel("m")
    short = np.where(curve.lower_m < curve.required_m, 0.0, np.nan)
    axes.step(edges, np.append(short, short[-1]), where="post", color=palette.VERMILLION, linewidth=9)
    k = int(np.argmin(curve.lower_m))
    least, when = float(curve.lower_m[k]), float(curve.times_s[k])
    if row is not None and curve.times_s[0] <= row.time_s <= curve.times_s[-1]:  # else it lies outside the window
        least, when = row.lower_m, row.time_s
    found = at_least(max(least, 0.0), curve.required_m, "m")
    words = "contact" if least == -np.inf else f"{found.said} at {clock(when)}"
    sign = "✓ at least" if found.kept and least >= 0 else "✕ under"
    axes.set_title(f"{curve.group}: {words}   {sign} {found.asked}", loc="left")
    if np.all(low[~nobody] >= top):
        axes.text(0.5, 0.8, f"farther than {top:g} m throughout", transform=axes.transAxes, ha="center", va="top")


def top_m(curve: Curve, report_m: float) -> float:
    """Return the upper end of a clearance axis: what is measured and required fill it, to the report distance."""
    largest = float(np.max(curve.upper_m, initial=0.0, where=np.isfinite(curve.upper_m)))
    if np.any(np.isinf(curve.upper_m) & np.isfinite(curve.lower_m)):
        largest = report_m
    return float(max(min(1.1 * largest, report_m), 2 * curve.required_m, 0.1))


def _joint_panels(
    record: Record,
    title: str,
    legend: Sequence[tuple[str, dict[str, Any]]],
    panel: Callable[[Axes, int, Unit, bool], str],
    when: tuple[Window, float | None],
    per: str = "",
) -> Figure:
    scene = record.scene
    rows = (len(scene.arm_joints) + 2) // 2  # at least one place is left for the legend
    with page(rows, 2, title, "degrees or metres, against time from the start") as (figure, panels):
        for k, (axes, joint) in enumerate(zip(panels, scene.arm_joints, strict=False)):
            turns = bool(scene.tree.kinds[scene.tree.columns == scene.arm_columns[k]][0] == 1)
            unit = DEGREE if turns else METRE
            note = panel(axes, k, unit, turns)
            axes.set_title(f"{plain_joint(joint)}: {note}", loc="left")
            axes.set_ylabel(unit.word + per)
            _ticks(axes, unit)
            time_axis(axes, record, (k + 1) % rows == 0, when)
        for k, axes in enumerate(panels[len(scene.arm_joints) :], start=len(scene.arm_joints)):
            time_axis(axes, record, (k + 1) % rows == 0, when)
            axes.spines["left"].set_visible(False)
            axes.tick_params(left=False, labelleft=False)
        _legend(panels[len(scene.arm_joints)], legend)
    return figure


def _ticks(axes: Axes, unit: Unit) -> None:
    from matplotlib.ticker import MultipleLocator

    low, high = axes.get_ylim()
    if unit is DEGREE and high - low > 240:
        axes.yaxis.set_major_locator(MultipleLocator(180))
    else:
        axes.locator_params(axis="y", nbins=5)


def _legend(axes: Axes, entries: Sequence[tuple[str, dict[str, Any]]]) -> None:
    """Write what the marks mean into an empty panel."""
    from matplotlib.lines import Line2D

    axes.grid(False)
    for line in list(axes.lines):
        line.remove()
    marks = [Line2D([], [], **style) for _, style in entries]
    axes.legend(marks, [words for words, _ in entries], loc="center", frameon=False, ncols=2, fontsize=13)


@contextmanager
def page(rows: int, columns: int, title: str, words: str) -> Iterator[tuple[Figure, Sequence[Axes]]]:
    """Open a slide with rows x columns of panels; the style holds only inside."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    with matplotlib.rc_context(_STYLE):
        figure = Figure(figsize=SLIDE_IN, layout=ConstrainedLayoutEngine(w_pad=0.12, h_pad=0.06))
        FigureCanvasAgg(figure)
        figure.suptitle(f"{title}\n", fontsize=20, fontweight="bold", x=0.012, ha="left")
        figure.text(0.012, 0.918, words, fontsize=13, color=palette.FAINT_INK)
        yield figure, list(figure.subplots(rows, columns, squeeze=False).ravel(order="F"))


def say(axes: Axes, words: str) -> None:
    """Write words where there is nothing to plot."""
    axes.set_axis_off()
    axes.text(0.5, 0.5, words, transform=axes.transAxes, ha="center", va="center", fontsize=16)


def _window(record: Record, window_s: Window | None) -> Window:
    return (record.motion.start_s, record.motion.end_s) if window_s is None else window_s


def _times(record: Record, window: Window, count: int = 2000) -> Array:
    """Return instants to draw at: an even grid, and every break of the motion."""
    breaks = record.motion.breaks_s
    return np.union1d(np.linspace(*window, count), breaks[(breaks > window[0]) & (breaks < window[1])])

