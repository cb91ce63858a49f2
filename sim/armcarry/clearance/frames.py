"""What the kernels know of a tree: moving frames, the bodies on them, and every pair in its common frame.

Fixed joints are folded away. A *frame* sits behind one movable joint and is turned so that the joint's axis
is its z. A *mover* is a body seen from a frame that it hangs from (or from the world, -1): a pair is judged
in the nearest frame that both bodies hang from, so only the joints between them count.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from armcarry.clearance.solids import Solids, pack, pose_rows
from armcarry.errors import FrameError
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.scene.tree import Tree

WORLD_FRAME = -1


class Frames(NamedTuple):
    """Moving frames, parents first: parent (F,), slides (F,) 0 or 1, hang (F, 12) T_parent_joint, lever_m (F,)."""

    parent: np.ndarray
    slides: np.ndarray
    hang: Array
    lever_m: Array  # about how far a point can be from the axis; 1 for a slide; steers, never proves


class Movers(NamedTuple):
    """Bodies seen from a base frame (M of them).

    Attributes:
        body: row of the body.
        base, frame: the frame it is seen from, the frame it is fixed to.
        core: (M, 12) T_frame_core.
        first, last: range in ``links`` of the frames between, nearest the base first.
        slot: number among those that can move, -1 for those fixed to their base.
    """

    body: np.ndarray
    base: np.ndarray
    frame: np.ndarray
    core: Array
    first: np.ndarray
    last: np.ndarray
    slot: np.ndarray
    links: np.ndarray


@dataclass(frozen=True, eq=False)
class Layout:
    """All that is prepared once for a tree and its pairs.

    Attributes:
        joints: the joint of every frame, by full name.
        needed: (F,) which frames some pair depends on.
        pairs: (P, 2) rows into movers, in the order the kernels visit them.
        order: (P,) the caller's row of each.
    """

    solids: Solids
    frames: Frames
    joints: tuple[str, ...]
    needed: np.ndarray
    movers: Movers
    pairs: np.ndarray
    order: np.ndarray

    def base_points(self, pairs: np.ndarray, q: Array, points: Array) -> Array:
        """Take points of some pairs from the base frame of each to the world.

        Args:
            pairs: (R,) rows into ``pairs``.
            q: (R, F) position of every frame's joint; nan where it is not known, as the points then are.
            points: (R, n, 3) seen from the base frame of the pair.
        """
        bases = self.movers.base[self.pairs[pairs, 0]]
        world = points.copy()
        for base in np.unique(bases[bases >= 0]).tolist():
            rows = bases == base
            for frame in reversed(line_to(self.frames.parent, base)):
                world[rows] = _above(self.frames, frame, q[rows, frame], world[rows])
        return world

    @property
    def moving(self) -> int:
        """Number of movers that can move."""
        return int(self.movers.slot.max(initial=-1)) + 1


def body_frames(tree: Tree) -> tuple[list[int], list[Array], Frames]:
    """Fold fixed joints away: frame of every link, T_frame_link of every link, and the frames."""
    frame_of: list[int] = []
    inside: list[Array] = []
    parent: list[int] = []
    hang: list[Array] = []
    for row, up in enumerate(tree.parents):
        frame, pose = (WORLD_FRAME, poses.identity()) if up < 0 else (frame_of[up], inside[up])
        pose = pose @ tree.origins[row]
        if tree.kinds[row]:
            align = _z_onto(tuple(tree.axes[row].tolist()))
            parent.append(frame)
            hang.append(pose @ align)
            frame, pose = len(parent) - 1, poses.inverse(align)
        frame_of.append(frame)
        inside.append(pose)
    slides = (tree.kinds[tree.kinds > 0] == 2).astype(np.int64)
    rows = pose_rows(np.stack(hang), np.zeros(3)) if hang else np.zeros((0, 12))
    frames = Frames(np.array(parent, dtype=np.int64), slides, rows, np.ones(len(parent)))
    return frame_of, inside, frames


def lay_out(tree: Tree, pairs: np.ndarray) -> Layout:
    """Prepare a tree and pairs (P, 2) of body rows for the kernels.

    Raises:
        FrameError: a pair names a body row that the tree does not have.
    """
    pairs = np.asarray(pairs, dtype=np.int64).reshape(-1, 2)
    count = len(tree.bodies)
    if pairs.size and (pairs.min() < 0 or pairs.max() >= count):
        wrong = int(pairs.min()) if pairs.min() < 0 else int(pairs.max())
        raise FrameError("body row", str(wrong), [f"0 to {count - 1}"])
    return place_bodies(tree).lay_out(pairs)


@dataclass(frozen=True, eq=False)
class Placed:
    """Bodies on moving frames: their solids, the frame (B,) of each and T_frame_core (B, 12)."""

    joints: tuple[str, ...]
    frames: Frames
    solids: Solids
    frame: np.ndarray
    core: Array

    def with_balls(self, on: np.ndarray, centre_m: Array, radius_m: Array) -> Placed:
        """Return these and a ball for every row of ``on`` (n,), fixed to that body, centre (n, 3) in its core frame."""
        rows = self.core[on]
        core = np.zeros((len(on), 12))
        core[:, [0, 4, 8]] = 1.0
        core[:, 9:] = np.einsum("nji,nj->ni", rows[:, :9].reshape(-1, 3, 3), centre_m) + rows[:, 9:]
        size = np.zeros((len(on), 5))
        size[:, 3] = size[:, 4] = radius_m
        solids = Solids(
            np.concatenate([self.solids.form, np.zeros((len(on), 3), dtype=np.int64)]),
            np.concatenate([self.solids.size, size]), self.solids.verts,
            np.concatenate([self.solids.centre, np.zeros((len(on), 3))]),
        )  # fmt: skip
        return Placed(
            self.joints, self.frames, solids, np.concatenate([self.frame, self.frame[on]]),
            np.concatenate([self.core, core]),
        )  # fmt: skip

    @cached_property
    def common(self) -> np.ndarray:
        """The nearest frame above both of two, (F+1, F+1) with the world first; of frames that bear bodies only."""
        return _common_frames(self.frames.parent, np.unique(self.frame))

    @cached_property
    def levers_m(self) -> Array:
        """About how far the farthest point behind each joint is from it, (F,)."""
        return _levers(self.frames, self.frame, self.core, self.solids.size[:, 4])

    def lay_out(self, pairs: np.ndarray) -> Layout:
        """Number what the kernels need for pairs (P, 2) of these bodies."""
        movers, in_movers = _movers(pairs, self.frame, self.core, self.frames.parent, self.common)
        needed = np.zeros(len(self.frames.parent), dtype=bool)
        needed[movers.links] = True
        order = np.lexsort((in_movers.min(axis=1), in_movers.max(axis=1))) if len(pairs) else np.zeros(0, np.int64)
        return Layout(
            self.solids, self.frames._replace(lever_m=self.levers_m), self.joints, needed, movers,
            np.ascontiguousarray(in_movers[order]), order,
        )  # fmt: skip


#: the bodies of trees that are in use: a run asks about the same tree again and again
_PLACED: WeakKeyDictionary[Tree, Placed] = WeakKeyDictionary()


def place_bodies(tree: Tree) -> Placed:
    """Seat the bodies of a tree on its moving frames, once."""
    if tree not in _PLACED:
        _PLACED[tree] = _seated(tree)
    return _PLACED[tree]


def _seated(tree: Tree) -> Placed:
    frame_of, inside, frames = body_frames(tree)
    solids = pack([body.shape for body in tree.bodies])
    where = [tree.index(body.link) for body in tree.bodies]
    frame = np.array([frame_of[link] for link in where], dtype=np.int64)
    core = [inside[link] @ body.pose for link, body in zip(where, tree.bodies, strict=True)]
    cores = pose_rows(np.stack(core), solids.centre) if core else np.zeros((0, 12))
    joints = tuple(tree.joints[column] for column in tree.columns[tree.columns >= 0])
    return Placed(joints, frames, solids, frame, cores)


def _above(frames: Frames, frame: int, q: Array, points: Array) -> Array:
    """Take points (R, n, 3) seen from a frame at joint positions q (R,) to the frame that it hangs from."""
    x, y, z = np.moveaxis(points, -1, 0)
    if frames.slides[frame]:
        z = z + q[:, None]
    else:
        c, s = np.cos(q)[:, None], np.sin(q)[:, None]
        x, y = c * x - s * y, s * x + c * y
    hang = frames.hang[frame]
    return np.asarray(np.stack([x, y, z], axis=-1) @ hang[:9].reshape(3, 3) + hang[9:])


def line_to(parent: np.ndarray, frame: int) -> list[int]:
    """Return the frames from the world down to ``frame``."""
    line = []
    while frame >= 0:
        line.append(frame)
        frame = int(parent[frame])
    return line[::-1]


def _movers(
    pairs: np.ndarray, frame: np.ndarray, cores: Array, parent: np.ndarray, common: np.ndarray
) -> tuple[Movers, np.ndarray]:
    """Number every (body, base frame) that the pairs need, those fixed to their base first."""
    count = len(parent) + 1  # frames and the world
    base = common[frame[pairs[:, 0]] + 1, frame[pairs[:, 1]] + 1]
    moves = frame[pairs] != base[:, None]
    key = (moves * len(frame) + pairs) * count + base[:, None] + 1
    keys, rows = np.unique(key, return_inverse=True)
    body, bases = keys // count % len(frame) if len(frame) else keys, keys % count - 1
    moving = keys >= len(frame) * count
    ways, way = np.unique(np.stack([frame[body], bases], axis=1), axis=0, return_inverse=True)
    links: list[int] = []
    ends = [0]
    for at, above in ways.tolist():
        line = line_to(parent, at)
        links.extend(line[line.index(above) + 1 :] if above >= 0 else line)
        ends.append(len(links))
    stops, way = np.array(ends, dtype=np.int64), way.reshape(-1)
    movers = Movers(
        body, bases, frame[body], np.ascontiguousarray(cores[body]), stops[way], stops[way + 1],
        np.where(moving, np.cumsum(moving) - 1, -1),
        np.array(links, dtype=np.int64),
    )  # fmt: skip
    return movers, rows.reshape(-1, 2).astype(np.int64)


def _common_frames(parent: np.ndarray, used: np.ndarray) -> np.ndarray:
    """Return the nearest frame above both of two frames, (F+1, F+1) with the world first; only ``used`` filled."""
    common = np.full((len(parent) + 1, len(parent) + 1), WORLD_FRAME, dtype=np.int64)
    lines = {int(f): line_to(parent, int(f)) for f in used}
    for a, line_a in lines.items():
        for b, line_b in lines.items():
            shared = [x for x, y in zip(line_a, line_b, strict=False) if x == y]
            common[a + 1, b + 1] = shared[-1] if shared else WORLD_FRAME
    return common


def _levers(frames: Frames, frame: np.ndarray, cores: Array, bound: Array) -> Array:
    """Estimate how far the farthest point behind each joint is from it, as if every link were stretched."""
    levers = np.full(len(frames.parent), 0.1)
    for body in np.flatnonzero(frame >= 0).tolist():
        at = int(frame[body])
        reach = float(np.linalg.norm(cores[body, 9:])) + bound[body]
        while at >= 0:
            levers[at] = max(levers[at], reach)
            reach += float(np.linalg.norm(frames.hang[at, 9:]))
            at = int(frames.parent[at])
    return np.where(frames.slides == 1, 1.0, levers)


@lru_cache(maxsize=256)  # joints have few axes, and there are as many trees as things change hands
def _z_onto(axis: tuple[float, float, float]) -> Array:
    """Return a pose (4, 4) that turns z onto a unit axis."""
    x = np.cross(axis, (0.0, 0.0, 1.0) if abs(axis[2]) < 0.9 else (1.0, 0.0, 0.0))
    x /= np.linalg.norm(x)
    pose = poses.identity()
    pose[:3, :3] = np.stack([x, np.cross(axis, x), axis], axis=1)
    pose.flags.writeable = False
    return pose
