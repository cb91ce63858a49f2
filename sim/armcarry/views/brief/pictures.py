"""The pictures and plots of a briefing, drawn once into a folder and used by report and slides alike."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from armcarry.errors import ArmcarryError
from armcarry.record.record import Record
from armcarry.views import plots
from armcarry.views.brief.content import Carry, carries
from armcarry.views.stills import stills

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Picture:
    """A file and what it shows; ``carry`` is the name of the carry it belongs to, empty for the whole run."""

    path: Path
    words: str
    carry: str = ""


@dataclass(frozen=True)
class Pictures:
    """All pictures of a briefing; ``left_out`` says why there are no views in three dimensions, if so."""

    views: tuple[Picture, ...]
    plots: tuple[Picture, ...]
    left_out: str = ""

    def of(self, carry: Carry) -> tuple[Picture, ...]:
        """Return the plots of one carry."""
        return tuple(picture for picture in self.plots if picture.carry == carry.name)


def draw(record: Record, folder: Path, tell: Tell | None = None) -> Pictures:
    """Draw everything into a folder, which is made when missing.

    Without OpenGL the plots are drawn all the same and ``left_out`` says why the views are missing.
    """
    say = tell or (lambda words, share: None)
    folder.mkdir(parents=True, exist_ok=True)
    charts = [picture for carry in carries(record) for picture in _carry_plots(record, carry, folder)]
    if record.plan is not None:
        from armcarry.views.gantt import day_chart

        charts.append(Picture(plots.save(day_chart(record.plan), folder / "day.png"), "The day: who does what when"))
    views: list[Picture] = []
    try:
        drawn = stills(record, tell=lambda words, share: say(words, 0.2 + 0.8 * share))
        views.extend(Picture(still.save(folder), still.words) for still in drawn)
    except ArmcarryError as error:
        return Pictures(tuple(views), tuple(charts), str(error))
    return Pictures(tuple(views), tuple(charts))


def _carry_plots(record: Record, carry: Carry, folder: Path) -> list[Picture]:
    window = (carry.start_s, carry.end_s)
    if carry.end_s <= carry.start_s:
        return []
    makers = (
        ("joints", "Joint positions, travel limits and margins", plots.joint_angles),
        ("rates", "Joint rates and their limits", plots.joint_rate_figure),
        ("clearance", "Clearance against time, with what is required", plots.clearance),
    )
    return [
        Picture(plots.save(make(record, None, window), folder / f"{carry.name}_{name}.png"), words, carry.name)
        for name, words, make in makers
    ]
