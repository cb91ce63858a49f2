"""Pictures of one moment: two bodies and the gap between them, and what fails, with what a fault brings about."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.causes import causes, worst_s
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import PairRow, Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.annotate import Pixels, Sheet
from armcarry.views.closest import kept, worded
from armcarry.views.pointed import Gap, gap_at, gap_of, label_words, look_at, named, shown_first, spots, standing
from armcarry.views.stage import Stage
from armcarry.views.viewpoint import Viewpoint, about_gap, hiding, screens, towards_gap


@dataclass(frozen=True, eq=False)
class Still:
    """One picture: a file name without ending, what it shows, its pixels (h, w, 3), and a title of a few words."""

    name: str
    words: str
    pixels: Pixels
    title: str

    def save(self, folder: Path) -> Path:
        """Write it as PNG and return the path."""
        return Sheet(self.pixels).save(folder / f"{self.name}.png")


def moment(record: Record, stage: Stage, row: PairRow, name: str) -> Still:
    """Draw two bodies at the time of their least distance, with the gap between them measured."""
    short = not kept(row, row.lower_m)
    colour = palette.VERMILLION if short else palette.BLUISH_GREEN
    title, value = f"{plain(row.body_a)} – {plain(row.body_b)}", worded(row, row.lower_m)
    below = f"{'✕ under what is required' if short else '✓ keeps what is required'}; least distance at "
    pixels = _gap(record, stage, gap_at(row), title, f"{below}{clock(row.time_s)} from the start", value, colour)
    return Still(name, f"{plain(row.body_a)} and {plain(row.body_b)} at {clock(row.time_s)}: {value}", pixels, title)


def worst_failures(record: Record, findings: Sequence[Finding], most: int) -> list[Finding]:
    """Return what fails and is worth a picture, one of each cause, the worst first."""
    firsts = [min(same, key=lambda item: shown_first(record, item)) for same in causes(findings, Verdict.FAIL).values()]
    firsts.sort(key=lambda item: shown_first(record, item))
    return [item for item in firsts if gap_of(record, item) is not None or spots(record, item)][:most]


def failure(record: Record, stage: Stage, finding: Finding, name: str) -> Still:
    """Draw what fails: its gap, with everything where a fault would bring it; without a gap, what it is about."""
    gap, time_s, colour = gap_of(record, finding), worst_s(finding), palette.VERMILLION
    title, value = named(finding) or plain(finding.check), label_words(finding, gap)
    below = f"✕ {plain(finding.check)} at {clock(time_s)} from the start"
    words = f"What fails, {plain(finding.check)} at {clock(time_s)}: {finding.message}"
    if gap is not None:
        below += "; the arm and all on it as they would stand then" if gap.joints else ""
        return Still(name, words, _gap(record, stage, gap, title, below, value, colour), f"Fails: {title}")
    stage.show(time_s)
    stage.look(look_at(record, finding))
    sheet = Sheet(stage.shot())
    sheet.title(title, below)
    for spot in spots(record, finding):
        if stage.in_view([spot])[0]:
            sheet.label(stage.pixels(spot)[0][0], value, colour, 1.5)
            break
    return Still(name, words, sheet.pixels(), f"Fails: {title}")


def _gap(record: Record, stage: Stage, gap: Gap, title: str, below: str, value: str, colour: str) -> Pixels:
    """Draw a gap with its value, its two bodies named, and what stands before it see-through."""
    there = standing(record, gap)
    stage.show(gap.time_s, there if gap.joints else None)
    stage.mark(dict.fromkeys(gap.bodies, palette.LIGHT))
    view = towards_gap(there, gap.time_s, gap.bodies, gap.point_a, gap.point_b)
    stage.look(view)
    a, b = np.asarray(gap.point_a), np.asarray(gap.point_b)
    before = screens(there, gap.time_s, gap.bodies, about_gap(a, b), view.eye_m)
    stage.see_through(before)
    sheet = Sheet(stage.shot())
    (at_a, at_b), _ = stage.pixels([a, b])
    sheet.title(title, below + ("; what stands before it is drawn see-through" if before else ""))
    sheet.line(at_a, at_b, colour, 0.3)
    sheet.label((at_a + at_b) / 2, value, colour, 1.5)
    for body, near in zip(gap.bodies, (a, b), strict=True):
        spot = _body_spot(there, stage, gap, body, near, view, before)
        if spot is not None:
            sheet.label(spot, plain(body), palette.LIGHT)
    stage.see_through(())
    stage.mark({})
    return sheet.pixels()


def _body_spot(
    record: Record, stage: Stage, gap: Gap, name: str, near: Array, view: Viewpoint, before: tuple[str, ...]
) -> Array | None:
    """Return a pixel (2,) on a body, as far from its nearest point as can be seen, None when it is out of view."""
    row = next(k for k, body in enumerate(record.bodies) if body.name == name)
    middle = record.body_poses(gap.time_s)[0, row, :3, 3]
    for share in (0.2, 0.5, 0.7, 0.85, 0.95, 1.0):
        spot = middle + share * (near - middle)
        if stage.in_view([spot])[0] and not hiding(record, gap.time_s, spot[None], view.eye_m, (name, *before)):
            return np.asarray(stage.pixels(spot)[0][0])
    return None
