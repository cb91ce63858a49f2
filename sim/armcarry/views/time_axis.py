"""The axis of time that plots share: times as findings tell them, and a line where a move starts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.views import palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: a slide of 16:9 in inches; with the sizes below a line of text is 2 % of its height
SLIDE_IN = (13.333, 7.5)
MINUTE_S = 60.0
#: between two ticks, s, and the room one wants, in
_CLOCK_STEPS_S = (2, 5, 10, 30, 60, 120, 300, 900, 1800, 3600, 7200, 14400, 43200)
_TICK_IN = 0.75
Window = tuple[float, float]


def time_axis(axes: Axes, record: Record, labelled: bool, when: tuple[Window, float | None]) -> None:
    """Set the axis of time with a line at the start of every move; ``when``: from when to when, and a cursor."""
    (start, end), cursor_s = when
    axes.set_xlim(start / MINUTE_S, end / MINUTE_S)
    axes.tick_params(labelbottom=labelled)
    _clock_ticks(axes, end - start)
    if labelled:
        axes.set_xlabel("hours:minutes:seconds from the start")
    for move in record.moves:
        if not start <= move.start_s <= end:
            continue
        axes.axvline(move.start_s / MINUTE_S, color=palette.FAINT_INK, linewidth=0.7, alpha=0.6)
    if cursor_s is not None:
        axes.axvline(cursor_s / MINUTE_S, color=palette.INK, linewidth=2.4)


def _clock_ticks(axes: Axes, span_s: float) -> None:
    """Set ticks that read as findings and step cards tell a time."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    inches = axes.get_position().width * SLIDE_IN[0]
    steps = (step for step in _CLOCK_STEPS_S if span_s / step * _TICK_IN <= inches)
    step_s = next(steps, _CLOCK_STEPS_S[-1])

    def words(minute: float, _: int) -> str:
        return clock(minute * MINUTE_S, 0)

    axes.xaxis.set_major_locator(MultipleLocator(step_s / MINUTE_S))
    axes.xaxis.set_major_formatter(FuncFormatter(words))
