"""What a rehearsal leaves in its run folder to look at: plots, and pictures where they can be drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import inner_folder, note_whole, write_text_atomic
from armcarry.record.beside import cores, side_by_side
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views import plots, whatifs

Tell = Callable[[str, float], None]

#: holds the reason when pictures could not be drawn
LEFT_OUT = "pictures_left_out.txt"


def write_views(
    record: Record, findings: Iterable[Finding], folder: Path, progress: Tell | None = None
) -> list[Path]:
    """Write the plots and the first pictures of a run.

    Where nothing can be drawn in 3-D the plots are written all the same, and a text file says why there
    are no pictures; that never stops a rehearsal.

    Args:
        record, findings: the run and what was found.
        folder: where; made when it is missing.
        progress: told what is being drawn and the share done.

    Returns:
        The files written.
    """
    inner_folder(folder)
    (folder / LEFT_OUT).unlink(missing_ok=True)
    try:
        return _written(record, tuple(findings), folder, progress or (lambda words, share: None))
    except KeyboardInterrupt:
        write_text_atomic(folder / LEFT_OUT, "Pictures were left out: drawing was stopped\n")
        raise


def _written(record: Record, kept: tuple[Finding, ...], folder: Path, tell: Tell) -> list[Path]:
    """Draw pictures here and plots beside, where there are two cores: neither waits for the other."""
    pictures, plotted = side_by_side(
        (lambda: _pictures(record, folder, tell), lambda: _plots(record, kept, folder)), min(cores(), 2)
    )
    for path in plotted:
        note_whole(path)
    tell("pictures and plots are written", 1.0)
    return [*plotted, *pictures]


def _plots(record: Record, kept: tuple[Finding, ...], folder: Path) -> list[Path]:
    written = []
    makers = {"joints": plots.joint_angles, "joint_rates": plots.joint_rate_figure, "clearance": plots.clearance}
    for name, make in makers.items():
        written.append(plots.save(make(record), folder / f"{name}.png"))
    if record.plan is not None:
        from armcarry.views.gantt import day_chart

        written.append(plots.save(day_chart(record.plan), folder / "day.png"))
    return [*written, *whatifs.write_plots(whatifs.WHAT_IFS, record, kept, folder).values()]


def _pictures(record: Record, folder: Path, tell: Tell) -> list[Path]:
    """Return the pictures written, or the file that says why there are none."""
    from armcarry.views.stills import stills

    try:
        return [still.save(folder) for still in stills(record, tight=1, worksites=False, tell=tell)]
    except RecordError:
        raise
    except ArmcarryError as error:
        write_text_atomic(folder / LEFT_OUT, f"Pictures were left out: {error}\n")
        return [folder / LEFT_OUT]
