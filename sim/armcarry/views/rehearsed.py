"""What a rehearsal leaves in its run folder to look at: plots, and pictures where they can be drawn."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import inner_folder, write_text_atomic
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
    from armcarry.views.stills import stills

    written = []
    makers = {"joints": plots.joint_angles, "joint_rates": plots.joint_rate_figure, "clearance": plots.clearance}
    for k, (name, make) in enumerate(makers.items()):
        tell(f"plotting {name.replace('_', ' ')}", 0.06 * k)
        written.append(plots.save(make(record), folder / f"{name}.png"))
    if record.plan is not None:
        from armcarry.views.gantt import day_chart

        written.append(plots.save(day_chart(record.plan), folder / "day.png"))
    written += whatifs.write_plots(whatifs.WHAT_IFS, record, kept, folder, _within(tell, 0.2, 0.4)).values()
    try:
        pictures = stills(record, tight=1, worksites=False, tell=_within(tell, 0.6, 0.4))
        written += [still.save(folder) for still in pictures]
    except RecordError:
        raise
    except ArmcarryError as error:
        write_text_atomic(folder / LEFT_OUT, f"Pictures were left out: {error}\n")
        written.append(folder / LEFT_OUT)
    tell("pictures and plots are written", 1.0)
    return written


def _within(tell: Tell, start: float, span: float) -> Tell:
    """Return what tells a share of a part as the share of the whole."""
    return lambda words, share: tell(words, start + span * share)
