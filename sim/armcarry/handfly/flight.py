"""One try: the pilot and what is kept of every tick, for scoring, for a log and for a script to edit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.handfly.command import TICK_S, Command
from armcarry.handfly.control import Fault, Pilot
from armcarry.handfly.course import Course
from armcarry.handfly.live import Readings, Watch
from armcarry.handfly.resolve import Closeness
from armcarry.scene.build import Scene

#: control looks anew at what is close every so many ticks
LOOK_TICKS = 3


@dataclass
class Kept:
    """What is kept of a flight, a row a tick: positions, tool points, least margins, legs; and corrections.

    ``faults`` is what went wrong in turn, ``braked`` and ``looked`` the ticks at which the brake key went down and
    another view was chosen.
    """

    q: list[Array] = field(default_factory=list)
    tool_m: list[Array] = field(default_factory=list)
    margin_m: list[float] = field(default_factory=list)
    leg: list[int] = field(default_factory=list)
    acts: list[tuple[int, int]] = field(default_factory=list)
    corrections: int = 0
    braked: list[int] = field(default_factory=list)
    looked: list[int] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)


class Flight:
    """A pilot, a watch, and what is kept."""

    def __init__(self, scene: Scene, course: Course) -> None:
        self.scene, self.course = scene, course
        self.pilot, self.watch = Pilot(scene, course), Watch(scene)
        self.kept = Kept()
        self._last, self._braking = Command(), False
        self._seen: Closeness | None = None
        self._keep(self.watch.closeness(self.pilot).margin_m)

    def step(self, command: Command) -> None:
        """Fly one tick."""
        if self.pilot.tick % LOOK_TICKS == 0 or self._seen is None:
            self._seen = self.watch.closeness(self.pilot)
        closeness = self._seen
        if _reverses(self._last, command):
            self.kept.corrections += 1
        if command.brake and not self._braking:
            self.kept.braked.append(self.pilot.tick)
        self._braking = command.brake
        if not command.idle:
            self._last = command
        self.pilot.step(command, closeness)
        self._keep(closeness.margin_m)

    def act(self) -> str:
        """Do the next act; return why not, or nothing."""
        number = self.pilot.next_act
        said = self.pilot.act()
        self._seen = None
        if not said and number is not None:
            self.kept.acts.append((self.pilot.tick, number))
        return said

    def fail(self, fault: Fault) -> None:
        """Let something go wrong."""
        self.pilot.fail(fault)
        self.kept.faults.append(fault)

    def look(self) -> None:
        """Note that the operator chose another view, which answers a camera that went dark."""
        self.kept.looked.append(self.pilot.tick)

    def read(self) -> Readings:
        """Read everything now."""
        return self.watch.read(self.pilot)

    @property
    def reactions(self) -> tuple[tuple[str, float | None], ...]:
        """Kind of each fault and seconds to its answer, the brake key or another view; None while there was none."""
        return tuple((fault.kind, self._answered_s(fault)) for fault in self.kept.faults)

    def _answered_s(self, fault: Fault) -> float | None:
        answers = self.kept.looked if fault.kind == "camera" else self.kept.braked
        after = [tick for tick in answers if tick >= fault.tick]
        return (after[0] - fault.tick) * TICK_S if after else None

    def _keep(self, margin_m: float) -> None:
        self.kept.q.append(self.pilot.q)
        self.kept.tool_m.append(np.asarray(self.pilot.tool_pose()[:3, 3]))
        self.kept.margin_m.append(margin_m)
        self.kept.leg.append(self.pilot.leg)


def _reverses(before: Command, now: Command) -> bool:
    """Tell whether a command goes back on the last one: a push, turn or rate the other way."""
    pairs = zip((*before.push, *before.turn), (*now.push, *now.turn), strict=True)
    return any(a * b < 0 for a, b in pairs) or (before.joint == now.joint and before.share * now.share < 0)
