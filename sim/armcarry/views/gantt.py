"""The day as a picture: who does what when, what is critical, and how much time is left.

Made for a projector: one lane an actor, few words, nothing told by colour alone. Critical steps have a thick
dark frame and a bar below them, the arm's motion is hatched, what may be left out is dashed.
"""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from armcarry.files.documents.steps import ARM, Step
from armcarry.quantities import clock
from armcarry.timeline.estimate import PathEstimate, path_estimate
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.policy import Days, sampled_days
from armcarry.timeline.schedule import LimitUse, Slot
from armcarry.views import palette
from armcarry.views.gantt_below import draw_below, room_for_lanes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

SLIDE_IN = (13.333, 7.5)
_HOUR_S = 3600.0
#: a lane is 1 high: bars between these, slack and critical marks below
_LOW, _HIGH = 0.17, 0.94
#: smallest text, points; on a slide 7.5 in high 11 pt is 2 % of its height
_SMALL_PT = 11.0
#: width of a letter of that size, a little more than the mean of the font
_LETTER_IN = _SMALL_PT / 72 * 0.58


@dataclass(frozen=True)
class Look:
    """How a kind of step looks: a light fill under black text, and a hatch that tells it apart without colour."""

    word: str
    fill: str
    hatch: str


#: fills are the Okabe-Ito hues mixed with paper, so that black text on them keeps a contrast above 7
LOOKS = {
    "arm": Look("arm moves", "#F3C969", "///"),
    "go": Look("along handrails", "#BCE0F5", "..."),
    "restraint": Look("on or off the arm", "#E8C3D8", "xx"),
    "hands": Look("work with hardware", "#A6DBC9", ""),
    "other": Look("other work", "#E6E9EC", ""),
}
_OF_KIND = {
    "carry": "arm", "move_base": "arm", "translate": "go", "fit_restraint": "restraint", "enter_restraint": "restraint",
    "leave_restraint": "restraint", "inspect": "other", "note": "other", "wait_for": "other",
}


def look_of(kind: str) -> Look:
    """Return how a kind of step looks."""
    return LOOKS[_OF_KIND.get(kind, "hands")]


def day_chart(plan: DayPlan) -> Figure:
    """Draw the day as one slide: lanes, critical path, slack, limits, and in words how likely it ends in time."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    style = {"font.family": "DejaVu Sans", "font.size": 13, "hatch.linewidth": 0.6, "text.parse_math": False}
    with matplotlib.rc_context(style):
        figure = Figure(figsize=SLIDE_IN, facecolor=palette.PAPER)
        FigureCanvasAgg(figure)
        actors = _actors(plan)
        axes = figure.add_axes(room_for_lanes(plan))
        _frame(axes, plan, actors)
        for lane, actor in enumerate(actors):
            for slot in plan.schedule.of(actor):
                _bar(axes, plan, slot, lane)
        _limits(axes, plan, len(actors))
        draw_below(figure, plan, axes)
        _words(figure, plan)
        _legend(figure)
    return figure


def _actors(plan: DayPlan) -> list[str]:
    """Return the arm first, then the crew, then others, those that do something."""
    busy = {actor for slot in plan.schedule.slots for actor in slot.actors}
    known = [ARM, *plan.scene.loaded.crew, *plan.day.others]
    return [actor for actor in known if actor in busy]


def _frame(axes: Axes, plan: DayPlan, actors: Sequence[str]) -> None:
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    fixed = (limit.lasts_s for limit in plan.limits if limit.since is None and limit.drawn is None)
    ends = [plan.schedule.end_s, *fixed]
    axes.set_xlim(0.0, max(ends) / _HOUR_S * 1.022)  # room for half of the last time
    axes.set_ylim(len(actors), 0.0)
    axes.set_yticks([k + 0.5 for k in range(len(actors))], actors, fontsize=18, fontweight="bold")
    axes.tick_params(axis="y", length=0)
    axes.xaxis.set_major_locator(MultipleLocator(0.5))
    axes.xaxis.set_major_formatter(FuncFormatter(lambda hours, _: clock(hours * _HOUR_S, 0)))
    axes.tick_params(axis="x", labelsize=13)
    axes.set_xlabel("hours:minutes:seconds from the start", fontsize=14)
    axes.grid(axis="x", color=palette.GRID, linewidth=0.8)
    axes.set_axisbelow(True)
    for k in range(1, len(actors)):
        axes.axhline(k, color=palette.FAINT_INK, linewidth=0.8)
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    if plan.day.start:
        above = axes.secondary_xaxis("top")
        above.xaxis.set_major_locator(MultipleLocator(1.0))
        above.xaxis.set_major_formatter(FuncFormatter(lambda hours, _: clock(hours * _HOUR_S + plan.day.start, 0)))
        above.tick_params(labelsize=12, length=3, labelcolor=palette.FAINT_INK)
        above.spines["top"].set_visible(False)


def _bar(axes: Axes, plan: DayPlan, slot: Slot, lane: int) -> None:
    from matplotlib.patches import Rectangle

    step = plan.step(slot.name)
    look = look_of(step.kind)
    start, end = slot.start_s / _HOUR_S, slot.end_s / _HOUR_S
    optional = step.as_time_permits is not None
    bar = Rectangle(
        (start, lane + _LOW - 0.09), end - start, _HIGH - _LOW, facecolor=look.fill, hatch=look.hatch, gid=slot.name,
        edgecolor=palette.FAINT_INK, linewidth=0.6, linestyle="dashed" if optional else "solid", zorder=3,
    )
    axes.add_patch(bar)
    below = lane + _HIGH - 0.04
    if slot.critical:
        axes.add_patch(
            Rectangle((start, lane + _LOW - 0.09), end - start, _HIGH - _LOW, fill=False, edgecolor=palette.INK,
                      linewidth=1.8, zorder=6)
        )
        axes.add_patch(Rectangle((start, below - 0.015), end - start, 0.05, color=palette.VERMILLION, zorder=4))
    elif slot.free_slack_s > 60.0:
        late = (slot.end_s + slot.free_slack_s) / _HOUR_S
        axes.plot([end, late], [below, below], color=palette.BLUE, linewidth=2, zorder=2, solid_capstyle="butt")
        axes.plot([late, late], [below - 0.05, below + 0.05], color=palette.BLUE, linewidth=2, zorder=2)
        free = clock(slot.free_slack_s)
        room = (late - end) * _hour_in(axes)
        words = next((words for words in (f"{free} free", free) if len(words) * _LETTER_IN <= room), "")
        axes.text((end + late) / 2, below - 0.045, words, fontsize=_SMALL_PT, ha="center", va="bottom",
                  color=palette.BLUE, zorder=5)
    _label(axes, step, start, end, lane)


def _label(axes: Axes, step: Step, start: float, end: float, lane: int) -> None:
    """Write a bar's title into it: level if it fits, else upright on as many lines as it is wide, else not at all."""
    from matplotlib.patheffects import withStroke

    lane_in = axes.get_window_extent().height / axes.figure.dpi / abs(axes.get_ylim()[0] - axes.get_ylim()[1])
    wide, high = (end - start) * _hour_in(axes), (_HIGH - _LOW) * lane_in
    letter, line = _LETTER_IN, _SMALL_PT / 72 * 1.18
    title = step.title or step.name.replace("_", " ")
    level = _even(title, wide / letter)
    if max(map(len, level)) * letter <= wide and len(level) * line <= high:
        words, turn = "\n".join(level), 0
    elif (rows := int(wide / line + 0.1)) >= 1:
        upright, letters = _even(title, high / letter), len(title)
        while len(upright) > rows:
            letters -= 1
            upright = _even(textwrap.shorten(title, letters, placeholder="…"), high / letter)
        words, turn = "\n".join(upright), 90
    else:
        return
    look = look_of(step.kind)
    middle = ((start + end) / 2, lane + (_LOW + _HIGH) / 2 - 0.09)
    text = axes.text(*middle, words, rotation=turn, ha="center", va="center", fontsize=_SMALL_PT, linespacing=1.0,
                     color=palette.BLACK, zorder=5, gid=step.name)
    text.set_path_effects([withStroke(linewidth=3.5, foreground=look.fill)])  # letters stand clear of the hatch


def _even(title: str, letters: float) -> list[str]:
    """Break a title into lines of at most so many letters, as few as can be and evenly long."""
    lines = textwrap.wrap(title, max(int(letters), 1), break_long_words=False)
    for width in range(1, int(letters)):
        even = textwrap.wrap(title, width, break_long_words=False)
        if len(even) <= len(lines) and max(map(len, even)) <= max(map(len, lines)):
            return even
    return lines


def _hour_in(axes: Axes) -> float:
    """Return how many inches an hour is wide."""
    low, high = axes.get_xlim()
    return float(axes.get_window_extent().width / axes.figure.dpi / (high - low))


def _limits(axes: Axes, plan: DayPlan, lanes: int) -> None:
    names: dict[float, list[str]] = {}
    for limit in plan.limits:
        if limit.since is None and limit.drawn is None:
            names.setdefault(round(limit.lasts_s), []).append(limit.name.replace("_", " "))
    for at_s, words in names.items():
        at = at_s / _HOUR_S
        axes.plot([at, at], [0, lanes], color=palette.VERMILLION, linewidth=3, linestyle="dashed", zorder=6)
        axes.text(at - 0.03, lanes - 0.05, ", ".join(words), rotation=90, fontsize=13, ha="right", va="bottom",
                  color=palette.VERMILLION, fontweight="bold", zorder=7)
    end = plan.schedule.end_s / _HOUR_S
    axes.plot([end, end], [0, lanes], color=palette.INK, linewidth=2.5, zorder=6)


def _words(figure: Figure, plan: DayPlan) -> None:
    title = plan.scene.loaded.scenario.title
    figure.text(0.012, 0.965, title, fontsize=22, fontweight="bold", va="top", color=palette.INK)
    figure.text(0.012, 0.905, summary_line(plan), fontsize=14, va="top", color=palette.INK)


def summary_line(plan: DayPlan) -> str:
    """Return when the day ends, what is left to its tightest limit, how likely that is met, and what is left out."""
    words = [f"ends at {clock(plan.schedule.end_s)}"]
    if plan.schedule.limits:
        tightest = min(plan.schedule.limits, key=lambda use: use.margin_s)
        words.append(_margin_words(tightest))
        classic, sampled = estimates(plan)
        limit = tightest.limit.lasts_s
        if tightest.limit.since is None and tightest.limit.drawn is None:
            words.append(
                f"in time {sampled.chance_by(limit):.0%} of days (critical path alone: {classic.chance_by(limit):.0%})"
            )
    if plan.slip:
        words.append("slip: " + ", ".join(f"{step} +{clock(s)}" for step, s in plan.slip.items()))
    gone = [d.name.replace("_", " ") + (f" → {d.fallback}" if d.fallback else "") for d in plan.schedule.dropped]
    words.append("left out: " + (", ".join(gone) or "nothing"))
    return "   ·   ".join(words)


def _margin_words(use: LimitUse) -> str:
    name, late = use.limit.name.replace("_", " "), use.margin_s < 0
    if use.limit.drawn is not None:
        much = f"{clock(abs(use.margin_s))} of {name}"
        return f"✕ {much} into its reserve" if late else f"{much} above its reserve"
    return f"{'✕ ' if late else ''}{clock(abs(use.margin_s))} {'after' if late else 'before'} {name}"


def estimates(plan: DayPlan, samples: int = 20_000) -> tuple[PathEstimate, Days]:
    """Return the classic estimate of the day's end, for the steps that are done, and sampled days, seed 0."""
    classic, _ = path_estimate(plan.tasks, plan.schedule)
    return classic, sampled_days(plan.tasks, plan.limits, plan.failed, samples=samples)


def _legend(figure: Figure) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    marks: list[Any] = [
        Patch(facecolor=look.fill, hatch=look.hatch, edgecolor=palette.FAINT_INK, label=look.word)
        for look in LOOKS.values()
    ]
    marks += [
        Patch(facecolor=palette.PAPER, edgecolor=palette.FAINT_INK, linestyle="dashed", label="as time permits"),
        Patch(facecolor=palette.VERMILLION, edgecolor=palette.INK, linewidth=1.8, label="critical: no time to spare"),
        Line2D([], [], color=palette.BLUE, linewidth=2, marker="|", markersize=11, markevery=[-1], label="free time"),
    ]
    figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.005, 0.0), ncols=4, frameon=False, fontsize=13,
                  handlelength=2.2, columnspacing=1.6)
