"""A crewmember in the foot restraint at a worksite, in every setting and posture: frames and bodies as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.errors import FrameError, InputError
from armcarry.files.documents.bodies import RestraintDocument
from armcarry.files.documents.platform import Worksite
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Shape, Sphere, bounding_radius_m
from armcarry.motion.forward import forward
from armcarry.planning.detents import Detents, detents_of
from armcarry.scene.build import ARM, PLATFORM, Scene, hang
from armcarry.scene.crew import FREE_JOINTS
from armcarry.scene.names import any_pair_matches
from armcarry.scene.reach import CrewFrames
from armcarry.scene.tree import WORLD, Tree

Place = Literal["stand", "tip", "socket"]
#: classes of body that people and the restraint keep clear of
STANDING = ("structure", "appendage", "vehicle")


@dataclass(frozen=True, eq=False)
class Stance:
    """Everything the search reads. K placements = settings x turns, setting first; P postures.

    Attributes:
        detents: the settings.
        turns: (R,) turn counts of the stand about its normal.
        T_world_plate, T_world_mount: (K, 4, 4).
        T_stand_plate: (K, 4, 4).
        postures: names, P of them.
        chest, visor: (P, 4, 4) in the plate.
        shoulders_m: (P, 2, 3) in the plate.
        shapes: moving bodies (M of the crewmember and what they hold, then Q of restraint and arm tip), then F
            that stand.
        names: full names of the bodies in ``shapes``.
        on_plate: (P, M, 4, 4) in the plate; on_mount: (S, Q, 4, 4) in the mount; standing: (F, 4, 4).
        pairs: (N, 2) rows into shapes that must keep apart, nearest first where the restraint is neutral.
    """

    detents: Detents
    turns: np.ndarray
    T_world_plate: Array
    T_world_mount: Array
    T_stand_plate: Array
    postures: tuple[str, ...]
    chest: Array
    visor: Array
    shoulders_m: Array
    shapes: tuple[Shape, ...]
    names: tuple[str, ...]
    on_plate: Array
    on_mount: Array
    standing: Array
    pairs: np.ndarray

    def moving(self, placement: np.ndarray, posture: np.ndarray) -> Array:
        """Return T_world_body (N, M + Q, 4, 4) of what moves, for placements (N,) in postures (N,)."""
        body = self.T_world_plate[placement][:, None] @ self.on_plate[posture]
        restraint = self.T_world_mount[placement][:, None] @ self.on_mount[placement // len(self.turns)]
        return np.concatenate([body, restraint], axis=1)


@dataclass(frozen=True)
class Who:
    """What the search is about, with the names looked up; ``name`` is the restraint's."""

    name: str
    site: Worksite
    crew: str
    restraint: RestraintDocument
    place: Place


def look_up(scene: Scene, worksite: str, crew: str | None, place: Place | None, restraint: str | None = None) -> Who:
    """Find worksite, crewmember and restraint in a scene.

    Args:
        restraint: its name; left out, the one that the crewmember stands in, else the one on the arm, else the first.

    Raises:
        FrameError: no such worksite, crewmember or restraint.
        InputError: the scenario has no crew or no restraint, or the worksite has no socket.
    """
    sites = scene.loaded.platform.document.worksites
    if worksite not in sites:
        raise FrameError("worksite", worksite, sites)
    known = scene.loaded.restraints
    if not known:
        raise InputError("the scenario has no foot restraint, so there is nothing to set", accepted="restraint: ...")
    if not scene.loaded.crew:
        raise InputError("the scenario has no crewmember to stand in the restraint", accepted="crew: ...")
    if crew is None:
        crew = next(iter(scene.aboard(scene.tree) or scene.loaded.crew))
    elif crew not in scene.loaded.crew:
        raise FrameError("crewmember", crew, scene.loaded.crew)
    site = sites[worksite]
    stands_in = scene.tree.mounting(crew).parent.split("/", 1)[0]
    own = stands_in if stands_in in known else None
    name = restraint or own or scene.restraint_on_arm(scene.tree) or next(iter(known))
    if name not in known:
        raise FrameError("restraint", name, known)
    if place is None:
        fixed = scene.loaded.scenario.all_restraints[name].at != "arm" and site.socket is not None
        place = "socket" if fixed else "stand"
    if place == "socket" and site.socket is None:
        raise InputError(f"worksite '{worksite}' has no socket for a restraint", accepted="place stand or tip")
    return Who(name, site, crew, known[name].document, place)


def take_stance(
    scene: Scene, who: Who, postures: Sequence[str], turn_counts: Sequence[int], turn_step_rad: float, within_m: float
) -> Stance:
    """Place a crewmember in the restraint at a worksite in every setting, turn and posture.

    Args:
        scene: documents, models, and where everything else stands.
        who: from look_up.
        postures: names of the crew document's postures.
        turn_counts, turn_step_rad: how the stand may be turned about its normal; only 0 at a socket.
        within_m: bodies that stand farther than this from anything that moves are left out.

    Raises:
        InputError: a turn at a socket.
        FrameError: a posture the crew document does not have.
    """
    turns = np.array(turn_counts, dtype=np.int64)
    if who.place == "socket" and np.any(turns != 0):
        raise InputError("a restraint in a socket cannot be turned about the stand's normal", accepted="turn count 0")
    tree = _seated(scene, who)
    detents = detents_of(who.restraint)
    settings, bodies = _settings_q(tree, scene, who, detents), tree.bodies
    T_mount_link = forward(tree, settings)
    T_mount_plate = T_mount_link[:, tree.index(f"{who.name}/{who.restraint.plate}")]
    plate, mount, in_stand = _placements(scene, who, T_mount_plate, detents.neutral, turns * turn_step_rad)
    T_plate_link = _in_plate(tree, scene, who, postures)
    frames = CrewFrames.of(who.crew, scene.loaded.crew[who.crew].document)
    rows = _Rows.of(scene, tree, who)
    on_plate = _body_poses(tree, T_plate_link, bodies, rows.riding)
    on_mount = np.concatenate(
        [_body_poses(tree, T_mount_link, bodies, rows.restraint), _tip_poses(scene, tree, rows.tip, len(settings))],
        axis=1,
    )
    near, standing = _near(tree, scene, rows, plate, mount, on_plate, on_mount, within_m)
    names = tuple(bodies[k].name for k in (*rows.riding, *rows.restraint, *rows.tip, *near))
    stance = Stance(
        detents, turns, plate, mount, in_stand, tuple(postures),
        T_plate_link[:, tree.index(frames.chest)], T_plate_link[:, tree.index(frames.visor)],
        np.stack([T_plate_link[:, tree.index(link), :3, 3] for link in frames.shoulders], axis=1),
        tuple(bodies[k].shape for k in (*rows.riding, *rows.restraint, *rows.tip, *near)), names, on_plate, on_mount,
        standing, np.zeros((0, 2), dtype=np.int64),
    )
    return _with_pairs(scene, who, stance, rows)


# -- frames ------------------------------------------------------------------------------------------------


def _seated(scene: Scene, who: Who) -> Tree:
    """Return the tree with the restraint's mount at the world's origin and the crewmember on its plate."""
    tree = hang(scene, scene.tree, who.name, WORLD, scene.position)
    return hang(scene, tree, who.crew, f"{who.name}/{who.restraint.plate}", scene.position)


def _settings_q(tree: Tree, scene: Scene, who: Who, detents: Detents) -> Array:
    q = np.tile(scene.position, (len(detents.counts), 1))
    for k, joint in enumerate(detents.joints):
        q[:, tree.column(f"{who.name}/{joint}")] = detents.angles_rad[:, k]
    return q


def _in_plate(tree: Tree, scene: Scene, who: Who, postures: Sequence[str]) -> Array:
    """Return T_plate_link (P, L, 4, 4) of all links in each posture; right for what hangs from the plate."""
    known = scene.loaded.crew[who.crew].document.postures
    q = np.tile(scene.position, (len(postures), 1))
    for joint in FREE_JOINTS:
        q[:, tree.column(f"{who.crew}/{joint}")] = 0.0
    for row, posture in enumerate(postures):
        if posture not in known:
            raise FrameError("posture", posture, known)
        for joint, value in known[posture].items():
            q[row, tree.column(f"{who.crew}/{joint}")] = value
    every = forward(tree, q)
    plate = every[:, tree.index(f"{who.name}/{who.restraint.plate}")]
    return poses.inverse(plate)[:, None] @ every


def _placements(
    scene: Scene, who: Who, T_mount_plate: Array, neutral: int, turns_rad: np.ndarray
) -> tuple[Array, Array, Array]:
    """Return T_world_plate, T_world_mount and T_stand_plate (S * R, 4, 4)."""
    stand = scene.tree.pose_of(f"{PLATFORM}/{who.site.stand}", scene.position)
    turned = stand @ poses.rotation_about((0, 0, 1), turns_rad)
    if who.place == "stand":
        plate = np.broadcast_to(turned, (len(T_mount_plate), *turned.shape))
        mount = plate @ poses.inverse(T_mount_plate)[:, None]
    else:
        if who.place == "tip":
            held = turned @ poses.inverse(T_mount_plate[neutral])
        else:
            held = scene.tree.pose_of(f"{PLATFORM}/{who.site.socket}", scene.position)[None]
        mount = np.broadcast_to(held, (len(T_mount_plate), *held.shape))
        plate = mount @ T_mount_plate[:, None]
    plate, mount = plate.reshape(-1, 4, 4), mount.reshape(-1, 4, 4)
    return plate, mount, poses.inverse(stand) @ plate


# -- bodies ------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Rows:
    """Rows into the tree's bodies, by what they move with."""

    riding: list[int]
    restraint: list[int]
    tip: list[int]
    standing: list[int]

    @staticmethod
    def of(scene: Scene, tree: Tree, who: Who) -> _Rows:
        document = scene.loaded.crew[who.crew].document
        gloves = {tree.index(f"{who.crew}/{link}") for link in document.gloves}
        held = {who.crew, *(name for name in scene.loaded.hardware if tree.hangs_from(name, who.crew))}
        classes = scene.body_classes(tree)
        tip, mount = _anchor(tree, scene.arm_tip), _anchor(tree, f"{who.name}/{who.restraint.mount}")
        rows = _Rows([], [], [], [])
        for k, body in enumerate(tree.bodies):
            owner = body.name.split("/", 1)[0]
            if owner in held:
                if not gloves & set(tree.ancestry(body.link)):
                    rows.riding.append(k)
            elif owner == who.name:
                # in a socket the part that goes into it touches, and never moves
                if who.place != "socket" or _anchor(tree, body.link) != mount:
                    rows.restraint.append(k)
            elif owner == ARM:
                if who.place != "socket" and _anchor(tree, body.link) == tip:
                    rows.tip.append(k)
            elif classes[k] in STANDING:
                rows.standing.append(k)
        return rows


def _anchor(tree: Tree, link: str) -> int:
    """Return the row of the farthest link of the same thing that is rigid with this one."""
    row = tree.index(link)
    owner = link.split("/", 1)[0]
    while tree.kinds[row] == 0 and tree.links[tree.parents[row]].split("/", 1)[0] == owner:
        row = int(tree.parents[row])
    return row


def _body_poses(tree: Tree, T_x_link: Array, bodies: tuple[Body, ...], rows: list[int]) -> Array:
    links = [tree.index(bodies[k].link) for k in rows]
    local = np.array([bodies[k].pose for k in rows]).reshape(-1, 4, 4)
    return np.asarray(T_x_link[:, links] @ local)


def _tip_poses(scene: Scene, tree: Tree, rows: list[int], settings: int) -> Array:
    """Return T_mount_body (S, T, 4, 4) of the bodies rigid with the arm's tip, which the mount sits on."""
    links = forward(tree, scene.position)
    tip = poses.inverse(links[tree.index(scene.arm_tip)])
    return np.tile(tip @ _body_poses(tree, links[None], tree.bodies, rows)[0], (settings, 1, 1, 1))


def _near(
    tree: Tree, scene: Scene, rows: _Rows, plate: Array, mount: Array, on_plate: Array, on_mount: Array, within_m: float
) -> tuple[list[int], Array]:
    """Return the standing bodies that anything can come within within_m of, and their poses."""
    bodies = tree.bodies
    standing = _body_poses(tree, forward(tree, scene.position)[None], bodies, rows.standing)[0]
    centre = (plate[:, :3, 3].min(axis=0) + plate[:, :3, 3].max(axis=0)) / 2
    extent = 0.0
    for about, local, members in ((plate, on_plate, rows.riding), (mount, on_mount, rows.restraint + rows.tip)):
        radii = np.array([bounding_radius_m(bodies[k].shape) for k in members])
        spread = np.linalg.norm(about[:, :3, 3] - centre, axis=1).max()
        if len(members):
            extent = max(extent, float(spread + (np.linalg.norm(local[..., :3, 3], axis=-1) + radii).max()))
    if not rows.standing:
        return [], standing
    ball = poses.translation(centre)
    gaps = distances(
        [Sphere(extent + within_m), *(bodies[k].shape for k in rows.standing)],
        np.concatenate([ball[None], standing])[None],
        np.array([(0, k + 1) for k in range(len(rows.standing))]),
    ).lower_m[0]
    kept = np.flatnonzero(gaps <= 0)
    return [rows.standing[k] for k in kept], standing[kept]


def _with_pairs(scene: Scene, who: Who, stance: Stance, rows: _Rows) -> Stance:
    """Return the stance with the pairs that must keep apart, nearest first in the neutral setting."""
    riding = len(rows.riding)
    moving = riding + len(rows.restraint) + len(rows.tip)
    contacts = [contact.bodies for contact in scene.loaded.rules.intended_contact]
    pairs = [
        (a, b)
        for a in range(moving)
        for b in range(riding if a < riding else moving, len(stance.names))
        if not any_pair_matches(contacts, (stance.names[a], stance.names[b]))
    ]
    table = np.array(pairs, dtype=np.int64).reshape(-1, 2)
    neutral = np.array([stance.detents.neutral * len(stance.turns)])
    here = np.concatenate([stance.moving(neutral, np.array([0]))[0], stance.standing])
    gaps = distances(stance.shapes, here[None], table).upper_m[0]
    order = np.argsort(gaps, kind="stable")
    return Stance(**{**stance.__dict__, "pairs": table[order]})
