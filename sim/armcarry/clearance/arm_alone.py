"""Proven clearance of any arm from a URDF, given rows of joint positions: no scenario, no documents."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike

from armcarry.clearance.neighbours import Joined, joined
from armcarry.clearance.pairs import NamePair, pairs_that_move, two_names
from armcarry.clearance.prover import ClearanceBounds, prove_clearance
from armcarry.errors import FrameError, InputError, MotionError
from armcarry.geometry import checked
from armcarry.geometry.model import Body, Model
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.rows import PIECES, Pieces, interpolated
from armcarry.scene.tree import WORLD, Tree

ARM, AROUND = "arm", "around"
#: a joint may be this far beyond its travel, rad or m: limits in files have no more digits
BEYOND = 1e-6


@dataclass(frozen=True)
class PairBounds:
    """Bounds of one pair's least distance over the whole motion.

    Attributes:
        body_a, body_b: names as they were given.
        status: 'proven' (upper - lower within the tolerance), 'farther' (proven farther than the report
            distance), 'contact' (they overlap: lower is -inf and upper 0; there is no depth) or 'unresolved' (the
            proof was given up, for the motion is too fast for its clock: lower is -inf, contact is not ruled out).
        lower_m, upper_m: at every instant the distance is at least ``lower_m``; at ``time_s`` it is ``upper_m``.
        time_s: instant of the upper bound; nan where a pair proven farther was never measured.
        contact_s: first interval of contact, proven free before its start; None without contact.
        point_a, point_b: nearest points then, world; one common point at contact.
    """

    body_a: str
    body_b: str
    status: str
    lower_m: float
    upper_m: float
    time_s: float
    contact_s: tuple[float, float] | None
    point_a: tuple[float, float, float]
    point_b: tuple[float, float, float]


@dataclass(frozen=True, eq=False)
class ArmClearance:
    """What was proven of an arm's motion.

    Attributes:
        pairs: every pair of bodies that the motion moves against each other, the tightest first.
        bounds: the same as arrays, in the order of ``bounds.pairs``, which are rows into ``tree.bodies``.
        tree, motion: what was judged, for clearance_curve, swept_envelope and surface_map.
        joined: bodies with one joint between of which that settles everything: ``touching`` wherever it stands, or
            ``apart`` over all of its travel, by ``least_m`` at least.
    """

    pairs: tuple[PairBounds, ...]
    bounds: ClearanceBounds
    tree: Tree
    motion: Motion
    joined: Joined


def prove_arm(
    arm: Model | Path | str,
    times_s: ArrayLike,
    positions: Mapping[str, ArrayLike],
    bodies: Iterable[Body] = (),
    *,
    pieces: Pieces = "linear",
    own_bodies: bool = True,
    held: Mapping[str, float] | None = None,
    base: Array | None = None,
    neighbours: bool = False,
    ignore: Iterable[NamePair] = (),
    report_distance_m: float = 3.0,
    tolerance_m: float = 1e-3,
) -> ArmClearance:
    """Prove how close any convex bodies come while an arm moves through rows of joint positions.

    Args:
        arm: a URDF file, or a Model made in Python.
        times_s: (T,) strictly increasing.
        positions: joint -> (T,) rad or m, one for every movable joint that is not held and follows no other.
        bodies: further convex bodies on a link of the arm, or on 'world' for what stands around it; the pose of
            each is T_link_body or T_world_body.
        pieces: between rows the joints move straight ('linear') or on a monotone cubic ('cubic').
        own_bodies: take the URDF's own collision bodies, which must be convex then.
        held: joint -> position of joints that stand still.
        base: T_world_root (4, 4) of the arm's root link, the identity by default.
        neighbours: judge also bodies with one joint between that touch wherever it stands, or never do; by default
            they are left out, and listed in ``joined`` of the result. Those that touch in some postures are judged.
        ignore: pairs of body names to leave out.
        report_distance_m, tolerance_m: as prove_clearance.

    Raises:
        InputError: the URDF cannot be read; a mesh that is not convex is named with its line; two bodies have one
            name; an argument is not what is accepted.
        FrameError: a joint, link or body that is not there, with the nearest name.
        MotionError: a joint without positions, both moved and held, or beyond its travel; rows that do not fit the
            times; times that do not increase.
    """
    base = None if base is None else checked.pose("base", base)
    model, around = _with_bodies(_read(arm, own_bodies), checked.listed("bodies", bodies, "bodies"))
    tree = Tree().place(ARM, model, pose=base).place(AROUND, around)
    motion = _motion(tree, times_s, positions, held or {}, pieces)
    full = {body.name.split("/", 1)[1]: body.name for body in tree.bodies}
    wanted = [(_known(full, first), _known(full, second)) for first, second in two_names("ignore", ignore)]
    pairs = pairs_that_move(tree, motion, wanted)
    settled = joined(model)
    if not neighbours:
        pairs = _unsettled(tree, settled, pairs)
    bounds = prove_clearance(tree, motion, pairs, report_distance_m=report_distance_m, tolerance_m=tolerance_m)
    return ArmClearance(_rows(tree, bounds), bounds, tree, motion, settled)


def _read(arm: Model | Path | str, own_bodies: bool) -> Model:
    if isinstance(arm, Model):
        return arm if own_bodies else replace(arm, bodies=())
    if not isinstance(arm, Path | str):
        raise InputError("not an arm", found=checked.told(arm), accepted="a URDF file, or a Model")
    from armcarry.files.urdf import read_kinematics, read_urdf  # a third of a second that only this call needs

    return read_urdf(Path(arm), default_class="arm") if own_bodies else read_kinematics(Path(arm))


def _with_bodies(model: Model, bodies: tuple[Body, ...]) -> tuple[Model, Model]:
    """Return the arm with the bodies on its links, and what stands around it."""
    here, there = [], []
    for body in bodies:
        if not isinstance(body, Body):
            raise InputError("not a body", found=checked.told(body), accepted="Body(name, link, shape, pose)")
        if body.link == WORLD:
            there.append(replace(body, link="ground"))
        elif body.link in model.links:
            here.append(body)
        else:
            raise FrameError("link", body.link, (WORLD, *model.links))
    names = [body.name for body in (*model.bodies, *here, *there)]
    twice = sorted({name for name in names if names.count(name) > 1})
    if twice:
        raise InputError(f"two bodies are named '{twice[0]}'", accepted="names used once")
    return replace(model, bodies=(*model.bodies, *here)), Model(AROUND, "ground", ("ground",), (), tuple(there))


def _known(full: Mapping[str, str], name: str) -> str:
    if name not in full:
        raise FrameError("body", str(name), full)
    return full[name]


def _motion(
    tree: Tree, times_s: ArrayLike, positions: Mapping[str, ArrayLike], held: Mapping[str, float], pieces: Pieces
) -> Motion:
    """Return the motion of every joint of the arm, held joints included."""
    times = np.atleast_1d(_numbers("times_s", times_s))
    if pieces not in PIECES:
        raise InputError("pieces of an unknown kind", found=checked.told(pieces), accepted=", ".join(PIECES))
    joints = [name.split("/", 1)[1] for name in tree.joints]
    for which, given in (("positions", positions), ("held", held)):
        if not isinstance(given, Mapping):
            raise InputError(f"{which}: not a mapping", found=checked.told(given), accepted="joint -> numbers")
        for name in given:
            if name not in joints:
                raise FrameError("joint", str(name), joints)
    both = [name for name in positions if name in held]
    if both:
        raise MotionError(f"joint '{both[0]}' is both moved and held; give it one of the two")
    followers = [joint.follows for joint in tree.mounting(ARM).model.movable()]
    for name, follows in zip(joints, followers, strict=True):
        if follows is not None and (name in positions or name in held):
            raise MotionError(f"joint '{name}' follows '{follows.joint}'; give positions of that one alone")
    led = {name for name, follows in zip(joints, followers, strict=True) if follows is not None}
    missing = [name for name in joints if name not in positions and name not in held and name not in led]
    if missing:
        raise MotionError(f"no positions for {', '.join(missing)}; give them, or hold the joint at one position")
    if times.ndim != 1 or len(times) < 2 or not np.all(np.diff(times) > 0):
        raise MotionError("a motion needs at least two strictly increasing times")
    table = np.empty((len(times), len(joints)))
    for k, name in enumerate(joints):
        if name in led:
            continue
        row = _numbers(f"joint '{name}'", positions.get(name, held.get(name)))
        wanted = times.shape if name in positions else ()
        if row.shape != wanted:
            accepted = f"{len(times)} times" if wanted else "one position, for it is held"
            raise MotionError(f"joint '{name}' has positions of shape {row.shape} for {accepted}")
        table[:, k] = row
    for k, joint in enumerate(followers):
        if joint is not None:
            leader = joints.index(joint.joint)
            table[:, k] = joint.factor * table[:, leader] + joint.offset
    _within_travel(joints, tree.joint_limits, times, table)
    return interpolated(tree.joints, times, table, pieces)


def _numbers(what: str, value: object) -> Array:
    """Return numbers as an array. Raises InputError for what is none."""
    try:
        array = np.asarray(value)
    except (TypeError, ValueError):
        array = np.asarray(None)
    if array.dtype.kind not in "iuf":
        raise InputError(f"{what}: not numbers", found=checked.told(value), accepted="numbers, or an array of them")
    return array.astype(float)


def _within_travel(joints: list[str], limits: Array, times: Array, table: Array) -> None:
    """Raise MotionError where a joint is beyond its travel; both kinds of pieces stay between their rows."""
    if not (np.all(np.isfinite(table)) and np.all(np.isfinite(times))):
        raise MotionError("a motion must be finite")
    beyond = np.maximum(limits[:, 0] - table, table - limits[:, 1])
    if np.any(beyond > BEYOND):
        row, k = np.unravel_index(np.argmax(beyond), beyond.shape)
        raise MotionError(
            f"joint '{joints[k]}' is at {table[row, k]:g} at {times[row]:g} s, beyond its travel of {limits[k, 0]:g} "
            f"to {limits[k, 1]:g}; correct the positions, or the limits of the URDF or Joint"
        )


def _unsettled(tree: Tree, settled: Joined, pairs: np.ndarray) -> np.ndarray:
    """Leave out pairs of which the one joint between them settles everything."""
    both = [(pair.body_a, pair.body_b) for pair in settled.touching]
    both += [(pair.body_a, pair.body_b) for pair in settled.apart]
    names = {frozenset((f"{ARM}/{one}", f"{ARM}/{other}")) for one, other in both}
    keep = [frozenset((tree.bodies[a].name, tree.bodies[b].name)) not in names for a, b in pairs.tolist()]
    return np.asarray(pairs[np.array(keep, dtype=bool)])


def _rows(tree: Tree, bounds: ClearanceBounds) -> tuple[PairBounds, ...]:
    names = [body.name.split("/", 1)[1] for body in tree.bodies]
    order = np.lexsort((bounds.upper_m, bounds.lower_m))
    return tuple(
        PairBounds(
            names[bounds.pairs[k, 0]], names[bounds.pairs[k, 1]], str(bounds.status[k]), float(bounds.lower_m[k]),
            float(bounds.upper_m[k]), float(bounds.time_s[k]),
            None if np.isnan(bounds.contact_s[k, 0]) else tuple(bounds.contact_s[k].tolist()),
            tuple(bounds.point_a[k].tolist()), tuple(bounds.point_b[k].tolist()),
        )
        for k in order.tolist()
    )
