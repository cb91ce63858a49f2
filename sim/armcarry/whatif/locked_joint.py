"""A joint that locks while somebody rides: can the others still bring the rider to something to hold on to?

The locked joint stays where it is; the other joints are led step by step, each step keeping its distance from
everything, until a shoulder has a handrail within a glove's reach or the plate is within that reach of the safe
point. Where that leads nowhere they first go back along the way they came, as out of a seat, and then in finer steps.
The way found is then proven, between its corners too. What must be left is what must be left after any
fault: see whatif.faults; a relaxation granted when the joint locks holds for the way, and so do rooms of the platform.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from armcarry.asked.pairs import TOUCH_M, arm_pairs
from armcarry.clearance.gauge import Gauge
from armcarry.clearance.many import Arcs, least_margins
from armcarry.geometry.poses import Array
from armcarry.motion.avoid import avoiding_step
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import pose_error
from armcarry.record.kept import Kept
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.limits import joint_accelerations, joint_rates
from armcarry.scene.tree import WORLD
from armcarry.timeline.handrails import rails_of
from armcarry.whatif.beside_rooms import room_windows
from armcarry.whatif.faults import Side, Window, in_reach, windows
from armcarry.whatif.goals import Goal, to_handrail, to_pose

#: instants looked at when the rules do not say
INSTANTS = 10
#: distance kept while looking for a way, beyond what must be left, m
KEEP_M = 0.03
#: a pair is watched when it is nearer than this beyond what must be left, m
WATCH_M = 0.4
#: the pairs watched are chosen anew when a joint has moved this far, rad or m
_MOVED = 0.25
_FAR_M = WATCH_M + 2.0
#: share of the room to an obstacle used up in a step
SHARE = 0.6
#: largest step of a joint, rad or m, and most steps of one search: at first, and where that finds nothing
STEP, STEPS = 0.12, 60
FINE_STEP, FINE_STEPS = 0.05, 150
#: so many poses of the way back are gone to, at most, before a handrail is
BACK = 3
#: way points of the way back are this far apart, m and rad
_SPACING_M, _SPACING_RAD = 1.0, 0.6

Kind = Literal["here", "handrail", "safe point", "none"]


@dataclass(frozen=True, eq=False)
class Escape:
    """What is left to a rider when one joint locks at one instant.

    Attributes:
        time_s, joint, crew: when, which arm joint (its number), who.
        kind: what is reached; ``here``: a handrail is in reach already.
        where: name of the handrail or of the safe point.
        way: (S, n) joint positions of the arm to go through, the locked joint the same in all.
        lasting_s: time that takes at the load's rates near structure, at rest in every corner.
        lower_m: proven distance over the whole way beyond what must be left, at most WATCH_M.
    """

    time_s: float
    joint: int
    crew: str
    kind: Kind
    where: str
    way: Array
    lasting_s: float
    lower_m: float


def escapes(record: Record) -> tuple[Escape, ...]:
    """Return what is left to every rider when any joint locks at any instant of the rules' grid, as it was judged."""
    return record.result(ESCAPES)


def instants(record: Record) -> Array:
    """Return the instants looked at (T,): middles of equal stretches of the run, which may begin later than at 0."""
    rule = record.scene.loaded.rules.locked_joint
    count = INSTANTS if rule is None else rule.instants
    begins_s = record.phases[0].start_s
    return begins_s + (np.arange(count) + 0.5) * (record.duration_s - begins_s) / max(count, 1)


def _all_escapes(record: Record) -> tuple[Escape, ...]:
    return tuple(_escapes(record))


ESCAPES = Kept("locked_joint", 1, _all_escapes, (Escape,))


def _escapes(record: Record) -> Iterator[Escape]:
    seen: dict[tuple[object, ...], list[Escape]] = {}
    stretches: dict[int, tuple[Window, ...]] = {}
    rooms = tuple(room_windows(record))
    for time in instants(record):
        phase = record.phase_at(float(time))
        riders = record.scene.aboard(phase.tree)
        if not riders:
            continue
        if id(phase) not in stretches:
            pairs = arm_pairs(record.scene, phase.tree)
            side = Side.of(record, phase, pairs[in_reach(record, phase, pairs, _most_left_m(record) + WATCH_M)])
            stretches[id(phase)] = tuple(windows(side))
        window = next(w for w in stretches[id(phase)] if w.start_s <= time <= w.end_s)
        position = record.motion.at(time)
        # while the arm stands still nothing changes
        key = (id(phase), window.start_s, *np.round(position, 9).tolist())
        if key not in seen:
            beside = [w for w in rooms if w.side.phase is phase and w.start_s <= time <= w.end_s]
            search = _Search(window, float(time), beside[:1])
            seen[key] = [search.escape(crew, joint) for crew in riders for joint in range(len(search.start))]
            window.side.let_go()
        for found in seen[key]:
            yield Escape(
                float(time), found.joint, found.crew, found.kind, found.where, found.way, found.lasting_s, found.lower_m
            )


def _most_left_m(record: Record) -> float:
    """Return the most that must be left of any pair after a fault, others on their way meanwhile apart."""
    return max(record.scene.loaded.rules.stop_remainder, TOUCH_M)


class _Search:
    """Looks for ways out of one configuration of the arm."""

    def __init__(self, window: Window, time_s: float, rooms: Sequence[Window] = ()) -> None:
        self.window, self.side, self.time_s = window, window.side, time_s
        self.asked = (window, *rooms)
        self.record = self.side.record
        scene, self.tree = self.record.scene, self.side.phase.tree
        self.position = self.record.motion.at(time_s)
        self.start = self.position[scene.arm_columns]
        tool = scene.tool(self.tree)
        self.gauge = Gauge(self.tree, scene.arm_joints, tool, self.position, self.side.pairs)
        self.plate = self._chain(tool)
        self.rails = rails_of(scene.loaded.platform.document, self.tree, self.position)
        self.watched: tuple[Array, np.ndarray] | None = None

    def _chain(self, link: str) -> Chain:
        scene = self.record.scene
        return Chain.of(self.tree, WORLD, link, joints=scene.arm_joints, held=self.position)

    def escape(self, crew: str, joint: int) -> Escape:
        """Find a way for one rider with one joint locked: to a handrail by either hand, else to the safe point."""
        member = self.record.scene.loaded.crew[crew]
        reach = member.size.reach.one_hand
        hands = [to_handrail(self._chain(f"{crew}/{link}"), self.rails, reach) for link in member.document.shoulders]
        here = next((where for goal in hands if (where := goal.reached(self.start)) is not None), None)
        if here is not None:
            return Escape(self.time_s, joint, crew, "here", here, self.start[None], 0.0, WATCH_M)
        for kind, goals, fine in self._tries(hands if self.rails else [], reach):
            found = self._follow(goals, joint, fine=fine)
            if found is None:
                continue
            way, where = found
            proven, lower = self._proven(way)
            if lower >= 0:
                return Escape(self.time_s, joint, crew, kind, where, proven, self._lasting_s(proven), lower)
        return Escape(self.time_s, joint, crew, "none", "", self.start[None], 0.0, -np.inf)

    # -- looking ----------------------------------------------------------------------------------------------

    def _tries(self, hands: list[Goal], reach_m: float) -> Iterator[tuple[Kind, list[Goal], bool]]:
        """Give what is tried until one works: kind, goals one after another, whether in fine steps."""
        for goal in hands:
            yield "handrail", [goal], False
        yield "safe point", self._to_safe_point(reach_m), False
        for fine in (False, True):
            for count in range(0 if fine else 1, min(BACK, len(self.way_back)) + 1):
                back = [to_pose(self.plate, pose, 0.25, "") for pose in self.way_back[:count]]
                for goal in hands:
                    yield "handrail", [*back, goal], fine

    def _follow(self, goals: list[Goal], joint: int, *, fine: bool = False) -> tuple[Array, str] | None:
        """Go from goal to goal; return the corners (S, n) and what the last one is called, None where stuck."""
        free = np.delete(np.arange(len(self.start)), joint)
        q, way, number, slow = self.start, [self.start], 0, 0
        most, steps = (FINE_STEP, FINE_STEPS) if fine else (STEP, STEPS)
        for _ in range(steps):
            where = goals[-1].reached(q)
            if where is not None:
                return np.array(way), where
            step = self._step(goals[number], q, free, most)
            if step is None:
                return None
            q = q.copy()
            q[free] += step
            way.append(q)
            moved = float(np.abs(step).max())
            if number < len(goals) - 1 and (goals[number].reached(q) is not None or moved < 0.004):
                number, slow = number + 1, 0
            else:
                slow = slow + 1 if moved < 0.003 else 0
            if slow > 3:
                return None
        return None

    def _step(self, goal: Goal, q: Array, free: np.ndarray, most: float) -> Array | None:
        error, columns = goal.pull(q)
        left = self.window.left_m
        if self.watched is None or np.abs(q - self.watched[0]).max() > _MOVED:
            self.watched = q, self.gauge.maybe_near(q, left + _FAR_M)
        near = self.gauge.near(q, left + WATCH_M, self.watched[1])
        room = SHARE * (near.distance_m - left[near.rows] - KEEP_M)
        limits = self.plate.limits
        return avoiding_step(
            columns[:, free], error, near.gradient[:, free], room, np.maximum(limits[free, 0] - q[free], -most),
            np.minimum(limits[free, 1] - q[free], most),
        )

    def _to_safe_point(self, reach_m: float) -> list[Goal]:
        """Return the goals on the way to the safe point: the worksite named, else the way back to the start."""
        scene = self.record.scene
        name = scene.loaded.scenario.safe_point
        if name is not None:
            stand = scene.loaded.platform.document.worksites[name].stand
            pose = self.tree.pose_of(f"{PLATFORM}/{stand}", self.position)
            return [to_pose(self.plate, pose, reach_m, name)]
        *between, first = self.way_back
        return [*(to_pose(self.plate, pose, 0.25, "") for pose in between),
                to_pose(self.plate, first, reach_m, "where the run starts")]  # fmt: skip

    @cached_property
    def way_back(self) -> list[Array]:
        """Poses of the plate from the instant back to the start of the run: the same whichever joint locks."""
        return _way_back(self.record, self.plate, self.time_s)

    # -- proving ----------------------------------------------------------------------------------------------

    def _proven(self, way: Array) -> tuple[Array, float]:
        """Return the shortest of the straight way and all corners that is proven, and its margin."""
        straight = way[[0, -1]]
        lower = self._margin(straight)
        if lower >= 0 or len(way) == 2:
            return straight, lower
        return way, self._margin(way)

    def _margin(self, way: Array) -> float:
        count = len(way) - 1
        if count == 0:
            way, count = way[[0, 0]], 1
        table = np.zeros((1, count, 2, len(self.start)))
        table[0, :, 0], table[0, :, 1] = way[:-1], np.diff(way, axis=0)
        base = self.position[None]
        arcs = Arcs(
            self.record.scene.arm_joints, base, np.arange(count + 1.0)[None], table, np.array([float(count)]),
            np.zeros_like(base),
        )  # fmt: skip
        return min(
            float(least_margins(
                one.side.prover, arcs, one.left_m, enough_m=WATCH_M, tolerance_m=0.01, give_up_m=0.0
            ).lower_m[0])
            for one in self.asked
        )  # fmt: skip

    def _lasting_s(self, way: Array) -> float:
        """Return the time from corner to corner, at rest in each: a trapezoid or a triangle of the slowest joint."""
        arm, load = self.record.scene.loaded.arm.document, self.side.load
        rates, pushes = joint_rates(arm, load) * load.near_structure, joint_accelerations(arm, load)
        total = 0.0
        for change in np.abs(np.diff(way, axis=0)):
            moves = change > 0
            if moves.any():
                rate, push = (rates[moves] / change[moves]).min(), (pushes[moves] / change[moves]).min()
                total += 1 / rate + rate / push if push >= rate**2 else 2 / np.sqrt(push)
        return float(total)


def _way_back(record: Record, plate: Chain, time_s: float) -> list[Array]:
    """Return poses of the plate from an instant back to the start of the run, ways there and back left out."""
    columns = record.scene.arm_columns
    breaks = record.motion.breaks_s
    grid = np.union1d(np.linspace(0.0, time_s, max(int(time_s / 2.0), 2)), breaks[breaks < time_s])
    poses = plate.forward(record.motion.at(grid)[:, columns])
    here, way = len(grid) - 1, []
    while here > 0:
        apart = pose_error(poses[:here], np.broadcast_to(poses[here], (here, 4, 4)))
        metres, radians = np.linalg.norm(apart[:, :3], axis=1), np.linalg.norm(apart[:, 3:], axis=1)
        near = (metres < _SPACING_M) & (radians < _SPACING_RAD)
        here = int(np.argmax(near)) if near.any() else here - 1
        way.append(poses[here])
    return way or [poses[0]]
