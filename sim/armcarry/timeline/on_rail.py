"""A worker's body on a handrail: its posture, where it grips, and what stands around it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from armcarry.asked.requirement import Requirement
from armcarry.asked.zones import along_rails
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Box, half_extents_m
from armcarry.scene.build import ARM, PLATFORM, VEHICLE, Scene
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.sides import Surroundings
from armcarry.timeline.translation import facing

#: posture of the crew model for going along handrails, where it has one
CLIMB = "climb"


def climbing(scene: Scene, worker: str) -> Mapping[str, float]:
    """Return a worker's posture for handrails: joint -> value."""
    postures = scene.loaded.crew[worker].document.postures
    return postures.get(CLIMB, next(iter(postures.values())))


def grip(scene: Scene, worker: str) -> Array:
    """Return the point between a worker's gloves (3,) in the boots frame, in the posture for handrails."""
    gloves = [f"{worker}/{glove}" for glove in scene.loaded.crew[worker].document.gloves]
    return np.asarray(np.mean(_from_boots(scene, worker, gloves)[:, :3, 3], axis=0))


def surroundings(scene: Scene, worker: str, *, goes: bool, parked: bool = False) -> Surroundings:
    """Return what stands around a worker on a handrail: the platform, the vehicle and all that sits on the platform.

    Who ``goes`` along it has all the room beside them through which the arm's foot rolls in the day, and their body is
    looked at part by part. What the arm's joints beyond the first move is left out unless it is ``parked`` as at the
    start, because where it is later is not known before its carries are planned.
    """
    tree, position = scene.tree.attach(worker, WORLD, poses.identity()), scene.position
    hung = {name: tree.mounting(name).parent for name in (*scene.loaded.hardware, *scene.loaded.restraints)}
    still = {name for name, on in hung.items() if on.startswith(f"{PLATFORM}/") and on != scene.hatch}
    rows = np.flatnonzero(tree.bodies_of((PLATFORM, VEHICLE, *still)))
    visor = f"{worker}/{scene.loaded.crew[worker].document.visor}"
    around = Surroundings(
        tuple(tree.bodies[row] for row in rows), _placed(tree, position, rows), grip(scene, worker),
        float(_from_boots(scene, worker, [visor])[0, 2, 3]),
    )  # fmt: skip
    if not goes:
        return around
    own = np.flatnonzero(tree.bodies_of((worker,)))
    parts = [tree.bodies[row] for row in own]
    asked, bodies, frames = _asked_m(scene, tree, own, rows), around.bodies, around.frames
    foot = np.flatnonzero(tree.bodies_of((ARM,)) & (scene.arm_joints_behind(tree) <= 1))
    if foot.size:
        box, at = _swept(scene, [tree.bodies[row] for row in foot], _placed(tree, position, foot))
        bodies, frames = (*bodies, box), np.concatenate([frames, at[None]])
        asked = np.column_stack([asked, _asked_m(scene, tree, own, foot).max(axis=1)])
    if parked:
        rest = np.flatnonzero(tree.bodies_of((ARM,)) & (scene.arm_joints_behind(tree) > 1))
        bodies = (*bodies, *(tree.bodies[row] for row in rest))
        frames = np.concatenate([frames, _placed(tree, position, rest)])
        asked = np.column_stack([asked, _asked_m(scene, tree, own, rest)])
    parts_at = _from_boots(scene, worker, [part.link for part in parts]) @ np.array([part.pose for part in parts])
    shapes, certain = tuple(part.shape for part in parts), np.arange(len(bodies)) < len(around.bodies)
    return replace(
        around, bodies=bodies, frames=frames, parts=shapes, parts_at=parts_at, asked_m=asked, certain=certain
    )


def _placed(tree: Tree, position: Array, rows: np.ndarray) -> Array:
    """Return T_world_body (B, 4, 4) of some bodies."""
    return np.array([tree.pose_of(tree.bodies[k].link, position) @ tree.bodies[k].pose for k in rows]).reshape(-1, 4, 4)


def _asked_m(scene: Scene, tree: Tree, own: np.ndarray, others: np.ndarray) -> Array:
    """Return how far bodies (O) are to stay from others (B): (O, B), nan where they may touch."""
    pairs = np.stack(np.meshgrid(own, others, indexing="ij"), axis=-1)
    pairs_m = Requirement(scene, tree, np.sort(pairs.reshape(-1, 2), axis=1), along_rails(scene, tree)).at(0.0).kept_m
    return np.asarray(pairs_m.reshape(pairs.shape[:2]))


def stations(scene: Scene) -> tuple[float, float]:
    """Return how far back and ahead of where it stands the arm's base rolls in the day, m."""
    mount, script = scene.loaded.platform.document.mounts[scene.loaded.scenario.base.mount], scene.loaded.scenario
    if mount.joint is None or script.day is None:
        return 0.0, 0.0
    here = float(scene.position[scene.tree.column(f"{PLATFORM}/{mount.joint}")])
    every = [here, *(step.move_base.to for step in script.day.steps if step.move_base is not None)]
    every += [] if script.base.station is None else [script.base.station]
    return min(every) - here, max(every) - here


def _swept(scene: Scene, bodies: Sequence[Body], frames: Array) -> tuple[Body, Array]:
    """Return a box about what the arm's base takes along, wherever it rolls in the day, and T_world_box."""
    mount, model = scene.loaded.platform.document.mounts[scene.loaded.scenario.base.mount], scene.loaded.platform.model
    pose = poses.identity()
    for joint in (one for one in model.joints if one.name == mount.joint):  # z along the way
        along = scene.tree.pose_of(f"{PLATFORM}/{joint.child}", scene.position)[:3, :3] @ joint.axis
        pose[:3, :3] = facing(along, np.zeros(3))
    low, high = np.full(3, np.inf), np.full(3, -np.inf)
    for body, frame in zip(bodies, frames, strict=True):
        lower, upper = half_extents_m(body.shape)
        here = poses.inverse(pose) @ frame
        centre, out = poses.apply(here, (lower + upper) / 2), np.abs(here[:3, :3]) @ (upper - lower) / 2
        low, high = np.minimum(low, centre - out), np.maximum(high, centre + out)
    back_m, ahead_m = stations(scene)
    low[2], high[2] = low[2] + back_m, high[2] + ahead_m
    box = Body("rolling", bodies[0].link, Box(tuple((high - low).tolist())), poses.identity())
    return box, pose @ poses.translation((low + high) / 2)


def _from_boots(scene: Scene, worker: str, links: Sequence[str]) -> Array:
    """Return T_boots_link (L, 4, 4) of links of a worker's body in the posture for handrails."""
    position = np.zeros(len(scene.tree.joints))
    for joint, value in climbing(scene, worker).items():
        position[scene.tree.column(f"{worker}/{joint}")] = value
    boots = f"{worker}/{scene.loaded.crew[worker].document.boots}"
    return np.array([scene.tree.pose_of(link, position, relative_to=boots) for link in links]).reshape(-1, 4, 4)
