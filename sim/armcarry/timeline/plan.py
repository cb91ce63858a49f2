"""The plan of a day: ways of the workers, durations that follow from motion, schedule and custody."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING

import numpy as np

from armcarry.errors import FrameError, StepError
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.geometry.poses import Array, identity
from armcarry.ledger.book import Ledger, keep
from armcarry.scene.build import PLATFORM, VEHICLE, Scene, hang
from armcarry.scene.crew import FREE_JOINTS
from armcarry.scene.tree import WORLD
from armcarry.timeline.acts import acts_of_day, pages_before
from armcarry.timeline.conflicts import Conflict, two_places
from armcarry.timeline.first_page import page_at_start
from armcarry.timeline.network import build
from armcarry.timeline.run import MoveSpan
from armcarry.timeline.schedule import Schedule, schedule, slipped
from armcarry.timeline.situation import destinations, situation_after, situation_at_start
from armcarry.timeline.tanks import tanks_of
from armcarry.timeline.task import Duration, Limit, Point, Task, limits_of, tasks_of
from armcarry.timeline.together import asked_twice
from armcarry.timeline.trolley import rail_conflicts
from armcarry.timeline.usual import usual
from armcarry.timeline.walks import Walk, place_pose, walk_between
from armcarry.timeline.wanted import windows_of

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario


@dataclass(frozen=True, eq=False)
class DayPlan:
    """A day worked out.

    Attributes:
        tasks: the steps with their links and durations, slips added.
        computed: step -> duration that follows from a motion or a path, stated or not.
        walks: step -> one walk a worker.
        slip, failed: what was asked to go otherwise.
    """

    scene: Scene
    day: Day
    tasks: tuple[Task, ...]
    limits: tuple[Limit, ...]
    schedule: Schedule
    computed: Mapping[str, Duration]
    walks: Mapping[str, tuple[Walk, ...]]
    slip: Mapping[str, float]
    failed: tuple[str, ...]

    @cached_property
    def ledger(self) -> Ledger:
        """The ledger of the day from its steps alone: nothing has moved yet, so presence is not judged."""
        start = page_at_start(self.scene.loaded)
        return keep(start, acts_of_day(self.day, self.schedule, start))

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """What the schedule and the rail do not allow; what links tell is not told by the clock once more."""
        rail = rail_conflicts(self.scene.loaded, self.day, self.schedule, self.ledger.start)
        twice = asked_twice({step.name: step for step in self.day.steps}, self.schedule)
        told = {(conflict.actor, frozenset({conflict.step, conflict.other})) for conflict in twice}
        places = (c for c in two_places(self.schedule) if (c.actor, frozenset({c.step, c.other})) not in told)
        found = (*places, *rail, *twice)
        return tuple(sorted(found, key=lambda conflict: (conflict.start_s, conflict.step)))

    def step(self, name: str) -> Step:
        """Return a step of the day. Raises FrameError when there is none."""
        for step in self.day.steps:
            if step.name == name:
                return step
        raise FrameError("step", name, (step.name for step in self.day.steps))


def plan_day(
    scene: Scene,
    day: Day,
    carry_s: Mapping[str, float],
    *,
    slip: Mapping[str, float] | None = None,
    failed: Collection[str] = (),
    point: Point = "likely",
) -> DayPlan:
    """Work out the day of a scenario.

    Args:
        carry_s: how long the motion of each carry takes, by the carry's name.
        slip: step -> seconds it takes longer.
        failed: steps that are tried, fail and are followed by their fallback.

    Raises:
        FrameError: slip or failed names no step, a step a place that does not exist.
        InputError: a step without any duration, or steps in a circle.
    """
    ways = ways_of(scene)
    walks = ways.walks
    computed = {
        name: Duration.exactly(max(walk.duration_s for walk in group) + ways.passing_s[name])
        for name, group in walks.items()
    }
    climbing, safe = scene.loaded.rules.climbing, scene.loaded.rules.arm_safe
    for step in day.steps:
        if climbing is not None and step.kind in ("enter_restraint", "leave_restraint"):
            enters = step.enter_restraint is not None
            computed[step.name] = Duration.exactly(climbing.get_in if enters else climbing.get_out)
        if step.call is not None and safe is not None:
            computed[step.name] = Duration.exactly(safe.call)
        if step.takes is None and (by_documents := usual(scene.loaded, step)) is not None:
            computed[step.name] = by_documents
        if step.carry in carry_s:
            around_s = 0.0 if safe is None else safe.make_ready + safe.make_safe
            computed[step.name] = Duration.exactly(carry_s[str(step.carry)] + around_s)
    for name in (*(slip or {}), *failed):
        scene.loaded.ask_for_step(name)
    tasks = slipped(tasks_of(day, computed, windows_of(scene)), slip or {})
    limits = (*limits_of(day), *tanks_of(scene.loaded, day))
    result = schedule(tasks, limits, point=point, failed=failed)
    return DayPlan(scene, day, tasks, limits, result, computed, walks, dict(slip or {}), tuple(failed))


def without_slip(plan: DayPlan) -> Schedule:
    """Return the schedule of the same day with every step as long as stated and none failing."""
    back = {step: -seconds for step, seconds in plan.slip.items()}
    return schedule(slipped(plan.tasks, back), plan.limits)


def flown_s(scene: Scene, moves: Sequence[MoveSpan]) -> dict[str, float]:
    """Return how long each carry's moves take together; 0 for one that was not flown, a shortfall says why."""
    spans: dict[str, tuple[float, float]] = {}
    for move in moves:
        first, last = spans.get(move.carry, (move.start_s, move.end_s))
        spans[move.carry] = (min(first, move.start_s), max(last, move.end_s))
    took_s = {carry: last - first for carry, (first, last) in spans.items()}
    return {carry.name: took_s.get(carry.name, 0.0) for carry in scene.loaded.scenario.carries}


@dataclass(frozen=True, eq=False)
class Ways:
    """Where the workers go in a day: the walks of each translation, and T_world_boots where others end on a rail.

    ``passing_s``: translation -> how long somebody is in the hatch meanwhile, out and in.
    """

    walks: Mapping[str, tuple[Walk, ...]]
    stands: Mapping[tuple[str, str], Array]
    passing_s: Mapping[str, float]


@lru_cache(maxsize=4)  # a plan is worked out anew for every schedule; the ways stay the same
def ways_of(scene: Scene) -> Ways:
    """Return the ways of the scenario's day, each from where its worker is by then, past what sits there by then."""
    day = scene.loaded.scenario.day
    walks: dict[str, tuple[Walk, ...]] = {}
    stands: dict[tuple[str, str], Array] = {}
    passing_s: dict[str, float] = {}
    where, parked = dict[str, Array](), True
    now, goes_to = situation_at_start(scene.loaded), destinations(scene.loaded)
    steps = steps_in_order(day) if day is not None else []
    pages, slow = pages_before(scene.loaded, steps), scene.loaded.rules.hands.speed_with_item
    for step in steps:
        workers = [actor for actor in step.actors if actor in scene.loaded.crew]
        if step.translate is not None and day is not None:
            most = {w: slow if pages[step.name].brought_by(w) else None for w in workers}
            going = tuple(
                walk_between(scene, day, step, w, now.place(w), where.get(w), most[w], parked=parked) for w in workers
            )
            walks[step.name] = going
            page = pages[step.name]
            ends = any(page.people[w].inside for w in workers) + (step.translate.to == AIRLOCK)
            passing_s[step.name] = ends * page.asked.passing_s
            where.update({walk.worker: walk.poses[1] for walk in going})
        elif step.leave_restraint is not None and step.leave_restraint.to is not None:
            for worker in workers:
                where[worker] = stands[step.name, worker] = place_pose(scene, step.leave_restraint.to, worker)
        elif step.kind in ("enter_restraint", "leave_restraint"):
            for worker in workers:
                where.pop(worker, None)
        parked = parked and step.move_base is None  # what it does from one station is near to where it begins
        now = situation_after(now, step, goes_to)
        scene = _stands_after(scene, step)
    return Ways(walks, stands, passing_s)


def _stands_after(scene: Scene, step: Step) -> Scene:
    """Return the scene with hardware, restraints and what the platform moves where a step leaves them.

    People are left alone, and so is the arm: where it is by then is not known before its carries are planned.
    """
    tree, position = scene.tree, scene.position.copy()
    for joint, value in _left_at(scene, step).items():
        position[tree.column(joint)] = value
    if step.seat is not None:
        tree = hang(scene, tree, step.seat.what, scene.socket(step.seat.into) or WORLD, position)
    elif step.take is not None:
        tree = tree.attach(step.take.what, WORLD, identity())  # in somebody's hands: not in the way of a walk
    elif np.array_equal(position, scene.position):
        return scene
    return replace(scene, tree=tree, position=position)


def _left_at(scene: Scene, step: Step) -> dict[str, float]:
    """Return the values that joints of platform and vehicle have once a step is done: appendages, carts, base."""
    platform = scene.loaded.platform.document
    if step.move_appendage is not None:
        turned = platform.appendages[step.move_appendage.appendage].states[step.move_appendage.state]
        return {f"{PLATFORM}/{joint}": value for joint, value in turned.items()}
    if step.move_vehicle is not None:
        to = zip(FREE_JOINTS[:3], step.move_vehicle.goal, strict=True)
        return {f"{VEHICLE}/{joint}": value for joint, value in to}
    rolls: dict[str | None, float] = {}
    if step.move_cart is not None:
        rolls = {platform.carts[step.move_cart.cart].joint: step.move_cart.to}
    elif step.move_base is not None:
        rolls = {platform.mounts[scene.loaded.scenario.base.mount].joint: step.move_base.to}
    elif step.seat is not None and step.seat.station is not None:
        frame = (scene.socket(step.seat.into) or "").removeprefix(f"{PLATFORM}/")
        rolls = {cart.joint: step.seat.station for cart in platform.carts.values() if cart.body_frame == frame}
    return {f"{PLATFORM}/{joint}": station for joint, station in rolls.items() if joint is not None}


def check_order(loaded: LoadedScenario) -> None:
    """Ask that the steps of a scenario's day can follow one another, with each step or with its fallback.

    Raises:
        InputError: steps wait for one another in a circle; the message names the file and the line of the first.
    """
    day = loaded.scenario.day
    if day is None:
        return
    tasks = tasks_of(day, {step.name: Duration.exactly(0.0) for step in day.steps})
    try:
        build(tasks)
        for step in day.steps:
            if step.fallback is not None:
                build(tasks, frozenset({step.name}), {step.name: step.fallback})
    except StepError as error:
        raise loaded.located(error) from error


def steps_in_order(day: Day) -> list[Step]:
    """Return all steps in an order that links and actors allow, whatever they take."""
    network = build(tasks_of(day, {step.name: Duration.exactly(0.0) for step in day.steps}))
    return [day.steps[member] for node in network.order for member in network.members[node]]
