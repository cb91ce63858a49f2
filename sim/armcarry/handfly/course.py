"""The script as something to fly along: its moves in order, where each ends, and the acts between them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.files.documents.carries import Move
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.timeline.run import MoveSpan
from armcarry.timeline.variants import repeated

#: kinds that change what hangs where, or what the arm does not do itself
ACTS = ("attach", "detach", "appendage", "posture")
#: the arm has reached the end of a move within this, m
REACHED_M = 0.15
_SAMPLES = 25


@dataclass(frozen=True, eq=False)
class Leg:
    """One move of the script: the span flown, the move as written, T_world_tool at its end, and points on its way."""

    span: MoveSpan
    move: Move
    goal: Array
    way_m: Array

    @property
    def act(self) -> bool:
        """Whether it is done with a key, not flown."""
        return self.span.kind in ACTS


@dataclass(frozen=True, eq=False)
class Course:
    """The moves of a rehearsed script in order."""

    record: Record

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """The moves; the tool of each is what moves steer in the tree then."""
        scene, record = self.record.scene, self.record
        written = {
            (carry.name, number): move
            for carry in repeated(scene, scene.loaded.scenario.carries)
            for number, move in enumerate(carry.moves, start=1)
        }
        legs = []
        for span in record.moves:
            move = written.get((span.carry, span.number))
            if move is None:
                continue
            tree = record.phase_at(span.start_s).tree if span.end_s > span.start_s else record.phase_at(span.end_s).tree
            times = np.linspace(span.start_s, span.end_s, _SAMPLES)
            poses = forward(tree, record.motion.at(times), [scene.tool(tree)])[:, 0]
            legs.append(Leg(span, move, poses[-1], poses[:, :3, 3]))
        return tuple(legs)

    def on_from(self, at: int, tool_m: Array) -> int:
        """Return the leg that a tool at a point (3,) is on, from leg ``at`` onwards, never past the next act.

        It goes on when the end of a leg is reached, or when the way of a later one is nearer.
        """
        while at + 1 < len(self.legs) and not self.legs[at + 1].act and not self.legs[at].act:
            here = self.legs[at]
            left = float(np.linalg.norm(here.goal[:3, 3] - tool_m))
            later = self.legs[at + 1]
            if here.span.kind == "hold" or left < REACHED_M or self._away(later, tool_m) < self._away(here, tool_m) / 2:
                at += 1
                continue
            break
        return at

    def relaxed_on(self, at: int) -> tuple[Relaxed, ...]:
        """Return what the script grants on a leg: by its own move, or by an earlier one that says through which."""
        granted = []
        for k, leg in enumerate(self.legs[: at + 1]):
            for item in leg.move.relax:
                later = (n for n in range(k, len(self.legs)) if item.through and self.legs[n].span.name == item.through)
                if at <= next(later, k):
                    granted.append(Relaxed(*item.bodies, item.required, -np.inf, np.inf, item.why))
        return tuple(granted)

    @staticmethod
    def _away(leg: Leg, tool_m: Array) -> float:
        return float(np.linalg.norm(leg.way_m - tool_m, axis=1).min())

    def goal_from(self, at: int) -> int:
        """Return the leg whose end is flown to next: the first from ``at`` on that goes anywhere."""
        for k in range(at, len(self.legs)):
            leg = self.legs[k]
            if leg.act or leg.span.kind != "hold":
                return k
        return len(self.legs) - 1
