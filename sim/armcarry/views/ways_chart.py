"""Ways on side by side: a picture of who does what when on each, over one time, and a page with what is otherwise."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from armcarry.errors import RecordError
from armcarry.files.atomic import building, reason, swap, write_text_atomic
from armcarry.files.documents.steps import ARM
from armcarry.quantities import clock
from armcarry.scheduling.way_on import WayOn
from armcarry.timeline.plan import DayPlan
from armcarry.views import palette, plots
from armcarry.views.filled import figure, filled
from armcarry.views.gantt import SLIDE_IN, look_of
from armcarry.views.ways_kept import FILE, PAGE, ways_text
from armcarry.views.ways_on import HEADINGS, changes, row, told
from armcarry.views.words import CAUTION

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_HOUR_S = 3600.0
_WORDS = "Who does what when on each way on; a thick frame: handed over or in another order than planned"


def write_ways(out: Path, ways: Sequence[WayOn], plan: DayPlan, at_s: float) -> list[Path]:
    """Write a folder with a folder each way that was flown, and a page of all, whole or not at all.

    The folder that it stands in is made where that is missing alone.

    Returns:
        the folders of the ways.

    Raises:
        RecordError: it cannot be written.
    """
    names = {f"{number}_{way.title.replace(',', '').replace(' ', '_')}": way
             for number, way in enumerate(ways) if way.files}  # fmt: skip
    try:
        out.parent.mkdir(exist_ok=True)
        with building(out) as partial:
            for name, way in names.items():
                told = {"way.json": json.dumps(way.as_dict(), indent=1, ensure_ascii=False).encode() + b"\n"}
                for path, data in {**way.files, **told}.items():
                    target = partial / name / path
                    target.parent.mkdir(parents=True, exist_ok=True)
                    target.write_bytes(data)
            write_ways_page(plan, ways, at_s, partial)
            swap(partial, out)
    except OSError as error:
        raise RecordError(f"cannot write {out}: {reason(error)}; nothing there was changed") from error
    return [out / name for name in names]


def write_ways_page(plan: DayPlan, ways: Sequence[WayOn], at_s: float, folder: Path) -> list[Path]:
    """Write ``ways.html`` and ``ways.json``, and where a way was flown ``ways.png``, into a folder; return their paths.

    Raises:
        RecordError: a file cannot be written.
    """
    flown = [way for way in ways if way.slots]
    picture = plots.save(ways_chart(plan, flown, at_s), folder / "ways.png") if flown else None
    title = f"{plan.scene.loaded.scenario.title}: ways on from {clock(at_s)}"
    verdict = f"{len(flown)} ways on that were flown, and why no others"
    html = filled("ways.html", title=title, verdict=verdict, caution=CAUTION, tables=tables(ways),
                  picture=None if picture is None else figure(picture, _WORDS))  # fmt: skip
    page, kept = folder / PAGE, folder / FILE
    write_text_atomic(page, html)
    write_text_atomic(kept, ways_text(title, tables(ways)))
    return [page, kept, *([picture] if picture is not None else [])]


def ways_chart(plan: DayPlan, ways: Sequence[WayOn], at_s: float) -> Figure:
    """Draw ways on that were flown one below another: a lane an actor, what changed in a thick frame."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    sheet = Figure(figsize=SLIDE_IN, facecolor=palette.PAPER)
    FigureCanvasAgg(sheet)
    rows = sheet.subplots(len(ways), 1, sharex=True, squeeze=False)[:, 0]
    sheet.subplots_adjust(left=0.06, right=0.99, top=0.94, bottom=0.09, hspace=0.35)
    for axes, way in zip(rows, ways, strict=True):
        _way(axes, plan, way, at_s)
    rows[0].set_xlim(at_s / _HOUR_S, max(way.end_s for way in ways) / _HOUR_S + 0.05)
    rows[-1].set_xlabel("hours from the start of the day", fontsize=13)
    return sheet


def _way(axes: Axes, plan: DayPlan, way: WayOn, at_s: float) -> None:
    from matplotlib.patches import Rectangle

    actors = [one for one in (ARM, *plan.scene.loaded.crew) if any(one in slot.actors for slot in way.slots)]
    kinds = {step.name: step.kind for step in plan.day.steps} | dict(way.put_back)  # else put in: along handrails
    changed = {*way.handed, *way.reordered, *way.adds}
    for slot in (one for one in way.slots if one.end_s > at_s):
        look = look_of(kinds.get(slot.name, "translate"))
        for actor in slot.actors:
            if actor in actors:
                edge = (palette.INK, 2.2) if slot.name in changed else (palette.FAINT_INK, 0.6)
                begin, end = max(slot.start_s, at_s) / _HOUR_S, slot.end_s / _HOUR_S
                axes.add_patch(Rectangle((begin, actors.index(actor) + 0.1), end - begin, 0.8, facecolor=look.fill,
                                         hatch=look.hatch, edgecolor=edge[0], linewidth=edge[1],
                                         gid=slot.name))  # fmt: skip
    axes.axvline(way.end_s / _HOUR_S, color=palette.INK, linewidth=2)
    axes.set_ylim(len(actors), 0)
    axes.set_yticks([k + 0.5 for k in range(len(actors))], actors, fontsize=12)
    held = "" if way.holds else " ✕"
    left = f", {len(way.drops)} steps left out" if way.drops else ""
    axes.set_title(f"{way.title}{held}: ends {clock(way.end_s)}{left}", fontsize=13, loc="left", fontweight="bold")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def tables(ways: Sequence[WayOn]) -> Iterator[tuple[str, Sequence[str], Sequence[tuple[str, ...]]]]:
    """Yield the tables of a page: all ways, then what is otherwise and what was found of each."""
    yield ("ways on", HEADINGS, [row(number, way) for number, way in enumerate(ways)])
    for number, way in enumerate(ways):
        rows = [("otherwise", words) for words in changes(way)] + [("found", words) for words in told(way)]
        if rows:
            yield (f"{number} {way.title}", ("", "what"), rows)
