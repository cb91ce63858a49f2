"""The pictures and plots of a briefing, drawn once into a folder and used by report and slides alike."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from armcarry.comparing.flown import Flown
from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import inner_folder
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views import plots, whatifs
from armcarry.views.brief.content import Carry, carries
from armcarry.views.stills import stills
from armcarry.views.wanted import wanted_stills

Tell = Callable[[str, float], None]


@dataclass(frozen=True)
class Picture:
    """A file and what it shows.

    ``carry`` is the name of the carry it belongs to, empty for the whole run; ``what_if`` names the check of
    what could go wrong that it belongs to, empty for none; ``title`` stands over it on a slide.
    """

    path: Path
    words: str
    carry: str = ""
    what_if: str = ""
    title: str = ""


@dataclass(frozen=True)
class Pictures:
    """All pictures of a briefing; ``left_out`` says why there are no views in three dimensions, if so."""

    views: tuple[Picture, ...]
    plots: tuple[Picture, ...]
    left_out: str = ""

    def of(self, carry: Carry) -> tuple[Picture, ...]:
        """Return the plots of one carry."""
        return tuple(picture for picture in self.plots if picture.carry == carry.name)

    def hero(self, failed: bool) -> Picture | None:
        """Return the picture for the first page: what failed worst, else the whole scene."""
        by_name = {picture.path.stem: picture for picture in self.views}
        names = ("failed", "tightest", "overview") if failed else ("overview",)
        return next((by_name[name] for name in names if name in by_name), next(iter(self.views), None))

    @property
    def failed(self) -> tuple[Picture, ...]:
        """The pictures of what fails, the worst first."""
        return tuple(picture for picture in self.views if picture.path.stem.startswith("failed"))

    @property
    def day(self) -> tuple[Picture, ...]:
        """The plots of the whole run."""
        return tuple(picture for picture in self.plots if not picture.carry and not picture.what_if)

    @property
    def what_ifs(self) -> tuple[Picture, ...]:
        """The plots of what could go wrong."""
        return tuple(picture for picture in self.plots if picture.what_if)

    def of_check(self, check: str) -> tuple[Picture, ...]:
        """Return the plots of one check of what could go wrong."""
        return tuple(picture for picture in self.what_ifs if picture.what_if == check)


def draw(record: Record, folder: Path, findings: Sequence[Finding] = (), tell: Tell | None = None) -> Pictures:
    """Draw everything into a folder, which is made when missing.

    Args:
        record: the run.
        folder: where.
        findings: their verdicts stand in the titles of the what-if plots.
        tell: told what is drawn.

    Without OpenGL the plots are drawn all the same and ``left_out`` says why the views are missing.
    """
    say = tell or (lambda words, share: None)
    inner_folder(folder)
    charts = [picture for carry in carries(record) for picture in _carry_plots(record, carry, folder)]
    if record.plan is not None:
        from armcarry.views.gantt import day_chart

        charts.append(Picture(plots.save(day_chart(record.plan), folder / "day.png"), "The day: who does what when"))
    say("plotting what could go wrong", 0.1)
    plotted = whatifs.write_plots(whatifs.WHAT_IFS, record, findings, folder)
    charts += [
        Picture(plotted[item.check], item.words, what_if=item.check, title=item.title)
        for item in whatifs.WHAT_IFS if item.check in plotted
    ]
    views: list[Picture] = []
    try:
        drawn = stills(
            record, tell=lambda words, share: say(words, 0.2 + 0.8 * share),
            wanted=lambda stage: wanted_stills(record, stage), findings=findings,
        )
        views.extend(Picture(still.save(folder), still.words, title=still.title) for still in drawn)
    except RecordError:
        raise
    except ArmcarryError as error:
        return Pictures(tuple(views), tuple(charts), str(error))
    return Pictures(tuple(views), tuple(charts))


def with_flown(pictures: Pictures, steps: Sequence[Flown], folder: Path) -> Pictures:
    """Return the pictures with the time line of what was flown beside the plan."""
    from armcarry.views.flown import flown_chart

    path = plots.save(flown_chart(steps), folder / "flown.png")
    return replace(pictures, plots=(*pictures.plots, Picture(path, "Flown beside planned: who did what when")))


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
