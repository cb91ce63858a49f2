"""Cards on paper, one set for everybody who has a part: a card a task, with its picture and what is said."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.documents.steps import ARM
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.procedure.lines import Line, lines
from armcarry.procedure.model import Procedure, Task, role
from armcarry.procedure.tasks import planned
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.brief.content import Table, restraint_settings
from armcarry.views.brief.moves import Card, Expected, Nearest
from armcarry.views.brief.paper import Paper, Size
from armcarry.views.brief.step_pictures import TaskPicture

_FOOT = "A rehearsal aid, no approval and no command: results support, and do not replace, the responsible authorities."
#: height of a card's picture, as a share of the page
_PICTURE = 0.19
_LARGE = ("way", "do", "fails", "caution", "say")


def write_cards(
    record: Record,
    procedure: Procedure,
    actor: str,
    path: Path,
    size: Size = "A4",
    *,
    told: Sequence[Card],
    pictures: Mapping[str, TaskPicture] | None = None,
) -> Path:
    """Write the cards of one actor and return their path.

    The arm's operator reads joint positions, the tip's pose, rates and where the arm stops; a rider the way in their
    own sense; everybody what to do, what is right, and what is said.

    Args:
        told: what there is to say of each move.
        pictures: by the task's number; cards without are written where nothing could be drawn.
    """
    paper = Paper(path, size, f"Cards for {role(actor)}: {procedure.title}", _FOOT)
    paper.text(f"Cards for {role(actor)}", 18, True, after=4)
    paper.text(procedure.title, 12, after=6)
    _head(paper, record, procedure, actor)
    by_move = {(card.move.carry, card.move.number): card for card in told}
    for task in procedure.of(actor):
        for leaf in [move for move in task.moves if actor == procedure.reader or move.concerns(actor)] or [task]:
            card = by_move.get(leaf.place_in_script)
            picture = None if pictures is None else pictures.get(leaf.number)
            paper.together(_card(paper, record, procedure, actor, task, leaf, card, picture))
            paper.gap(8)
    paper.write()
    return path


def _head(paper: Paper, record: Record, procedure: Procedure, actor: str) -> None:
    arm = record.scene.loaded.arm.document
    if actor == ARM:
        paper.text(f"Arm: {arm.title}. The arm stands still at the end of every card.", after=4)
    settings = restraint_settings(record)
    if settings and any(actor in task.riders for task in procedure.tasks):
        paper.heading("Foot restraint settings", 12)
        rows = tuple((plain(name), text) for name, text in settings)
        paper.table(Table(("setting", "angle, and steps from zero"), rows), (2, 5), 10)
    paper.text(
        "Ways are told in the rider's own sense at that time: ahead is where the chest faces, up towards the head. "
        f"Say STOP whenever you want; the arm needs {arm.reaction_time:.1f} s to begin to stop.", 10, after=8,
    )


def _card(
    paper: Paper, record: Record, procedure: Procedure, actor: str, task: Task, leaf: Task, card: Card | None,
    picture: TaskPicture | None,
) -> list[Any]:
    within = "" if leaf is task else f"{task.title}: "
    parts = [paper.paragraph(f"{leaf.number} {within}{leaf.title}", 13, True, after=1)]
    load = "" if card is None else f" · load: {plain(card.move.load)}"
    place = f" · {leaf.place}" if leaf.place else ""
    when = planned(leaf, procedure.day_start_s)
    parts.append(paper.paragraph(f"{when}{place}{load}", 9, colour=palette.FAINT_INK, after=2))
    if picture is not None:
        parts.append(paper.shown(picture.path, picture.words, _PICTURE))
    parts += [_line(paper, line) for line in lines(leaf, actor, procedure)]
    if card is not None and (actor == ARM or actor in leaf.riders):
        parts += _of_move(paper, record, actor, card)
    return parts


def _line(paper: Paper, line: Line) -> Any:
    large = line.kind in _LARGE
    return paper.paragraph(line.text, 11 if large else 9.5, line.kind in ("fails", "caution", "way"), after=1)


def _of_move(paper: Paper, record: Record, actor: str, card: Card) -> list[Any]:
    """Return what the arm's operator, or a rider, is told of a move beside its task."""
    if actor != ARM:
        mine = [each for each in card.expected if any(word in each.group for word in ("rider", "hardware"))]
        return [*_clearance(paper, mine, card.near_rider.get(actor)), paper.paragraph("; ".join(card.held), 9)]
    parts: list[Any] = []
    if card.moves_arm:
        parts.append(paper.grid(_joints(record, card), (3, *(2 for _ in card.joints)), 7.5, paper.width))
        parts.append(paper.paragraph(f"Tip: {plain(card.tip)} in frame {card.frame}", 8.5, True, after=1))
        parts.append(paper.grid(_tip(card), (1.4, 3, 4), 8.5, paper.width))
        parts.append(paper.paragraph(
            f"Tip speed at most {card.tip_speed_m_s:.3f} m/s of {card.allowed_m_s:.3f} m/s allowed", 9, after=2))
    parts += _clearance(paper, card.expected, card.told)
    if card.nearest is not None and card.told is not None and card.nearest.words != card.told.words:
        near = card.nearest
        parts.append(paper.paragraph(f"Of the arm: {near.words}, {near.value} at {clock(near.time_s)}", 9, after=2))
    watch = "; ".join(card.tip_seen_by) if card.tip_seen_by else "no one camera all the way; change between them"
    parts.append(paper.paragraph(f"The tip is seen by: {watch}", 9, after=2))
    if card.moves_arm:
        parts.append(paper.paragraph(f"Stops at {clock(card.move.end_s)}. {_where(card)}", 9, True, after=2))
    parts.append(paper.paragraph("; ".join(card.held), 8.5, colour=palette.FAINT_INK))
    return parts


def _clearance(paper: Paper, expected: Sequence[Expected], near: Nearest | None) -> list[Any]:
    parts = [paper.paragraph(f"Expected clearance: {_expected(each)}", 9) for each in expected[:3]]
    if near is not None:
        seen = "look with: " + "; ".join(near.seen_by) if near.seen_by else "no camera sees into this gap"
        parts.append(paper.paragraph(
            f"Closest: {near.words}, {near.value} at {clock(near.time_s)}; {seen}", 9, after=2))
    return parts


def _expected(each: Expected) -> str:
    sign = "✓" if each.least_m >= each.required_m else "✕"
    least = "contact" if each.least_m == -np.inf else f"at least {max(each.least_m, 0.0):.3f} m"
    return f"{each.group}: {least} ({each.required_m:.2f} m required {sign})"


def _where(card: Card) -> str:
    return f"Tip then at {_place(card.tip_end, 2)} in {card.frame}."


def _place(pose: Array, digits: int) -> str:
    return ", ".join(f"{axis} {_number(v, digits)} m" for axis, v in zip("xyz", pose[:3, 3], strict=True))


def _number(value: float, digits: int) -> str:
    """Write a number without a minus before zero."""
    return f"{round(float(value), digits) + 0.0:.{digits}f}"


def _joints(record: Record, card: Card) -> Table:
    turning = [bool(record.scene.tree.kinds[record.scene.tree.columns == c][0] == 1) for c in record.scene.arm_columns]
    factor = np.where(turning, 180 / np.pi, 1.0)
    units = ["deg" if turns else "m" for turns in turning]

    def row(words: str, values: Array, digits: int) -> tuple[str, ...]:
        return (words, *(_number(value, digits) for value in values * factor))

    per = f"{units[0]}/s" if len(set(units)) == 1 else "per s"
    names = tuple(f"{plain(joint.split('/')[-1])}, {unit}" for joint, unit in zip(card.joints, units, strict=True))
    return Table(("joint", *names), (
        row("start", card.start, 1), row("end", card.end, 1), row(f"peak rate, {per}", card.peak_rates, 3),
    ))


def _tip(card: Card) -> Table:
    rows = []
    for words, pose in (("start", card.tip_start), ("end", card.tip_end)):
        angles = zip(("roll", "pitch", "yaw"), np.degrees(poses.rpy(pose)), strict=True)
        rows.append((words, _place(pose, 3), ", ".join(f"{name} {_number(angle, 1)}°" for name, angle in angles)))
    return Table(("tip", "position", "turned about fixed axes"), tuple(rows))
