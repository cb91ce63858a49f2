"""The axis of time that plots share: minutes of a carry, hours of a day, and a line where a move starts."""

from __future__ import annotations

from typing import TYPE_CHECKING

from armcarry.record.record import Record
from armcarry.views import palette

if TYPE_CHECKING:
    from matplotlib.axes import Axes

#: a slide of 16:9 in inches; with the sizes below a line of text is 2 % of its height
SLIDE_IN = (13.333, 7.5)
MINUTE_S = 60.0
#: what ends later is told in hours, as on a clock; between two ticks of those, s, and the room one wants, in
_CLOCK_FROM_S = 3600.0
_CLOCK_STEPS_S = (2, 5, 10, 30, 60, 120, 300, 900, 1800, 3600, 7200, 14400, 43200)
_TICK_IN = 0.75
Window = tuple[float, float]


def time_axis(axes: Axes, record: Record, labelled: bool, when: tuple[Window, float | None]) -> None:
    """Set the axis of minutes with a line at the start of every move; ``when``: from when to when, and a cursor."""
    (start, end), cursor_s = when
    axes.set_xlim(start / MINUTE_S, end / MINUTE_S)
    axes.tick_params(labelbottom=labelled)
    unit = "minutes" if end <= _CLOCK_FROM_S else _clock_ticks(axes, end - start)
    if labelled:
        axes.set_xlabel(f"{unit} from the start")
    for move in record.moves:
        if not start <= move.start_s <= end:
            continue
        axes.axvline(move.start_s / MINUTE_S, color=palette.FAINT_INK, linewidth=0.7, alpha=0.6)
    if cursor_s is not None:
        axes.axvline(cursor_s / MINUTE_S, color=palette.INK, linewidth=2.4)


def _clock_ticks(axes: Axes, span_s: float) -> str:
    """Set ticks of hours, as findings and step cards tell the time of a day, and return what they show."""
    from matplotlib.ticker import FuncFormatter, MultipleLocator

    inches = axes.get_position().width * SLIDE_IN[0]
    steps = (step for step in _CLOCK_STEPS_S if span_s / step * _TICK_IN <= inches)
    step_s = next(steps, _CLOCK_STEPS_S[-1])
    seconds = step_s < MINUTE_S

    def words(minute: float, _: int) -> str:
        whole = round(minute * MINUTE_S)
        return f"{whole // 3600}:{whole // 60 % 60:02d}" + (f":{whole % 60:02d}" if seconds else "")

    axes.xaxis.set_major_locator(MultipleLocator(step_s / MINUTE_S))
    axes.xaxis.set_major_formatter(FuncFormatter(words))
    return "hours:minutes:seconds" if seconds else "hours:minutes"
