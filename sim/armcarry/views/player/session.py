"""The state of a replay: the instant shown, the speed, what is said, and where one can jump to; no window.

Everything the window does to time goes through here, so that it can be tested without one.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from armcarry.quantities import parse
from armcarry.record.causes import worst_s
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.doing import doing_at
from armcarry.views.folded import listed
from armcarry.views.idle import PASSES_S, idle_stretches
from armcarry.views.lanes import step_starts

SPEEDS = (0.25, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0)
#: a frame is this long on the wall; stepping one moves the run by this times the speed
FRAME_S = 1.0 / 30.0
#: going back a move returns to the start of the present one when it is farther away than this on the wall
_BACK_S = 0.7
#: instants nearer than this are one, s
_SAME_S = 1e-6
#: what is said at an instant stays for so long, but at most half of what follows
_INSTANT_S = 8.0


class Session:
    """A replay of one run.

    Attributes:
        time_s: the instant shown, seconds from the start of the run.
        playing: whether time runs.
        skips: whether what stands still passes quickly.
        finding: row of the finding jumped to last, None before.
    """

    def __init__(self, record: Record, findings: Sequence[Finding]) -> None:
        self.record, self.findings = record, tuple(findings)
        self.start_s, self.end_s = record.motion.start_s, record.motion.end_s
        self.time_s = self.start_s
        self.playing = self.skips = False
        self.finding: int | None = None
        self._listed = listed(self.findings)
        self._speed = SPEEDS.index(1.0)
        self.stops_s = tuple(sorted({self.start_s, *map(self._inside, step_starts(record)), self.end_s}))
        self.idle = idle_stretches(record)
        self.captions = captions(record)

    # -- time ---------------------------------------------------------------------------------

    @property
    def speed(self) -> float:
        """Seconds of the run that pass in a second."""
        return SPEEDS[self._speed]

    def faster(self, steps: int = 1) -> float:
        """Take the next faster speed, slower with a negative number of steps, and return it."""
        self._speed = min(max(self._speed + steps, 0), len(SPEEDS) - 1)
        return self.speed

    def set_speed(self, speed: float) -> float:
        """Take the offered speed nearest to what is asked for and return it."""
        self._speed = min(range(len(SPEEDS)), key=lambda k: abs(SPEEDS[k] - speed))
        return self.speed

    def play(self) -> None:
        """Let time run, from the start again when the end was reached."""
        if self.time_s >= self.end_s:
            self.time_s = self.start_s
        self.playing = True

    def pause(self) -> None:
        """Hold time."""
        self.playing = False

    def toggle(self) -> None:
        """Pause when playing, play when not."""
        if self.playing:
            self.pause()
        else:
            self.play()

    def tick(self, elapsed_s: float) -> bool:
        """Let elapsed_s of the wall pass and tell whether the instant shown changed; at the end it pauses."""
        if not self.playing or elapsed_s <= 0:
            return False
        before = self.time_s
        self.time_s = self._inside(self._later(elapsed_s))
        if self.time_s >= self.end_s:
            self.pause()
        return self.time_s != before

    def _later(self, elapsed_s: float) -> float:
        """Return the instant after elapsed_s of the wall; what stands still passes quickly where that is asked."""
        time_s = self.time_s
        for start, end in self.idle if self.skips else ():
            if end <= time_s or end - start <= PASSES_S * self.speed:
                continue
            before = max(start - time_s, 0.0) / self.speed
            if elapsed_s <= before:
                break
            time_s, elapsed_s = max(start, time_s), elapsed_s - before
            within = (end - time_s) / (end - start) * PASSES_S
            if elapsed_s <= within:
                return time_s + elapsed_s / PASSES_S * (end - start)
            time_s, elapsed_s = end, elapsed_s - within
        return time_s + elapsed_s * self.speed

    def seek(self, time_s: float) -> None:
        """Show an instant; outside the run, the nearer end."""
        self.time_s = self._inside(time_s)

    def step_frames(self, count: int) -> None:
        """Pause and move by frames of the present speed."""
        self.pause()
        self.seek(self.time_s + count * FRAME_S * self.speed)

    def step_moves(self, count: int) -> None:
        """Go to the start of the next move, or with a negative count back to the start of this or an earlier one."""
        for _ in range(abs(count)):
            if count > 0:
                later = [stop for stop in self.stops_s if stop > self.time_s + 1e-9]
                self.time_s = min(later, default=self.end_s)
            else:
                grace = _BACK_S * self.speed if self.playing else 1e-9
                earlier = [stop for stop in self.stops_s if stop < self.time_s - grace]
                self.time_s = max(earlier, default=self.start_s)

    def _inside(self, time_s: float) -> float:
        return min(max(float(time_s), self.start_s), self.end_s)

    # -- places to jump to --------------------------------------------------------------------

    def to_tightest(self) -> bool:
        """Pause at the instant of the least margin of the run; False when nothing was measured."""
        row = self.record.tightest
        if row is None or row.status == "farther":
            return False
        self.pause()
        self.seek(row.time_s)
        return True

    def to_finding(self, k: int) -> Finding:
        """Pause at the instant of finding k, counted round both ends, and return the finding.

        Raises:
            IndexError: the run has no findings.
        """
        if not self.findings:
            raise IndexError("no findings")
        self.finding = k % len(self.findings)
        found = self.findings[self.finding]
        self.pause()
        self.seek(worst_s(found))
        return found

    def next_finding(self, count: int = 1) -> Finding | None:
        """Go on by so many findings in the order of the list; None when there is none."""
        if not self.findings:
            return None
        at = (-1 if count > 0 else 0) if self.finding is None else self._listed.index(self.finding)
        return self.to_finding(self._listed[(at + count) % len(self._listed)])

    @property
    def chosen(self) -> Finding | None:
        """The finding jumped to, as long as its instant is the one shown."""
        found = None if self.finding is None else self.findings[self.finding]
        return found if found is not None and abs(worst_s(found) - self.time_s) < _SAME_S else None

    # -- words --------------------------------------------------------------------------------

    @property
    def caption(self) -> str:
        """What is said at the instant shown, or done while the arm of a day stands still; empty before anything is."""
        doing = doing_at(self.record, self.time_s)
        if doing and self.record.move_at(self.time_s) is None:
            return doing
        words = ""
        for start, text in self.captions:
            if start > self.time_s + 1e-9:
                break
            words = text
        return words

    @property
    def move_title(self) -> str:
        """Title of the move under way, empty outside all moves."""
        move = self.record.move_at(self.time_s)
        return "" if move is None else move.title.replace("_", " ")


def read_instant(text: str) -> float:
    """Read an instant of the run as it is shown: ``90``, ``12:30`` (min:s), ``1:02:30`` (h:min:s), or ``5 min``.

    Raises:
        QuantityError: it is none of these.
    """
    match = re.fullmatch(r"\s*(?:(\d+):)??(?:(\d+):)?(\d+(?:\.\d+)?)\s*", text)
    if match is None:
        return parse(text, "time")
    hours, minutes, seconds = (float(part or 0.0) for part in match.groups())
    return 3600.0 * hours + 60.0 * minutes + seconds


def captions(record: Record) -> tuple[tuple[float, str], ...]:
    """Return what is said from when on: the ``say`` of each move, or its title where it says nothing.

    A move without length, such as taking hold of something, would never be heard: its words stay for a few
    seconds of what follows.
    """
    moves = sorted(record.moves, key=lambda move: (move.start_s, move.end_s))
    said: list[tuple[float, str]] = []
    held_until = -float("inf")
    for move, following in pairwise([*moves, None]):
        if move is None:
            continue
        words = move.say or move.title.replace("_", " ")
        start = max(move.start_s, held_until)
        if move.end_s > move.start_s:
            if start < move.end_s:
                said.append((start, words))
            held_until = -float("inf")
            continue
        said.append((start, words))
        room = _INSTANT_S if following is None else (following.end_s - following.start_s) / 2
        held_until = start + min(_INSTANT_S, room)
    return tuple(said)
