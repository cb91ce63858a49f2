"""Pictures of a run: the whole of it, its tightest moments, and the worksites it comes to."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.finding import Finding
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.annotate import Sheet
from armcarry.views.indoors import indoors_at
from armcarry.views.moments import Still, failure, moment, worst_failures
from armcarry.views.stage import SIZE, Stage
from armcarry.views.viewpoint import body_corners, hiding, overview, towards_place
from armcarry.views.way import AT_WORKSITE_M, NEAR, NEAR_SHARE, SHORT, visited_worksites, way

Tell = Callable[[str, float], None]

#: the path of so many carries is drawn with lines as wide as those of one
_CARRIES = 3


def stills(
    record: Record,
    tight: int = 3,
    worksites: bool = True,
    size: tuple[int, int] = SIZE,
    tell: Tell | None = None,
    wanted: Callable[[Stage], Iterable[Still]] = lambda stage: (),
    findings: Sequence[Finding] = (),
    failed: int = 3,
) -> Iterator[Still]:
    """Draw the overview, what fails, the tightest moments, the worksites and what else is wanted, one after another.

    Args:
        record: the run.
        tight: how many tight moments, each of another two things.
        worksites: draw these too.
        size: width and height in pixels.
        tell: told what is drawn.
        wanted: draws further ones on the same stage.
        findings: what was found.
        failed: how many failures at most, each of another cause.

    Raises:
        ArmcarryError: nothing can be drawn on this machine.
    """
    say = tell or (lambda words, share: None)
    failures = worst_failures(record, findings, failed)
    moments, places = tightest_rows(record, tight), visited_worksites(record) if worksites else []
    total = 1 + len(failures) + len(moments) + len(places)
    with Stage(record, size) as stage:
        say("drawing the overview", 0.0)
        yield _overview(record, stage)
        for k, finding in enumerate(failures, start=1):
            say(f"drawing failure {k}", k / total)
            yield failure(record, stage, finding, f"failed_{k}" if k > 1 else "failed")
        for k, row in enumerate(moments, start=1):
            say(f"drawing tight moment {k}", (len(failures) + k) / total)
            yield moment(record, stage, row, f"tightest_{k}" if k > 1 else "tightest")
        for k, (site, time_s) in enumerate(places, start=1 + len(failures) + len(moments)):
            say(f"drawing worksite {site}", k / total)
            yield _worksite(record, stage, site, time_s)
        say("drawing the pictures asked for", 0.95)
        yield from wanted(stage)


def tightest_rows(record: Record, count: int) -> list[PairRow]:
    """Return the rows that matter most (see ``record.matters``), each two things (instance and class) at most once."""
    found: dict[tuple[str, ...], PairRow] = {}
    table = record.table
    rows = np.flatnonzero(table.judged)
    for row in table.rows(rows[np.lexsort((table.upper_m[rows], table.margin_m[rows], record.weights[rows]))]):
        pair = tuple(name.split("/", 1)[0] for name in (row.body_a, row.body_b))
        found.setdefault((*pair, row.class_a, row.class_b), row)
    return list(found.values())[:count]


def _overview(record: Record, stage: Stage) -> Still:
    planned = way(record)
    stage.show(record.motion.start_s)
    corners = np.concatenate([body_corners(record, record.motion.start_s), planned.points_m])
    stage.look(overview(corners, stage.size[0] / stage.size[1]))
    # of a day of many carries fine lines, or nothing but lines would be seen
    wide = 1.0 if len({move.carry for move in record.moves}) <= _CARRIES else 0.4
    lines = [stage.path(planned.points_m, palette.LIGHT, 4.0 * wide)]
    near, short = planned.stretches(NEAR), planned.stretches(SHORT)
    lines += [stage.path(part, palette.YELLOW, 7.0 * wide) for part in near]
    lines += [stage.path(part, palette.VERMILLION, 7.0 * wide) for part in short]
    sheet = Sheet(stage.shot())
    for line in lines:
        stage.forget(line)
    below = "the start of the run; white: path of the tool"
    below += f"; yellow: less than {NEAR_SHARE:g} times what is required" if near else ""
    below += "; red: less than is required" if short else ""
    sheet.title(record.scene.loaded.scenario.title, below)
    tree, links = record.link_poses(record.motion.start_s)
    for words, place in planned.places[:2]:
        sheet.label(stage.pixels(place)[0][0], words, palette.LIGHT, 1.1)
    within = indoors_at(record, record.motion.start_s)
    for person in (name for name in record.scene.loaded.crew if name not in within):
        chest = f"{person}/{record.scene.loaded.crew[person].document.chest}"
        sheet.label(stage.pixels(links[tree.index(chest), :3, 3])[0][0], plain(person), palette.LIGHT, 1.1)
    for item in (name for name in record.scene.loaded.hardware if name not in within):
        root = f"{item}/{tree.mounting(item).model.root}"
        sheet.label(stage.pixels(links[tree.index(root), :3, 3])[0][0], plain(item), palette.SKY_BLUE)
    for site in record.scene.loaded.platform.document.worksites.values():
        stand = links[tree.index(f"{PLATFORM}/{site.stand}"), :3, 3]
        if stage.in_view([stand])[0]:
            sheet.label(stage.pixels(stand)[0][0], site.title.split(":")[0], palette.BLUISH_GREEN, 0.85)
    return Still("overview", "The whole scene at the start, with the path of the tool", sheet.pixels(), "The scene")


def _worksite(record: Record, stage: Stage, name: str, time_s: float) -> Still:
    """Draw a worksite: who works there and what is worked on in full colour, all else dimmed, points of work named."""
    site = record.scene.loaded.platform.document.worksites[name]
    stage.show(time_s)
    tree, links = record.link_poses(time_s)
    spots = {words: links[tree.index(f"{PLATFORM}/{frame}"), :3, 3] for words, frame in site.work_points.items()}
    stand = links[tree.index(f"{PLATFORM}/{site.stand}")]
    chest = stand[:3, 3] + 1.2 * stand[:3, 2]
    places = np.stack([chest, *spots.values()])
    there = _at_place(record, time_s, chest)
    bodies = [k for k, body in enumerate(record.bodies) if body.name.split("/", 1)[0] in there]
    stage.spare([record.bodies[k].name for k in bodies], 0.55)
    view = towards_place(record, time_s, places, 6.0)
    stage.look(view)
    whole = body_corners(record, time_s).reshape(-1, 8, 3)[bodies].reshape(-1, 3)
    way = np.subtract(view.eye_m, view.focus_m)
    if len(whole) and not stage.in_view(whole).all() and np.linalg.norm(way[:2]) > 0.3 * np.linalg.norm(way):
        # nobody who works there is cut: the same side from as far as that takes
        view = overview(np.concatenate([places, whole]), stage.size[0] / stage.size[1], way)
        stage.look(view)
    stage.see_through(hiding(record, time_s, places, view.eye_m, [record.bodies[k].name for k in bodies]))
    sheet = Sheet(stage.shot())
    sheet.title(site.title, f"{clock(time_s)} from the start")
    for words, spot in spots.items():
        sheet.label(stage.pixels(spot)[0][0], plain(words.removeprefix(f"{name}_")), palette.BLUISH_GREEN)
    sheet.label(stage.pixels(stand[:3, 3])[0][0], "boots", palette.FAINT_LIGHT)
    for thing in there:
        own = [record.bodies[k].name for k in bodies if record.bodies[k].name.startswith(f"{thing}/")]
        spot = np.mean([stage.scene.body_pose(name)[:3, 3] for name in own], axis=0)
        if stage.in_view([spot])[0]:
            sheet.label(stage.pixels(spot)[0][0], plain(thing), palette.LIGHT, 1.1)
    stage.see_through(())
    stage.spare((), 1.0)
    words = f"Worksite {site.title} at {clock(time_s)}"
    return Still(f"worksite_{name}", words, sheet.pixels(), f"Worksite {site.title}")


def _at_place(record: Record, time_s: float, place: Array) -> list[str]:
    """Return the crew and hardware that have a body within reach of a place (3,)."""
    middles = record.body_poses(time_s)[0, :, :3, 3]
    near = {
        body.name.split("/", 1)[0]
        for body, middle in zip(record.bodies, middles, strict=True)
        if np.linalg.norm(middle - place) <= AT_WORKSITE_M
    }
    return [thing for thing in (*record.scene.loaded.crew, *record.scene.loaded.hardware) if thing in near]
