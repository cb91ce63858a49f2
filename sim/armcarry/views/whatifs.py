"""The what-ifs that views tell of, each with its plot and table: the one list of them, in the order of a report.

Pictures in a run folder, report and slides go through it; a new what-if is told everywhere once it stands here.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from armcarry.files.atomic import write_bytes_atomic
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views import sweep_plots, whatif_plots
from armcarry.views.plots import image, is_drawn
from armcarry.views.table import Table
from armcarry.views.whatif_tables import cameras_table, homes_table, runaways_table

if TYPE_CHECKING:
    from matplotlib.figure import Figure


@dataclass(frozen=True)
class WhatIf:
    """One question of what could go wrong, or of who would see it.

    Attributes:
        check: the check that answers it; its plot's file has that name too.
        title: what is asked, over its part of a report.
        words: what its plot shows, as a caption.
        plot: draws it, with the verdicts of findings in its titles; without any data where nothing is known.
        table: what is told beside the findings, None where nothing is known.
        shares: widths of that table's columns against each other.
    """

    check: str
    title: str
    words: str
    plot: Callable[[Record, Sequence[Finding]], Figure]
    table: Callable[[Record], Table | None] = lambda record: None
    shares: tuple[float, ...] = ()


WHAT_IFS = (
    WhatIf(
        "stopping", "Told to stop late",
        "How far the arm runs out when told to stop, how long that takes and what clearance is left",
        sweep_plots.stopping,
    ),
    WhatIf(
        "runaway", "A joint runs away", "Room left when a joint runs away, joint by joint along the run",
        sweep_plots.runaway, runaways_table, (3.0, 3.0, 3.0),
    ),
    WhatIf(
        "locked_joint", "A joint locks", "Where the other joints bring the rider when one locks",
        sweep_plots.locked_joint,
    ),
    WhatIf(
        "stranded", "The arm quits and its rider is stranded",
        "Way home of a stranded rider, and of everybody outside, along the run",
        whatif_plots.stranded, homes_table, (2.2, 1.6, 1.6, 5.0),
    ),
    WhatIf(
        "seen", "What the cameras see", "What the cameras see along the run",
        whatif_plots.cameras, cameras_table, (2.2, 1.0, 2.4, 3.4, 3.0),
    ),
    WhatIf("light", "In what light", "Light along the run", whatif_plots.light),
    WhatIf(
        "near_people", "Loads and rates near people",
        "Distance of arm and hardware from people, and the separation asked for", whatif_plots.near_people,
    ),
)  # fmt: skip
#: the checks whose findings stand with their what-if, not among the others
CHECKS = frozenset(item.check for item in WHAT_IFS)


def write_plots(
    what_ifs: Sequence[WhatIf], record: Record, findings: Iterable[Finding], folder: Path
) -> dict[str, Path]:
    """Write the plots of some what-ifs as PNG, and return the path of each by its check.

    A plot that would be empty is left out; the findings say why.

    Args:
        what_ifs: those to plot.
        record: the run.
        findings: what was found; its verdicts stand in the titles.
        folder: where; made when it is missing.
    """
    folder.mkdir(parents=True, exist_ok=True)
    written = {}
    for check, content in plotted(what_ifs, record, findings).items():
        written[check] = folder / f"{check}.png"
        write_bytes_atomic(written[check], content)
    return written


def plotted(what_ifs: Sequence[WhatIf], record: Record, findings: Iterable[Finding]) -> dict[str, bytes]:
    """Return the plots of some what-ifs as PNG files have them, by their checks; none that would be empty."""
    kept, found = tuple(findings), dict[str, bytes]()
    for item in what_ifs:
        figure = item.plot(record, kept)
        if is_drawn(figure):
            found[item.check] = image(figure)
    return found
