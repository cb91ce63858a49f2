"""What a rehearsal leaves in its run folder to look at: plots, and pictures where they can be drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import inner_folder, write_bytes_atomic, write_text_atomic
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
    """Draw pictures here and plots beside, where there are two cores; all is written here, as a fork may outlive us."""
    made: list[Path] = []
    jobs = (lambda: _pictures(record, kept, folder, tell, made), lambda: _plots(record, kept))
    _, drawn = side_by_side(jobs, min(cores(), 2))
    written = []
    for name, content in drawn.items():
        written.append(folder / f"{name}.png")
        write_bytes_atomic(written[-1], content)
    tell("pictures and plots are written", 1.0)
    return [*written, *made]


def _plots(record: Record, kept: tuple[Finding, ...]) -> dict[str, bytes]:
    """Return every plot as its file has it, by the file's name without ending."""
    makers = {"joints": plots.joint_angles, "joint_rates": plots.joint_rate_figure, "clearance": plots.clearance}
    found = {name: plots.image(make(record)) for name, make in makers.items()}
    if record.plan is not None:
        from armcarry.views.gantt import day_chart

        found["day"] = plots.image(day_chart(record.plan))
    return found | whatifs.plotted(whatifs.WHAT_IFS, record, kept)


def _pictures(
    record: Record, kept: tuple[Finding, ...], folder: Path, tell: Tell, made: list[Path]
) -> dict[str, bytes]:
    """Write the pictures, or the file that says why there are none, and add their paths to ``made``."""
    from armcarry.views.stills import stills

    try:
        drawn = stills(record, tight=1, worksites=False, tell=tell, findings=kept, failed=1)
        made += [still.save(folder) for still in drawn]
    except RecordError:
        raise
    except ArmcarryError as error:
        write_text_atomic(folder / LEFT_OUT, f"Pictures were left out: {error}\n")
        made.append(folder / LEFT_OUT)
    return {}
