"""What a movie shows: cuts of the run, each at a speed through a camera; and the film that is made when none is named.

The film tells a run by chapters: the whole scene, then move after move through the camera that sees most of it, holds
cut short, each tight moment slowly and from near by, and the verdict at the end.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from armcarry.errors import InputError
from armcarry.quantities import parse
from armcarry.record.finding import Finding
from armcarry.record.record import PairRow, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain
from armcarry.seeing.sight import sightings
from armcarry.timeline.run import MoveSpan
from armcarry.views.eyes import eyes
from armcarry.views.stills import tightest_rows

#: the cameras that are not eyes of the scene: all of it, along with the tool, across a gap
WHOLE, FOLLOW, GAP = "whole", "follow", "gap"
Kind = Literal["", "opening", "move", "hold", "tight", "verdict"]

#: of the film, s: opening and verdict, a hold, a tight moment on either side, the shortest move
_OPENING_S, _VERDICT_S, _HOLD_S, _TIGHT_S, _MOVE_S = 4.0, 5.0, 1.5, 2.0, 1.5
#: how long all moves together last in the film at least, and what each adds, s
_MOVES_S, _EACH_S = 22.0, 0.4
#: tight moments that are shown
_TIGHT = 3
#: a camera of the platform is taken where it is proven to see this share of the time, from nearer than this
_SEEN, _NEAR_M = 0.9, 12.0


@dataclass(frozen=True)
class Cut:
    """A stretch of the run: from start_s to end_s, at ``speed`` times real time, through a camera.

    ``camera`` is ``whole``, ``follow``, a crewmember's name or a camera of the platform; of the film's own cuts
    ``kind`` tells which chapter it is, ``title`` what it is called, and ``row`` the gap that is shown.
    """

    start_s: float
    end_s: float
    speed: float = 20.0
    camera: str = FOLLOW
    kind: Kind = ""
    title: str = ""
    row: PairRow | None = None

    @property
    def length_s(self) -> float:
        """How long it lasts in the movie."""
        return (self.end_s - self.start_s) / self.speed


def read_cut(text: str) -> Cut:
    """Read a cut from text: ``400 s to 480 s, 20x, ev1``; speed and camera may be left out.

    Raises:
        InputError: the text is not of that form.
    """
    accepted = "'400 s to 480 s, 20x, ev1': from, to, and if wanted speed and camera"
    match = re.fullmatch(r"\s*(.+?)\s+to\s+([^,]+?)\s*(?:,\s*([0-9.]+)\s*x)?\s*(?:,\s*([a-z][a-z0-9_]*))?\s*", text)
    try:
        if match is None:
            raise ValueError
        speed = float(match[3]) if match[3] else 20.0
    except ValueError:
        raise InputError("not a cut of a movie", found=text, accepted=accepted) from None
    return Cut(parse(match[1], "time"), parse(match[2], "time"), speed, match[4] or FOLLOW)


def whole_run(record: Record, length_s: float = 60.0, camera: str = FOLLOW) -> tuple[Cut, ...]:
    """Return one cut of the whole run that lasts so long, but is no slower than real time."""
    speed = max(record.motion.duration_s / length_s, 1.0)
    return (Cut(record.motion.start_s, record.motion.end_s, speed, camera),)


def chapters(record: Record, findings: Sequence[Finding] = ()) -> tuple[Cut, ...]:
    """Return the film of a run: opening, moves, holds and tight moments in order, verdict.

    Their places in the movie follow from their lengths, one after another; a run without moves is shown whole.
    """
    moves = [move for move in sorted(record.moves, key=lambda move: move.start_s) if move.end_s > move.start_s]
    if not moves:
        return whole_run(record)
    start_s, end_s = record.motion.start_s, record.motion.end_s
    moving = {move: _moves(record, move) for move in moves}
    long_s = sum(move.end_s - move.start_s for move in moves if moving[move])
    speed = max(long_s / (_MOVES_S + _EACH_S * sum(moving.values())), 1.0)
    tight = sorted(_changing(record)[:_TIGHT], key=lambda row: row.time_s)
    film = [Cut(start_s, min(start_s + _OPENING_S, end_s), 1.0, WHOLE, "opening", record.scene.loaded.scenario.title)]
    for move in moves:
        long_s = move.end_s - move.start_s
        length_s = max(long_s / speed, _MOVE_S) if moving[move] else _HOLD_S
        film.append(Cut(
            move.start_s, move.end_s, max(long_s / length_s, 1.0), _camera(record, move),
            "move" if moving[move] else "hold", move.say or plain(move.title),
        ))
        while tight and tight[0].time_s <= move.end_s:
            film += _tight(record, tight.pop(0))
    for row in tight:
        film += _tight(record, row)
    film.append(Cut(max(end_s - _VERDICT_S, start_s), end_s, 1.0, WHOLE, "verdict", "Verdict"))
    return tuple(film)


def _tight(record: Record, row: PairRow) -> list[Cut]:
    """Return the cut of a tight moment, at the speed of life."""
    start = max(row.time_s - _TIGHT_S, record.motion.start_s)
    end = min(row.time_s + _TIGHT_S, record.motion.end_s)
    title = f"{plain(row.body_a)} – {plain(row.body_b)}"
    return [Cut(start, end, 1.0, GAP, "tight", title, row)] if end > start else []


def _moves(record: Record, move: MoveSpan) -> bool:
    """Tell whether anything moves in a move."""
    at = record.motion.at(np.linspace(move.start_s, move.end_s, 9)[1:-1])
    return bool(np.ptp(at, axis=0).max(initial=0.0) > 1e-9)


def _changing(record: Record) -> list[PairRow]:
    """Return the tightest rows whose distance ever changes, the one that matters most first."""
    still = {id(row) for row in record.table.rows(record.still & record.table.judged)}
    return [row for row in tightest_rows(record, 4 * _TIGHT) if id(row) not in still]


def _camera(record: Record, move: MoveSpan) -> str:
    """Return a camera near by that is proven to see the tip and who rides on it all along, else the one along."""
    found = sightings(record)
    inside = found.within(move.start_s, move.end_s)
    names = [name.removeprefix(f"{PLATFORM}/") for name in found.cameras]
    if not names or not inside.any():
        return FOLLOW
    times = np.array([move.start_s, move.end_s])
    tool = record.link_path(record.scene.tool(record.phase_at(move.start_s).tree), times)[:, :3, 3]
    there = found.there[inside][:, None, :]
    share = (found.seen[inside] & there).sum(axis=(0, 2)) / max(there.sum(), 1)
    best, near_m = FOLLOW, _NEAR_M
    for eye in eyes(record):
        if eye.name not in names or share[names.index(eye.name)] < _SEEN:
            continue
        away = float(np.linalg.norm(record.link_path(eye.link, times)[:, :3, 3] - tool, axis=1).max())
        if away < near_m:
            best, near_m = eye.name, away
    return best
