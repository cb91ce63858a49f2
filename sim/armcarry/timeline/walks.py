"""How a worker gets from place to place: where places are, the way along handrails, and the motion."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import lru_cache

import numpy as np

from armcarry.errors import FrameError
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import AIRLOCK, Step
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import PLATFORM, VEHICLE, Scene
from armcarry.scene.crew import FREE_JOINTS
from armcarry.timeline.handrails import NoRoute, RailRoute, find_route, rails_of
from armcarry.timeline.sides import Surroundings, choose_sides
from armcarry.timeline.translation import Pace, body_poses, translate_path

#: posture of the crew model for going along handrails, where it has one
CLIMB = "climb"


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
            pose[:3, :3] = _roomy(scene, worker, np.stack([rail.start, rail.end]))[0]
            point = rail.start if place == f"{PLATFORM}/{ends.start}" else rail.end
            pose[:3, 3] = point - pose[:3, :3] @ grip(scene, worker)
            return pose
    return scene.tree.pose_of(place, scene.position)


def climbing(scene: Scene, worker: str) -> Mapping[str, float]:
    """Return a worker's posture for handrails: joint -> value."""
    postures = scene.loaded.crew[worker].document.postures
    return postures.get(CLIMB, next(iter(postures.values())))


def grip(scene: Scene, worker: str) -> Array:
    """Return the point between a worker's gloves (3,) in the boots frame, in the posture for handrails."""
    crew = scene.loaded.crew[worker].document
    position = np.zeros(len(scene.tree.joints))
    for joint, value in climbing(scene, worker).items():
        position[scene.tree.column(f"{worker}/{joint}")] = value
    boots = f"{worker}/{crew.boots}"
    gloves = [scene.tree.pose_of(f"{worker}/{glove}", position, relative_to=boots)[:3, 3] for glove in crew.gloves]
    return np.asarray(np.mean(gloves, axis=0))


def walk_between(
    scene: Scene,
    day: Day,
    step: Step,
    worker: str,
    begins: str | None,
    here: Array | None = None,
    most_m_s: float | None = None,
) -> Walk:
    """Return how a worker goes in a translation step.

    Args:
        scene: as it stands by then.
        begins: where the worker is by then, None if not known; a start that the step states wins.
        here: T_world_boots (4, 4) of the worker there, if it is known.
        most_m_s: no faster than this, with an item in hand; None for no such limit.

    Raises:
        FrameError: the step is no translation, or names a place that does not exist.
    """
    if step.translate is None:
        raise FrameError("translation", step.name, (s.name for s in day.steps if s.translate is not None))
    speed = step.translate.speed or scene.loaded.crew[worker].document.translation_speed
    speed = speed if most_m_s is None else min(speed, most_m_s)
    start, goal = step.translate.start or begins or AIRLOCK, step.translate.to
    here = here if here is not None and start == begins else None
    own = {worker: scene.loaded.crew[worker].document, PLATFORM: scene.loaded.platform.document}
    hangs = tuple((one.instance, id(one.model), one.parent, one.pose.tobytes()) for one in scene.tree.mountings)
    known_by = (
        tuple((name, id(one)) for name, one in own.items()), tuple(scene.loaded.hardware), hangs,
        scene.position.tobytes(), start, goal, b"" if here is None else here.tobytes(), day.rail_gap, day.rail_reach,
        speed,
    )  # fmt: skip
    return _walk(_Asked(known_by, scene, day, worker, start, goal, here, speed))


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
        keys = _keys(scene, worker, route, ends, (start, goal))
        ends = keys[[0, -1]]
        if not np.allclose(ends[0], ends[1]):
            joints = [f"{worker}/{joint}" for joint in FREE_JOINTS]
            motion = translate_path(keys, grip(scene, worker), Pace(speed), joints)
    return Walk(worker, start, goal, ends, route, motion, straight_s)


def _keys(scene: Scene, worker: str, route: RailRoute, ends: Array, names: tuple[str, str]) -> Array:
    """Return the boots poses (K, 4, 4) of a walk, on the roomier side of every rail.

    Passing the hatch is not modelled: a walk from or to the airlock begins or ends on the rail beside it.
    """
    first, last = int(names[0] == AIRLOCK), len(route.legs) - int(names[1] == AIRLOCK)
    start, goal = (None if name == AIRLOCK else end for name, end in zip(names, ends, strict=True))
    if all(leg.kind == "reach" for leg in route.legs[first:last]):  # within reach of the hatch: no rail to go along
        return np.stack([pose for pose in (start, goal) if pose is not None] or [ends[1]])
    inner = RailRoute(route.points[first : last + 1], route.legs[first:last], route.aways[first:last])
    turns = _roomy(scene, worker, inner.points, start, goal)
    return body_poses(inner, grip(scene, worker), start, goal, turns)


def _roomy(
    scene: Scene, worker: str, points: Array, start: Array | None = None, goal: Array | None = None
) -> Array:
    """Return how a worker is turned (K, 3, 3) on every leg to have room beside the platform and what sits on it."""
    tree, position = scene.tree, scene.position
    hung = {name: tree.mounting(name).parent for name in (*scene.loaded.hardware, *scene.loaded.restraints)}
    still = {name for name, on in hung.items() if on.startswith(f"{PLATFORM}/") and on != scene.hatch}
    still |= {PLATFORM, VEHICLE}
    bodies = tuple(body for body in tree.bodies if body.link.split("/", 1)[0] in still)
    frames = np.array([tree.pose_of(body.link, position) @ body.pose for body in bodies]).reshape(-1, 4, 4)
    crew = scene.loaded.crew[worker].document
    head = tree.pose_of(f"{worker}/{crew.visor}", position, relative_to=f"{worker}/{crew.boots}")
    around = Surroundings(bodies, frames, grip(scene, worker), float(head[2, 3]))
    ends = (None if pose is None else pose[:3, :3] for pose in (start, goal))
    return choose_sides(points, around, *ends)
