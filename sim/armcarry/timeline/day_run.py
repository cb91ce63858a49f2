"""A day on the clock: carries, walks, climbing on and off and hands on hardware, merged into one run."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from functools import partial
from itertools import combinations

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.errors import InputError, StepError
from armcarry.files.documents.carries import Carry
from armcarry.files.documents.day import Day
from armcarry.motion.curve import Motion
from armcarry.scene.build import Scene
from armcarry.timeline.acts import MOVES_ARM, moving
from armcarry.timeline.memory import Memory
from armcarry.timeline.merge import Jump, Part, merge, stretched
from armcarry.timeline.plan import DayPlan, check_order, flown_s, plan_day
from armcarry.timeline.planned import Way
from armcarry.timeline.run import Event, MoveSpan, Phase, Run
from armcarry.timeline.schedule import SAME_S, Slot
from armcarry.timeline.walked import Moved, Walkthrough
from armcarry.timeline.walkthrough import matters, walk_through
from armcarry.timeline.written import ledger_of

Tell = Callable[[str, float], None]
Ready = Callable[[Carry, Way], Carry]
#: rounds of planning, should the schedule leave out a step that others stand on
ROUNDS = 3


def run_day(
    scene: Scene, tell: Tell | None = None, *, slip: Mapping[str, float] | None = None, failed: Collection[str] = (),
    memory: Memory | None = None,
) -> Run:  # fmt: skip
    """Rehearse the day of a scenario.

    Args:
        tell: told what is being done and the share of the whole rehearsal.
        slip: step -> seconds it takes longer.
        failed: steps that are tried, fail and are followed by their fallback.
        memory: what was planned and timed of this scene before.

    Returns:
        The run from the start of the day to its end; when a carry cannot be flown it ends before that step.

    Raises:
        InputError: the scenario has no day; steps in a circle; a step without any duration.
        FrameError: slip or failed names no step.
    """
    say = tell or (lambda words, share: None)
    return on_the_clock(*settled_day(scene, say, slip=slip, failed=failed, memory=memory))


def settled_day(
    scene: Scene, say: Tell, *, slip: Mapping[str, float] | None = None, failed: Collection[str] = (),
    memory: Memory | None = None, ready: Ready | None = None,
) -> tuple[Walkthrough, DayPlan]:
    """Return the day of a scenario with every carry flown, not yet put on the clock.

    Args:
        ready: told each carry, and where everything is by then; what it returns is flown.

    Raises:
        InputError, FrameError: as ``run_day``.
    """
    day = scene.loaded.scenario.day
    if day is None:
        raise InputError("the scenario has no day", accepted="a scenario with day: steps")
    check_order(scene.loaded)
    try:
        once = partial(_once, scene, day, say=say, slip=slip, failed=failed, memory=memory, ready=ready)
        return _settled(day, once)
    except StepError as error:  # a circle that only several fallbacks at once make
        raise scene.loaded.located(error) from error


def _settled(
    day: Day, once: Callable[[frozenset[str] | None], tuple[Walkthrough, DayPlan]]
) -> tuple[Walkthrough, DayPlan]:
    """Plan the day until the steps that are planned are those that the schedule keeps."""
    walk, plan = once(None)
    for _ in range(ROUNDS - 1):
        done = plan.schedule.tasks_done()
        differing = {step.name for step in day.steps if (step.name in done) != (step.name in walk.steps)}
        if walk.shortfall is not None or not any(matters(plan.step(name)) for name in differing):
            break
        walk, plan = once(done)
    return walk, plan


def _once(
    scene: Scene,
    day: Day,
    done: frozenset[str] | None,
    *,
    say: Tell,
    slip: Mapping[str, float] | None,
    failed: Collection[str],
    memory: Memory | None,
    ready: Ready | None,
) -> tuple[Walkthrough, DayPlan]:
    walk = walk_through(scene, day, done, lambda words, share: say(words, 0.1 + 0.5 * share), ready, memory=memory)
    return walk, plan_day(scene, day, flown_s(scene, _all_moves(walk)), slip=slip, failed=failed)


def _all_moves(walk: Walkthrough) -> tuple[MoveSpan, ...]:
    return tuple(move for run in walk.carries.values() for move in run.moves)


def on_the_clock(walk: Walkthrough, plan: DayPlan) -> Run:
    """Put what the steps come to at the times of the schedule."""
    slots, stop_s = _slots(walk, plan), _stop_s(walk, plan)
    phases, events = _phases(walk, slots, stop_s)
    motion = _motion(walk, slots, stop_s)
    moves = _moves(walk, slots)
    return Run(
        phases=phases,
        motion=motion,
        moves=moves,
        events=events,
        relaxed=_relaxed(walk, plan, slots),
        shortfalls=() if walk.shortfall is None else (replace(walk.shortfall, time_s=stop_s),),
        ledger=ledger_of(walk.scene, plan, phases, motion, moves, events),
    )


def placed(walk: Walkthrough, plan: DayPlan) -> tuple[tuple[Phase, ...], Motion]:
    """Return what hangs from what when, and the motion of all joints, with the steps at the times of a plan."""
    slots, stop_s = _slots(walk, plan), _stop_s(walk, plan)
    return _phases(walk, slots, stop_s)[0], _motion(walk, slots, stop_s)


def _slots(walk: Walkthrough, plan: DayPlan) -> dict[str, Slot]:
    """Return when each step that is done in a run moves what it moves."""
    stop_s = _stop_s(walk, plan)
    return {slot.name: _moving(plan, slot) for slot in plan.schedule.slots if slot.end_s <= stop_s + 1e-6}


def _motion(walk: Walkthrough, slots: Mapping[str, Slot], stop_s: float) -> Motion:
    """Return the motion of all joints up to when a run stops."""
    parts, jumps = [], []
    for item in walk.moved:
        slot = slots.get(item.step)
        if slot is None:
            continue
        lasting_s = slot.end_s - slot.start_s
        if item.motion is not None and lasting_s > 0.0:
            parts.append(Part(_placed(item, item.motion, slot), item.columns))
        elif item.values is not None:
            jumps.append(Jump(slot.end_s if item.at_end else slot.start_s, item.columns, item.values))
    return merge(walk.scene.tree.joints, walk.scene.position, parts, jumps, stop_s)


def _moving(plan: DayPlan, slot: Slot) -> Slot:
    """Return when what a step moves is moved: the arm is made ready before it moves, and safe after."""
    return moving(slot, plan.ledger.start.asked) if plan.step(slot.name).kind in MOVES_ARM else slot


def _stop_s(walk: Walkthrough, plan: DayPlan) -> float:
    """Return when the run ends: with the day, or before what cannot be flown; never at once."""
    end_s = min([plan.schedule.end_s, *_moved_twice_s(walk, plan)])
    if walk.shortfall is not None:
        end_s = min(s.start_s for s in plan.schedule.slots if plan.step(s.name).carry == walk.shortfall.carry)
    return max(end_s, 1.0)


def _moved_twice_s(walk: Walkthrough, plan: DayPlan) -> Iterator[float]:
    """Yield when two steps begin to move the same joints at the same time, as an arm that two ask for."""
    columns: dict[str, set[int]] = {}
    for item in walk.moved:
        columns.setdefault(item.step, set()).update(item.columns.tolist())
    slots = [slot for slot in plan.schedule.slots if slot.name in columns]
    for first, second in combinations(slots, 2):
        start_s, end_s = max(first.start_s, second.start_s), min(first.end_s, second.end_s)
        if end_s - start_s > SAME_S and columns[first.name] & columns[second.name]:
            yield start_s


def _placed(item: Moved, motion: Motion, slot: Slot) -> Motion:
    """Return the motion of a step at its time: over all of it, from its start or to its end."""
    lasting_s = slot.end_s - slot.start_s
    if item.spread:
        return _spread(motion, slot.start_s, lasting_s)
    longest_s = min(item.share * lasting_s, motion.duration_s)
    return stretched(motion, slot.end_s - longest_s if item.last else slot.start_s, longest_s)


def _spread(motion: Motion, start_s: float, lasting_s: float) -> Motion:
    """Return a motion of one second spread over a whole step."""
    powers = lasting_s ** -np.arange(motion.coefficients.shape[1], dtype=float)
    return Motion(motion.joints, start_s + motion.breaks_s * lasting_s, motion.coefficients * powers[None, :, None])


def _phases(
    walk: Walkthrough, slots: Mapping[str, Slot], stop_s: float
) -> tuple[tuple[Phase, ...], tuple[Event, ...]]:
    """Apply every hang at its time; what ends comes before what begins, else in the order of the walk."""
    timed = []
    for k, item in enumerate(walk.hangs):
        slot = slots.get(item.step)
        if slot is not None:
            time_s = slot.end_s if item.after_s is None else min(slot.start_s + item.after_s, slot.end_s)
            timed.append((min(time_s, stop_s), 0 if item.after_s is None else 1, k))
    tree, since_s = walk.scene.tree, 0.0
    phases, events = [], []
    for time_s, _, k in sorted(timed):
        item = walk.hangs[k]
        if time_s > since_s + 1e-6:
            phases.append(Phase(since_s, time_s, tree))
            since_s = time_s
        tree = tree.attach(item.instance, item.parent, item.pose)
        if item.event is not None:
            events.append(replace(item.event, time_s=time_s))
    if stop_s > since_s or not phases:
        phases.append(Phase(since_s, stop_s, tree))
    return tuple(phases), tuple(events)


def _moves(walk: Walkthrough, slots: Mapping[str, Slot]) -> tuple[MoveSpan, ...]:
    found = [
        replace(move, start_s=slots[step].start_s + move.start_s, end_s=slots[step].start_s + move.end_s)
        for step, run in walk.carries.items()
        if step in slots
        for move in run.moves
    ]
    return tuple(sorted(found, key=lambda move: (move.start_s, move.number)))


def _relaxed(walk: Walkthrough, plan: DayPlan, slots: Mapping[str, Slot]) -> tuple[Relaxed, ...]:
    """Return relaxations of moves and of steps with their times; ``through`` names a later move or step."""
    found = []
    for step, run in walk.carries.items():
        if step in slots:
            whole, by_s = plan.schedule.slot(step), slots[step].start_s
            for item in run.relaxed:  # what holds when a carry begins or ends holds while the arm is made ready or safe
                start_s = whole.start_s if item.start_s <= SAME_S else item.start_s + by_s
                end_s = whole.end_s if item.end_s >= run.motion.end_s - SAME_S else item.end_s + by_s
                found.append(replace(item, start_s=start_s, end_s=end_s))
    for own in plan.day.steps:
        slot = slots.get(own.name)
        if slot is None:
            continue
        for relax in own.relax:
            last = slots.get(relax.through or own.name, slot)
            found.append(Relaxed(*relax.bodies, relax.required, slot.start_s, last.end_s, relax.why))
    for shared in plan.day.relax:
        for name in shared.steps:
            if name in slots:
                times = slots[name].start_s, slots[name].end_s
                found.append(Relaxed(*shared.bodies, shared.required, *times, shared.why))
    return tuple(sorted(found, key=lambda item: item.start_s))
