"""Carries on the clock: planned moves are timed, slowed near structure, and joined into one run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from math import inf

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.clearance import Prover
from armcarry.files.documents.relaxation import Relaxation
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.path import joint_segment
from armcarry.motion.timing import RateLimits, compose, smooth, time_path
from armcarry.scene.build import Scene
from armcarry.scene.limits import joint_accelerations, joint_rates
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.memory import Memory
from armcarry.timeline.near import near_zones
from armcarry.timeline.planned import PlannedMove, Way
from armcarry.timeline.run import Event, MoveSpan, Phase, Run, Shortfall
from armcarry.timeline.second_make import asked_again
from armcarry.timeline.variants import plan_all
from armcarry.timeline.widen import widened
from armcarry.timeline.written import ledger_of

Tell = Callable[[str, float], None]


def run_carries(scene: Scene, tell: Tell | None = None, memory: Memory | None = None) -> Run:
    """Plan and time all carries of a scenario one after another.

    Args:
        scene: where everything starts.
        tell: told what is being done and the share of the whole rehearsal.
        memory: what was planned and timed of this scene before.

    Returns:
        The run; when a move cannot be made it ends before it and says why.
    """
    say = tell or (lambda words, share: None)
    carries = tuple(scene.loaded.scenario.carries)
    start = Way(scene.tree, scene.position)
    way, shortfall = plan_all(
        scene, carries, start, lambda done, total: say(f"planning move {done} of {total}", 0.1 + 0.3 * done / total),
        memory=memory,
    )
    if shortfall is not None:
        shortfall = asked_again(scene, carries, way, shortfall)
    clock = Clock(scene, scene.tree, scene.position, memory=memory or Memory())
    for count, planned in enumerate(way.moves, start=1):
        say(f"timing move {count} of {len(way.moves)}", 0.4 + 0.2 * count / len(way.moves))
        clock.add(planned)
    run = clock.run(() if shortfall is None else (replace(shortfall, time_s=clock.now_s),))
    if memory is not None:  # what is asked again and again has its ledger written where somebody reads it
        return run
    return replace(run, ledger=ledger_of(scene, None, run.phases, run.motion, run.moves, run.events))


@dataclass
class Clock:
    """Joins planned moves one after another into phases, motion and spans."""

    scene: Scene
    tree: Tree
    position: Array
    now_s: float = 0.0
    motions: list[Motion] = field(default_factory=list)
    phases: list[Phase] = field(default_factory=list)
    moves: list[MoveSpan] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    relaxations: list[tuple[Relaxation, float, float, int]] = field(default_factory=list)
    phase_start_s: float = 0.0
    moved_until_s: float = -inf
    memory: Memory = field(default_factory=Memory)

    def add(self, planned: PlannedMove) -> None:
        """Put one planned move on the clock."""
        start_s = self.now_s
        load, _ = self.scene.load(planned.tree)
        if planned.event is not None:
            self.events.append(replace(planned.event, time_s=start_s))
            self.switch(planned.after)
        else:
            if planned.path is not None:  # mode changed, checked and called before the arm moves again
                self.wait(self.moved_until_s + self.scene.loaded.rules.between_moves)
                start_s = self.now_s
            motion = self.memory.motion(planned, lambda: timed(self.scene, planned, 0.0, self.memory.provers))
            if motion is not None:
                motion = motion.shifted(start_s)
                self.motions.append(motion)
                self.now_s = motion.end_s
                if planned.path is not None:
                    self.moved_until_s = motion.end_s
        self.position = planned.end
        move = planned.move
        self.moves.append(
            MoveSpan(
                planned.carry, planned.number, move.name or "", move.kind, start_s, self.now_s, load, move.say,
                planned.words, "" if planned.path is None else planned.path.spare,
            )
        )
        self.relaxations.extend((item, start_s, self.now_s, len(self.moves)) for item in move.relax)

    def wait(self, until_s: float) -> None:
        """Stand still until a time."""
        if until_s > self.now_s:
            self.motions.append(Motion.hold(self.scene.tree.joints, self.position, self.now_s, until_s))
            self.now_s = until_s

    def switch(self, tree: Tree) -> None:
        """Go on with another tree from now."""
        if self.now_s > self.phase_start_s:
            self.phases.append(Phase(self.phase_start_s, self.now_s, self.tree))
            self.phase_start_s = self.now_s
        self.tree = tree

    def run(self, shortfalls: tuple[Shortfall, ...] = ()) -> Run:
        """Return the run so far; one second of standing still when nothing moved or something changed last."""
        if not self.motions or self.now_s == self.phase_start_s:
            self.wait(self.now_s + 1.0)
        self.phases.append(Phase(self.phase_start_s, self.now_s, self.tree))
        return Run(
            phases=tuple(self.phases),
            motion=_joined(self.motions),
            moves=tuple(self.moves),
            events=tuple(self.events),
            relaxed=self._relaxed(),
            shortfalls=shortfalls,
        )

    def _relaxed(self) -> tuple[Relaxed, ...]:
        """Return the relaxations with their times: each lasts through the move it names, or its own."""
        found = []
        for item, start_s, end_s, number in self.relaxations:
            last = next((move for move in self.moves[number:] if item.through and move.name == item.through), None)
            open_ = self.now_s if item.through and self.memory.stopped else end_s  # through a move that is yet to come
            until = open_ if last is None else last.end_s
            found.append(Relaxed(*item.bodies, item.required, start_s, until, item.why))
        return tuple(found)


def timed(
    scene: Scene, planned: PlannedMove, start_s: float, provers: dict[tuple[object, ...], Prover] | None = None
) -> Motion | None:
    """Return one move's motion of the whole joint vector from start_s; None when it takes no time."""
    joints = scene.tree.joints
    if planned.path is None:
        if planned.lasting_s <= 0:
            return None
        if np.array_equal(planned.start, planned.end):
            return Motion.hold(joints, planned.start, start_s, start_s + planned.lasting_s)
        turning = joint_segment(joints, planned.start, planned.end)
        return compose(turning.curve, smooth(planned.lasting_s), start_s)
    _, load = scene.load(planned.tree)
    whole = widened(scene, planned.path.curve, planned.start)
    zones = [] if load.near_structure >= 1 else near_zones(scene, planned.tree, whole, provers)
    slow = [(first, last, load.near_structure) for first, last in zones]
    chain = Chain.of(planned.tree, WORLD, planned.tool, joints=scene.arm_joints, held=planned.start)
    arm = time_path(planned.path, rate_limits(scene, planned), start_s, slow_zones=slow, chain=chain)
    return widened(scene, arm, planned.start)


def rate_limits(scene: Scene, planned: PlannedMove) -> RateLimits:
    """Return the limits a move is timed under: load class, rider rule and the move's own."""
    arm = scene.loaded.arm.document
    _, load = scene.load(planned.tree)
    tip = scene.tip_speed_limit(planned.tree, load)
    if planned.move.tip_speed is not None:
        tip = min(tip, planned.move.tip_speed)
    return RateLimits(
        joint_rates(arm, load) * planned.move.rate, joint_accelerations(arm, load), tip,
        bend_zones=scene.loaded.rules.bend_zones,
    )  # fmt: skip


def _joined(motions: list[Motion]) -> Motion:
    degree = max(motion.coefficients.shape[1] for motion in motions)
    tables = [np.pad(m.coefficients, ((0, 0), (0, degree - m.coefficients.shape[1]), (0, 0))) for m in motions]
    breaks = [motions[0].breaks_s, *(motion.breaks_s[1:] for motion in motions[1:])]
    return Motion(motions[0].joints, np.concatenate(breaks), np.concatenate(tables))


__all__ = ["Clock", "rate_limits", "run_carries", "timed"]
