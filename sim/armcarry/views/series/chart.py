"""One time line for several outings: a lane an actor, outing after outing, from the start of each."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from armcarry.procedure.model import role
from armcarry.procedure.tasks import FLOWN
from armcarry.quantities import clock
from armcarry.views import palette
from armcarry.views.series.told import Told

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_HOUR_S = 3600.0
#: room between two outings, as a share of the longest
_GAP = 0.04
#: kinds of tasks in which the arm moves
_MOVES = ("carry", "move_base", *FLOWN)


def time_line(runs: Sequence[Told]) -> Figure:
    """Draw what everybody does in each outing; the arm's motion is hatched, what may be left out is dashed."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Rectangle

    actors = list(dict.fromkeys(
        actor for run in runs for actor in run.procedure.actors if actor != run.procedure.reader
    ))
    gap_s = _GAP * max(run.record.duration_s for run in runs)
    with matplotlib.rc_context({"font.family": "DejaVu Sans", "hatch.linewidth": 0.6, "text.parse_math": False}):
        figure = Figure(figsize=(13.333, 2.2 + 0.95 * len(actors)), facecolor=palette.PAPER, layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        total_s = sum(run.record.duration_s + gap_s for run in runs)
        begun_s, ticks = 0.0, list[tuple[float, str]]()
        for run in runs:
            for task in run.procedure.tasks:
                moves = task.kind in _MOVES
                for lane in (actors.index(who) for who in dict.fromkeys((*task.actors, *task.riders)) if who in actors):
                    axes.add_patch(Rectangle(
                        ((begun_s + task.start_s) / _HOUR_S, lane + 0.15), (task.end_s - task.start_s) / _HOUR_S, 0.7,
                        facecolor="#F3C969" if moves else "#BCE0F5", hatch="///" if moves else "", linewidth=0.5,
                        edgecolor=palette.FAINT_INK, linestyle="dashed" if task.optional else "solid",
                    ))
            length_s = run.record.duration_s
            axes.axvline(begun_s / _HOUR_S, color=palette.INK, linewidth=1.6)
            axes.axvline((begun_s + length_s) / _HOUR_S, color=palette.INK, linewidth=1.6)
            wide = max(int(130 * length_s / total_s), 12)  # letters that fit above an outing
            words = textwrap.fill(f"{run.title}, {run.date + ', ' if run.date else ''}{clock(length_s, 0)}", wide)
            axes.text((begun_s + length_s / 2) / _HOUR_S, -0.1, words, ha="center", va="bottom", fontsize=11)
            step_s = _HOUR_S if length_s > 2 * _HOUR_S else 600.0
            marks = [k * step_s for k in range(int(length_s / step_s) + 1)]
            ticks += [((begun_s + at_s) / _HOUR_S, clock(at_s, 0)) for at_s in marks]
            begun_s += length_s + gap_s
        axes.set_xlim(-0.01 * begun_s / _HOUR_S, begun_s / _HOUR_S)
        axes.set_ylim(len(actors), -1.3)
        axes.set_yticks([k + 0.5 for k in range(len(actors))], [role(actor) for actor in actors], fontsize=13)
        axes.set_xticks([at for at, _ in ticks], [words for _, words in ticks], fontsize=8, rotation=90)
        axes.set_xlabel("from the start of each outing", fontsize=11)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
    return figure
