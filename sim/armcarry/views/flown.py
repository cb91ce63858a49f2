"""Flown against planned, as a table and as a time line."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from armcarry.comparing.flown import Flown
from armcarry.files.documents.steps import ARM
from armcarry.procedure.model import role
from armcarry.quantities import clock
from armcarry.views import palette
from armcarry.views.table import Table

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_HOUR_S = 3600.0


def flown_table(steps: Sequence[Flown]) -> Table:
    """Return each step with its planned and its flown time, and by how much it was later and longer."""
    rows = tuple(
        (step.title, ", ".join(map(role, step.actors)),
         f"{clock(step.planned_s[0], 0)} to {clock(step.planned_s[1], 0)}", _span(step),
         _by(step.late_s), _by(step.longer_s), step.remark)
        for step in steps
    )  # fmt: skip
    return Table(("step", "who", "planned", "flown", "later by", "longer by", "remark"), rows)


def flown_words(steps: Sequence[Flown]) -> str:
    """Say in a line how the flight kept to its plan."""
    known = [step for step in steps if step.start_s is not None]
    ended = [step for step in known if step.end_s is not None]
    words = [f"{len(known)} of {len(steps)} steps have times"]
    if ended:
        last = max(ended, key=lambda step: step.end_s or 0.0)
        words.append(f"the last of them ended {_by((last.end_s or 0.0) - last.planned_s[1])} against its plan")
        slow = max(ended, key=lambda step: step.longer_s or 0.0)
        if (slow.longer_s or 0.0) > 0:
            words.append(f"'{slow.title}' took the most more, {_by(slow.longer_s)}")
    return "; ".join(words) + "."


def _span(step: Flown) -> str:
    if step.start_s is None:
        return "not told"
    return f"{clock(step.start_s, 0)} to {'?' if step.end_s is None else clock(step.end_s, 0)}"


def _by(seconds: float | None) -> str:
    if seconds is None:
        return ""
    return f"{'-' if seconds < 0 else '+'}{clock(abs(seconds), 0)}"


def flown_chart(steps: Sequence[Flown]) -> Figure:
    """Draw a lane an actor: above what was planned, below what was flown, hatched; a line joins the two starts."""
    import matplotlib
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.patches import Patch, Rectangle

    actors = list(dict.fromkeys(actor for step in steps for actor in step.actors))
    with matplotlib.rc_context({"font.family": "DejaVu Sans", "hatch.linewidth": 0.6, "text.parse_math": False}):
        figure = Figure(figsize=(13.333, 1.7 + 1.3 * len(actors)), facecolor=palette.PAPER, layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.add_subplot()
        last_s = 1.0
        for step in steps:
            spans = [(*step.planned_s, 0.1, "#BCE0F5" if ARM not in step.actors else "#F3C969", "")]
            if step.start_s is not None and step.end_s is not None:
                spans.append((step.start_s, step.end_s, 0.52, palette.PAPER, "////"))
            for actor in step.actors:
                lane = actors.index(actor)
                for start_s, end_s, top, fill, hatch in spans:
                    last_s = max(last_s, end_s)
                    axes.add_patch(Rectangle(
                        (start_s / _HOUR_S, lane + top), (end_s - start_s) / _HOUR_S, 0.38, facecolor=fill, hatch=hatch,
                        edgecolor=palette.FAINT_INK, linewidth=0.7,
                    ))
                if step.start_s is not None:
                    axes.plot([step.planned_s[0] / _HOUR_S, step.start_s / _HOUR_S], [lane + 0.48, lane + 0.52],
                              color=palette.VERMILLION, linewidth=1.2)
        axes.set_xlim(0.0, last_s / _HOUR_S * 1.01)
        axes.set_ylim(len(actors), 0.0)
        axes.set_yticks([k + 0.5 for k in range(len(actors))], [role(actor) for actor in actors], fontsize=13)
        axes.xaxis.set_major_formatter(lambda hours, _: clock(hours * _HOUR_S, 0))
        axes.set_xlabel("from the start", fontsize=11)
        axes.legend(handles=[
            Patch(facecolor="#BCE0F5", edgecolor=palette.FAINT_INK, label="planned (the arm's in orange)"),
            Patch(facecolor=palette.PAPER, edgecolor=palette.FAINT_INK, hatch="////", label="flown"),
        ], loc="lower right", bbox_to_anchor=(1.0, 1.0), ncols=2, frameon=False, fontsize=11)
        for side in ("top", "right", "left"):
            axes.spines[side].set_visible(False)
    return figure
