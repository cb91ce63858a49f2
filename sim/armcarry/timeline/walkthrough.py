"""The walk through a day's steps, before any clock time: what each step moves, and what it hangs where.

Steps are taken in an order their links allow, which fixes where everything is when each carry is planned.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

import numpy as np

from armcarry.files.documents.carries import Carry
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.ledger.state import ItemState
from armcarry.motion.curve import Motion
from armcarry.scene.build import PLATFORM, Scene, hang
from armcarry.scene.crew import FREE_JOINTS
from armcarry.scene.tree import WORLD
from armcarry.timeline.acts import pages_before
from armcarry.timeline.carry import Clock
from armcarry.timeline.handling import HANDLING, hold
from armcarry.timeline.memory import Memory
from armcarry.timeline.on_rail import climbing, grip
from armcarry.timeline.plan import steps_in_order, ways_of
from armcarry.timeline.planned import Way
from armcarry.timeline.second_make import asked_again
from armcarry.timeline.translation import Pace, joint_positions, lifted, translate_path
from armcarry.timeline.variants import plan_all
from armcarry.timeline.walked import Hang, Moved, Walkthrough

#: a worker takes another posture in this time, s; an assumption
POSTURE_S = 6.0


def walk_through(
    scene: Scene,
    day: Day,
    done: frozenset[str] | None,
    tell: Callable[[str, float], None],
    ready: Callable[[Carry, Way], Carry] | None = None,
    flown: Callable[[Walkthrough, Step], None] | None = None,
    memory: Memory | None = None,
    seen: Callable[[Walkthrough, Step], None] | None = None,
) -> Walkthrough:
    """Walk through the steps of a day.

    Args:
        done: names of the steps that are done; None for all but fallbacks.
        tell: told the step and the share of all steps.
        ready: told each carry with moves of its own, and where everything is by then; what it returns is flown.
        flown: does what a carry does in place of flying it.
        memory: what was planned and timed of this scene before.
        seen: shown where everything is before each step.

    Returns:
        The walkthrough; it ends before the first carry that cannot be flown.
    """
    walk = Walkthrough(scene, day, scene.tree, scene.position, ready=ready, memory=memory)
    fallbacks = {step.fallback for step in day.steps}
    ordered = [s for s in steps_in_order(day) if (s.name not in fallbacks if done is None else s.name in done)]
    walk.pages = pages_before(scene.loaded, ordered)
    does = _DO if flown is None else {**_DO, "carry": flown}
    for count, step in enumerate(ordered):
        tell(f"planning {step.title or step.name}", count / len(ordered))
        if seen is not None:
            seen(walk, step)
        if step.kind in does:
            does[step.kind](walk, step)
        if walk.shortfall is not None:
            break
        walk.steps.add(step.name)
    return walk


def matters(step: Step) -> bool:
    """Tell whether leaving a step out changes where anything is for the steps after it."""
    return step.kind in _DO


# -- the arm and the rail -------------------------------------------------------------------------------------


def _carry(walk: Walkthrough, step: Step) -> None:
    scene = walk.scene
    carry = next(c for c in scene.loaded.scenario.carries if c.name == step.carry)
    if walk.ready is not None and carry.moves:
        carry = walk.ready(carry, Way(walk.tree, walk.position))
    clock = Clock(scene, walk.tree, walk.position, memory=walk.memory or Memory())
    start = Way(walk.tree, walk.position)
    way, walk.shortfall = plan_all(scene, (carry,), start, flown=walk.flown, memory=walk.memory)
    if walk.shortfall is not None:
        walk.shortfall = asked_again(scene, (carry,), way, walk.shortfall)
    for planned in way.moves:
        clock.add(planned)
    run = clock.run()
    walk.carries[step.name] = run
    walk.flown += way.moves
    for event in run.events:
        phase = next(phase for phase in run.phases if phase.start_s >= event.time_s) if len(run.phases) > 1 else None
        hung = (way.tree if phase is None else phase.tree).mounting(event.what)
        walk.hangs.append(Hang(step.name, event.time_s, event.what, hung.parent, hung.pose, event))
    walk.tree, walk.position = way.tree, way.position
    changed = np.flatnonzero(np.any(run.motion.coefficients[:, 1:] != 0, axis=(0, 1)))
    columns = np.union1d(changed, scene.arm_columns)
    names = tuple(run.motion.joints[k] for k in columns)
    own = Motion(names, run.motion.breaks_s, run.motion.coefficients[:, :, columns])
    walk.moved.append(Moved(step.name, columns, own))


def _move_base(walk: Walkthrough, step: Step) -> None:
    joint = walk.scene.loaded.platform.document.mounts[walk.scene.loaded.scenario.base.mount].joint
    if step.move_base is not None and joint is not None:
        walk.slide(step, f"{PLATFORM}/{joint}", step.move_base.to)


def _move_cart(walk: Walkthrough, step: Step) -> None:
    if step.move_cart is not None:
        joint = walk.scene.loaded.platform.document.carts[step.move_cart.cart].joint
        walk.slide(step, f"{PLATFORM}/{joint}", step.move_cart.to)


# -- the workers ----------------------------------------------------------------------------------------------


def free_columns(scene: Scene, worker: str) -> np.ndarray:
    """Return the columns of a worker's six free joints."""
    return np.array([scene.tree.column(f"{worker}/{joint}") for joint in FREE_JOINTS])


def _plate(walk: Walkthrough, named: str | None = None) -> str:
    """Return the plate of the restraint a step names, else of the one on the arm, else of the first there is."""
    known = walk.scene.loaded.restraints
    name = named or walk.scene.restraint_on_arm(walk.tree) or next(iter(known), None)
    return walk.scene.arm_tip if name is None else walk.scene.plate(name)


def _translate(walk: Walkthrough, step: Step) -> None:
    for going in ways_of(walk.scene).walks[step.name]:
        worker = going.worker
        bringing = [item for item, state in walk.pages[step.name].states.items() if _on_own_tether(state, worker)]
        for item in bringing:  # both hands are on the handrails
            walk.rehang(step, item, *walk.scene.trailing(worker), at_end=False)
        _take_posture(walk, step, worker, climbing(walk.scene, worker), last=False)
        _go(walk, step, worker, going.poses, going.motion)
        walk.on_rail.add(worker)
        if going.goal in walk.scene.loaded.platform.document.worksites:
            _take_posture(walk, step, worker, at_work(walk.scene, worker), last=True)
            walk.on_rail.discard(worker)
            for item in bringing:
                walk.rehang(step, item, *hold(walk, step, worker, item))
        if going.goal == AIRLOCK and walk.scene.hatch is not None:
            _stand(walk, step, worker, walk.scene.hatch)


def _on_own_tether(state: ItemState, worker: str) -> bool:
    return state.where == "held" and worker in state.hands & state.tethers


def _leave(walk: Walkthrough, step: Step) -> None:
    for worker in _workers(walk, step):
        stands = walk.tree.mounting(worker).parent
        own = next((name for name in walk.scene.loaded.restraints if stands == walk.scene.plate(name)), None)
        plate = walk.tree.pose_of(_plate(walk, own), walk.position)
        to = step.leave_restraint.to if step.leave_restraint is not None else None
        goal = plate if to is None else ways_of(walk.scene).stands[step.name, worker]
        ends = np.stack([plate, goal])
        if to is not None and to not in walk.scene.loaded.platform.document.worksites:
            _take_posture(walk, step, worker, climbing(walk.scene, worker), last=True)
            walk.on_rail.add(worker)
        _go(walk, step, worker, ends, step_over(walk.scene, worker, ends, plate=0))


def _enter(walk: Walkthrough, step: Step) -> None:
    for worker in _workers(walk, step):
        boots = f"{worker}/{walk.scene.loaded.crew[worker].document.boots}"
        plate = _plate(walk, step.enter_restraint.which if step.enter_restraint is not None else None)
        ends = np.stack([walk.tree.pose_of(link, walk.position) for link in (boots, plate)])
        _go(walk, step, worker, ends, step_over(walk.scene, worker, ends, plate=1), last=True)
        _take_posture(walk, step, worker, at_work(walk.scene, worker), last=True)
        _stand(walk, step, worker, plate)
        walk.on_rail.discard(worker)


def _workers(walk: Walkthrough, step: Step) -> list[str]:
    """Return the crewmembers among a step's actors; the arm may be named beside them, to stand still."""
    return [actor for actor in step.actors if actor in walk.scene.loaded.crew]


def at_work(scene: Scene, worker: str) -> Mapping[str, float]:
    """Return the posture the scenario gives a worker."""
    return scene.loaded.crew[worker].document.postures[scene.loaded.scenario.crew[worker].posture]


def step_over(scene: Scene, worker: str, ends: Array, plate: int) -> Motion | None:
    """Return the motion of a body from one pose to another close by (2, 4, 4), None when there is no way to go.

    The boots go straight off the plate before the body turns, and straight down onto it; ``plate``: which end that is.
    """
    if np.allclose(ends[0], ends[1], atol=1e-9):
        return None
    keys = np.insert(ends, 1, lifted(ends[plate]), axis=0)
    pace = Pace(scene.loaded.crew[worker].document.translation_speed)
    return translate_path(keys, grip(scene, worker), pace, [f"{worker}/{joint}" for joint in FREE_JOINTS])


def _take_posture(walk: Walkthrough, step: Step, worker: str, posture: Mapping[str, float], *, last: bool) -> None:
    """Bend a worker into a posture in the first or last seconds of a step; joints it does not name go to zero."""
    free = set(free_columns(walk.scene, worker).tolist())
    own = [k for k, name in enumerate(walk.scene.tree.joints) if name.startswith(f"{worker}/") and k not in free]
    columns = np.array(own, dtype=np.int64)
    names = tuple(walk.scene.tree.joints[k] for k in own)
    goal = np.array([posture.get(name.split("/", 1)[1], 0.0) for name in names])
    here = walk.position[columns]
    if np.allclose(here, goal):
        return
    u = 1.0 / POSTURE_S
    table = np.stack([here, 0.0 * here, 3.0 * u**2 * (goal - here), -2.0 * u**3 * (goal - here)])[None]
    motion = Motion(names, np.array([0.0, POSTURE_S]), table)
    walk.moved.append(Moved(step.name, columns, motion, last=last, share=0.5))
    walk.put(columns, goal)


def _go(
    walk: Walkthrough, step: Step, worker: str, ends: Array, motion: Motion | None, *, last: bool = False
) -> None:
    """Hang a worker from the world when a step begins and let the free joints take them from pose to pose.

    They go at once, or ``last`` thing in the step: who gets on as somebody gets off lets them go first.
    """
    columns = free_columns(walk.scene, worker)
    walk.hangs.append(Hang(step.name, 0.0, worker, WORLD, poses.identity()))
    walk.tree = walk.tree.attach(worker, WORLD, poses.identity())
    if motion is None:  # no way along handrails, or nothing to go: there at once
        walk.jump(step, columns, joint_positions(ends[1:])[0], at_end=False)
        return
    walk.jump(step, columns, motion.at(motion.start_s), at_end=False)
    walk.moved.append(Moved(step.name, columns, motion, last=last))
    walk.put(columns, motion.at(motion.end_s, side="left"))


def _stand(walk: Walkthrough, step: Step, worker: str, link: str) -> None:
    """Stand a worker on a link when a step ends, but on nothing that is in the worker's own hands."""
    if walk.tree.hangs_from(link.split("/", 1)[0], worker):
        return
    walk.jump(step, free_columns(walk.scene, worker), np.zeros(6))
    walk.tree = hang(walk.scene, walk.tree, worker, link, walk.position)
    walk.hangs.append(Hang(step.name, None, worker, link, walk.tree.mounting(worker).pose))


_DO: dict[str, Callable[[Walkthrough, Step], None]] = {
    **HANDLING, "carry": _carry, "move_base": _move_base, "move_cart": _move_cart, "translate": _translate,
    "leave_restraint": _leave, "enter_restraint": _enter,
}
