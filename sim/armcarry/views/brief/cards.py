"""Step cards on paper: one set for the arm operator, one for each rider."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views import palette
from armcarry.views.brief.content import Table, restraint_settings
from armcarry.views.brief.moves import Card, Expected, Nearest, cards
from armcarry.views.brief.paper import Paper, Size

_FOOT = "A rehearsal aid, no approval and no command: results support, and do not replace, the responsible authorities."


def write_operator_cards(record: Record, path: Path, size: Size = "A4", told: Sequence[Card] | None = None) -> Path:
    """Write the arm operator's cards and return their path.

    Each card gives start and end joint positions, the tip's pose in the frame of the script, rates, expected
    clearance, where to look, and where the arm stops.
    """
    title = record.scene.loaded.scenario.title
    paper = Paper(path, size, f"Arm operator: {title}", _FOOT)
    paper.text("Step cards for the arm operator", 18, True, after=4)
    paper.text(title, 12, after=2)
    paper.text(
        f"Arm: {record.scene.loaded.arm.document.title}. Reaction time counted on: "
        f"{record.scene.loaded.arm.document.reaction_time:.1f} s. The arm stands still at the end of every card.",
        after=8,
    )
    for number, card in enumerate(cards(record) if told is None else told, start=1):
        paper.together(_operator(paper, record, number, card))
        paper.gap(8)
    paper.write()
    return path


def write_rider_cards(
    record: Record, rider: str, path: Path, size: Size = "A4", told: Sequence[Card] | None = None
) -> Path:
    """Write one rider's cards and return their path: calls in the rider's own directions, who holds what."""
    title = record.scene.loaded.scenario.title
    paper = Paper(path, size, f"{rider}: {title}", _FOOT)
    paper.text(f"Step cards for {rider}", 18, True, after=4)
    paper.text(title, 12, after=6)
    settings = restraint_settings(record)
    if settings:
        paper.heading("Foot restraint settings", 12)
        rows = tuple((plain(name), text) for name, text in settings)
        paper.table(Table(("setting", "angle, and steps from zero"), rows), (2, 5), 10)
    paper.text(
        "Directions are your own at the start of the step: ahead is where your chest faces, up is towards your head. "
        "Say STOP whenever you want; the arm needs "
        f"{record.scene.loaded.arm.document.reaction_time:.1f} s to begin to stop.", 10, after=8,
    )
    for number, card in enumerate(cards(record) if told is None else told, start=1):
        paper.together(_rider(paper, rider, number, card))
        paper.gap(8)
    paper.write()
    return path


def _heading(paper: Paper, number: int, card: Card) -> list[Any]:
    move = card.move
    when = clock(move.start_s) if move.end_s <= move.start_s else f"{clock(move.start_s)} to {clock(move.end_s)}"
    below = f"{when} · {plain(move.carry)} · load: {plain(move.load)}"
    words = [paper.paragraph(f"{number}. {plain(move.title)}", 13, True, after=1),
             paper.paragraph(below, 9, colour=palette.FAINT_INK, after=2)]
    if move.say:
        words.append(paper.paragraph(f"“{move.say}”", 10.5, after=3))
    return words


def _operator(paper: Paper, record: Record, number: int, card: Card) -> list[Any]:
    parts = _heading(paper, number, card)
    if card.moves_arm:
        parts.append(paper.grid(_joints(record, card), (3, *(2 for _ in card.joints)), 7.5, paper.width))
        parts.append(paper.paragraph(f"Tip: {plain(card.tip)} in frame {card.frame}", 8.5, True, after=1))
        parts.append(paper.grid(_tip(card), (1.4, 3, 4), 8.5, paper.width))
        parts.append(paper.paragraph(
            f"Tip speed at most {card.tip_speed_m_s:.3f} m/s of {card.allowed_m_s:.3f} m/s allowed", 9, after=2))
    else:
        parts.append(paper.paragraph("The arm stands still.", 9, after=2))
    parts += _clearance(paper, card.expected, card.nearest)
    watch = "; ".join(card.tip_seen_by) if card.tip_seen_by else "no one camera all the way; change between them"
    parts.append(paper.paragraph(f"The tip is seen by: {watch}", 9, after=2))
    if card.moves_arm:
        parts.append(paper.paragraph(f"Stops at {clock(card.move.end_s)}. {_where(card)}", 9, True, after=2))
    parts.append(paper.paragraph("; ".join(card.held), 8.5, colour=palette.FAINT_INK))
    return parts


def _rider(paper: Paper, rider: str, number: int, card: Card) -> list[Any]:
    parts = _heading(paper, number, card)
    call = card.calls.get(rider)
    if call is None:  # clearances of the arm and of who rides it are for others
        return [*parts, paper.paragraph("You are not on the arm.", 10.5, after=2)]
    parts.append(paper.paragraph(_sentence(call), 13, True, after=2))
    mine = [each for each in card.expected if any(word in each.group for word in ("rider", "hardware"))]
    parts += _clearance(paper, mine, card.near_rider.get(rider))
    parts.append(paper.paragraph("; ".join(card.held), 9))
    return parts


def _sentence(call: str) -> str:
    return call[0].upper() + call[1:] + "."


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
