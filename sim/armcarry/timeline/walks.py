"""How a worker gets from place to place: where places are, the way along handrails, and the motion."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import lru_cache

import numpy as np

from armcarry.errors import FrameError
from armcarry.files.documents.day import Day
from armcarry.files.documents.step_parts import PastArm
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.scene.crew import FREE_JOINTS
from armcarry.timeline.handrails import NoRoute, RailRoute, find_route, rails_of
from armcarry.timeline.on_rail import grip, stations, surroundings
from armcarry.timeline.sides import choose_sides
from armcarry.timeline.translation import Pace, body_poses, lifted, translate_path


@dataclass(frozen=True, eq=False)
class Walk:
    """How a worker gets from place to place in one step: the way, and the motion of the free joints from 0 s.

    ``poses`` (2, 4, 4) are T_world_boots before and after. Without a way along handrails, or where there is
    nothing to go, ``motion`` is None and the time is that of the straight line.
    """

    worker: str
    start: str
    goal: str
    poses: Array
    route: RailRoute | NoRoute
    motion: Motion | None
    straight_s: float

    @property
    def duration_s(self) -> float:
        """Time it takes."""
        return self.straight_s if self.motion is None else self.motion.duration_s


def place_pose(scene: Scene, place: str, worker: str) -> Array:
    """Return T_world_boots (4, 4) of a worker at a worksite, at the airlock, or at a frame by full name.

    At the end frame of a handrail the worker hangs on to the rail, on its roomiest side.

    Raises:
        FrameError: there is no such place.
    """
    platform = scene.loaded.platform.document
    if place in platform.worksites:
        place = f"{PLATFORM}/{platform.worksites[place].stand}"
    elif place == AIRLOCK and platform.airlock is not None:
        place = f"{PLATFORM}/{platform.airlock}"
    elif "/" not in place:
        raise FrameError("worksite", place, (*platform.worksites, AIRLOCK))
    for rail in rails_of(platform, scene.tree, scene.position):
        ends = platform.handrails[rail.name]
        if place in (f"{PLATFORM}/{ends.start}", f"{PLATFORM}/{ends.end}"):
            pose = poses.identity()
            pose[:3, :3] = choose_sides(np.stack([rail.start, rail.end]), surroundings(scene, worker, goes=False))[0]
            point = rail.start if place == f"{PLATFORM}/{ends.start}" else rail.end
            pose[:3, 3] = point - pose[:3, :3] @ grip(scene, worker)
            return pose
    return scene.tree.pose_of(place, scene.position)


def walk_between(
    scene: Scene,
    day: Day,
    step: Step,
    worker: str,
    begins: str | None,
    here: Array | None = None,
    most_m_s: float | None = None,
    *,
    parked: bool = False,
) -> Walk:
    """Return how a worker goes in a translation step.

    Args:
        scene: as it stands by then.
        begins: where the worker is by then, None if not known; a start that the step states wins.
        here: T_world_boots (4, 4) of the worker there, if it is known.
        most_m_s: no faster than this, with an item in hand; None for no such limit.
        parked: the arm is taken to be as it is in the scene; where the step says where it stands, that counts.

    Raises:
        FrameError: the step is no translation, or names a place that does not exist.
    """
    if step.translate is None:
        raise FrameError("translation", step.name, (s.name for s in day.steps if s.translate is not None))
    speed = step.translate.speed or scene.loaded.crew[worker].document.translation_speed
    speed = speed if most_m_s is None else min(speed, most_m_s)
    start, goal = step.translate.start or begins or AIRLOCK, step.translate.to
    here = here if here is not None and start == begins else None
    if step.translate.past is not None:
        scene, parked = _past(scene, step.translate.past), True
    own = {
        worker: scene.loaded.crew[worker].document, PLATFORM: scene.loaded.platform.document, "": scene.loaded.rules,
    }  # fmt: skip
    hangs = tuple((one.instance, id(one.model), one.parent, one.pose.tobytes()) for one in scene.tree.mountings)
    known_by = (
        tuple((name, id(one)) for name, one in own.items()), tuple(scene.loaded.hardware), hangs,
        scene.position.tobytes(), start, goal, b"" if here is None else here.tobytes(), day.rail_gap, day.rail_reach,
        speed, stations(scene), parked,
    )  # fmt: skip
    return _walk(_Asked(known_by, scene, day, worker, start, goal, here, speed, parked))


def _past(scene: Scene, arm: PastArm) -> Scene:
    """Return the scene with the arm where a step says that it stands meanwhile."""
    position, tree = scene.position.copy(), scene.tree
    for joint, value in arm.joints.items():
        position[tree.column(f"{ARM}/{joint}")] = value
    rail = scene.loaded.platform.document.mounts[scene.loaded.scenario.base.mount].joint
    if rail is not None and arm.station is not None:
        position[tree.column(f"{PLATFORM}/{rail}")] = arm.station
    return replace(scene, position=position)


@dataclass(frozen=True)
class _Asked:
    """What a walk follows from; two that are known by the same give the same walk."""

    known_by: tuple[object, ...]
    scene: Scene = field(compare=False)
    day: Day = field(compare=False)
    worker: str = field(compare=False)
    start: str = field(compare=False)
    goal: str = field(compare=False)
    here: Array | None = field(compare=False)
    speed: float = field(compare=False)
    parked: bool = field(compare=False)


@lru_cache(maxsize=200)  # a day that is changed or ordered anew asks for the same walks again
def _walk(asked: _Asked) -> Walk:
    scene, day, worker, start, goal = asked.scene, asked.day, asked.worker, asked.start, asked.goal
    first, speed = place_pose(scene, start, worker) if asked.here is None else asked.here, asked.speed
    ends = np.stack([first, place_pose(scene, goal, worker)])
    hands = poses.apply(ends, grip(scene, worker))
    rails = rails_of(scene.loaded.platform.document, scene.tree, scene.position)
    route = find_route(rails, hands[0], hands[1], gap_m=day.rail_gap, reach_m=day.rail_reach)
    straight_s = float(np.linalg.norm(hands[1] - hands[0])) / speed
    motion = None
    if isinstance(route, RailRoute) and not np.allclose(ends[0], ends[1]):
        keys = _keys(scene, worker, route, ends, (start, goal), asked.parked)
        ends = keys[[0, -1]]
        if not np.allclose(ends[0], ends[1]):
            joints = [f"{worker}/{joint}" for joint in FREE_JOINTS]
            motion = translate_path(keys, grip(scene, worker), Pace(speed), joints)
    return Walk(worker, start, goal, ends, route, motion, straight_s)


def _keys(scene: Scene, worker: str, route: RailRoute, ends: Array, names: tuple[str, str], parked: bool) -> Array:
    """Return the boots poses (K, 4, 4) of a walk, on the roomier side of every rail.

    Passing the hatch is not modelled: a walk from or to the airlock begins or ends on the rail beside it.
    """
    first, last = int(names[0] == AIRLOCK), len(route.legs) - int(names[1] == AIRLOCK)
    start, goal = (None if name == AIRLOCK else end for name, end in zip(names, ends, strict=True))
    if all(leg.kind == "reach" for leg in route.legs[first:last]):  # within reach of the hatch: no rail to go along
        keys = np.stack([pose for pose in (start, goal) if pose is not None] or [ends[1]])
    else:
        inner = RailRoute(route.points[first : last + 1], route.legs[first:last], route.aways[first:last])
        turned = (None if pose is None else pose[:3, :3] for pose in (start, goal))
        turns = choose_sides(inner.points, surroundings(scene, worker, goes=True, parked=parked), *turned)
        keys = body_poses(inner, grip(scene, worker), start, goal, turns)
    sites = scene.loaded.platform.document.worksites
    if names[1] in sites:  # straight onto the stand, and off it
        keys = np.insert(keys, -1, lifted(keys[-1]), axis=0)
    return np.insert(keys, 1, lifted(keys[0]), axis=0) if names[0] in sites else keys
