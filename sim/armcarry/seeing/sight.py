"""Which cameras see the arm's tip and its riders, proven over stretches of time.

A camera sees a target through a whole cell of time when, at the middle of the cell, the target is inside its field of
view and the line to it is clear of every body by more than everything can have moved within the cell. Heads turn to the
target. The bodies that a camera sits in and those of the target itself are not in the way. Cells are halved until that
is proven or they are short; what is left unproven counts as unseen, so seen is certain, unseen on the safe side.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.clearance.sightline import sight_lines
from armcarry.clearance.solids import pack
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Sphere, bounding_radius_m
from armcarry.motion.drift import Drift
from armcarry.motion.refine import settle
from armcarry.record.kept import Kept
from armcarry.record.record import Phase, Record
from armcarry.scene.camera import View, crossing_rad, head_pose, look
from armcarry.scene.eyes import SceneCamera, scene_cameras, switched_on, targets

#: cells of time are at most this long while what is watched moves, and while anything else does, s
COARSE_S, LONG_S = 4.0, 32.0
#: and are halved down to this, s
FINE_S = 0.5
#: a body of the camera's own link this near to its eye is its housing, m
HOUSING_M = 0.03
#: cells or lines of sight looked at in one call
_BATCH = 400


@dataclass(frozen=True, eq=False)
class Sightings:
    """What is seen over the run, in C cells of time by E cameras of T targets.

    Attributes:
        cameras, targets: names.
        edges_s: (C+1,) the cells' ends; cells follow one another without gaps.
        there: (C, T) whether there is such a target: a rider is one while aboard.
        seen: (C, E, T) whether the camera sees the target throughout the cell.
        glimpsed: (C, E, T) whether it does at the cell's middle.
        crossing_rad: (C, E, E, T) angle at the target between the lines of two cameras at the cell's middle, folded
            to 0 to pi/2; 0 where one of them is not proven to see it.
    """

    cameras: tuple[str, ...]
    targets: tuple[str, ...]
    edges_s: Array
    there: np.ndarray
    seen: np.ndarray
    glimpsed: np.ndarray
    crossing_rad: Array

    @property
    def lengths_s(self) -> Array:
        """Length of every cell (C,)."""
        return np.diff(self.edges_s)

    def unseen(self, target: str) -> tuple[tuple[float, float], ...]:
        """Return the stretches in which no camera is proven to see a target that is there."""
        k = self.targets.index(target)
        return stretches(self.edges_s, self.there[:, k] & ~self.seen[:, :, k].any(axis=1))

    def within(self, start_s: float, end_s: float) -> np.ndarray:
        """Tell which cells lie between two instants (C,)."""
        middles = (self.edges_s[:-1] + self.edges_s[1:]) / 2
        return np.asarray((middles >= start_s) & (middles <= end_s))


def stretches(edges_s: Array, chosen: np.ndarray) -> tuple[tuple[float, float], ...]:
    """Join chosen cells (C,) between edges (C+1,) into stretches of time."""
    change = np.flatnonzero(np.diff(np.concatenate([[False], chosen, [False]]).astype(int)))
    return tuple((float(edges_s[a]), float(edges_s[b])) for a, b in zip(change[::2], change[1::2], strict=True))


def sightings(record: Record) -> Sightings:
    """Tell which cameras see what over a run, as it was judged."""
    return record.result(SIGHTINGS)


def _find(record: Record) -> Sightings:
    scene = record.scene
    cameras = scene_cameras(scene)
    names: dict[str, int] = {}
    for phase in record.phases:
        for target in targets(scene, phase.tree):
            names.setdefault(target.name, len(names))
    e, t = len(cameras), len(names)
    nothing = np.zeros((0, e, t), dtype=bool)
    parts: list[_Part] = [(np.zeros(1), np.zeros((0, t), dtype=bool), nothing, nothing, np.zeros((0, e, e, t)))]
    parts += [watch(record, phase).run(names) for phase in record.phases if phase.end_s > phase.start_s]
    edges = np.concatenate([parts[0][0], *(part[0][1:] for part in parts[1:])])
    there, seen, glimpsed, crossing = (np.concatenate([part[k] for part in parts]) for k in range(1, 5))
    return Sightings(tuple(camera.name for camera in cameras), tuple(names), edges, there, seen, glimpsed, crossing)


SIGHTINGS = Kept("sight", 1, _find, (Sightings,))

_Part = tuple[Array, np.ndarray, np.ndarray, np.ndarray, Array]


class Watch:
    """The cameras and targets of one phase."""

    def __init__(self, record: Record, phase: Phase, cameras: tuple[SceneCamera, ...]) -> None:
        self.record, self.phase, self.cameras = record, phase, cameras
        self.targets = targets(record.scene, phase.tree)
        self.drift = Drift(phase.tree, record.motion, phase.start_s, phase.end_s)
        self.on = switched_on(record.scene, phase.tree, cameras)
        self.bodies = phase.tree.bodies
        rows = np.array([phase.tree.index(body.link) for body in self.bodies], dtype=np.int64)
        self.body_island = self.drift.islands[rows]
        self.placed = record.body_poses([phase.start_s])[0]
        self.solids = pack([body.shape for body in self.bodies])
        self.radii = np.array([bounding_radius_m(body.shape) for body in self.bodies])
        self.housing = [self._housing(camera) for camera in cameras]
        self.own = [
            np.array([body.name.startswith(target.parts) for body in self.bodies], dtype=bool)
            for target in self.targets
        ]

    @cached_property
    def ways(self) -> dict[str, Array]:
        """How far cameras and targets go as seen from every island, by link (I, edges)."""
        links = [camera.link for camera in self.cameras] + [target.link for target in self.targets]
        islands = [self.drift.tree.links[row] for row in np.unique(self.body_island)]
        return {link: np.stack([self.drift.way(link, seen_from=row)[0] for row in islands]) for link in links}

    @cached_property
    def _body_ways(self) -> dict[int, Array]:
        """How far any point of a body goes (edges,), by the row of the body, of those that move."""
        ways = enumerate(self.drift.way(body.link, body.pose[:3, 3]) for body in self.bodies)
        return {k: way + self.radii[k] * turned for k, (way, turned) in ways if way[-1] + turned[-1] > 0.0}

    def body_reach(self, *cells: Array) -> Array:
        """Return how far any point of every body goes in cells (B, N) of middles, starts and ends."""
        reach = np.zeros((len(self.bodies), len(cells[0])))
        if self._body_ways:
            reach[list(self._body_ways)] = self.drift.reach(np.stack(list(self._body_ways.values())), *cells)
        return reach

    def _housing(self, camera: SceneCamera) -> np.ndarray:
        """Tell which bodies (B,) the camera sits in."""
        eye, placed = self.record.link_path(camera.link, np.array([self.phase.start_s]))[0, :3, 3], self.placed
        owner, island = camera.name.split("/", 1)[0], self.drift.islands[self.phase.tree.index(camera.link)]
        reach = self.radii + HOUSING_M
        near = (np.linalg.norm(placed[:, :3, 3] - eye, axis=1) <= reach) & (self.body_island == island)
        rows = [k for k in np.flatnonzero(near) if self.bodies[k].name.startswith(f"{owner}/")]
        inside = np.zeros(len(self.bodies), dtype=bool)
        if rows:
            shapes = [Sphere(0.0), *(self.bodies[k].shape for k in rows)]
            both = np.concatenate([poses.translation(eye)[None], placed[rows]])
            gaps = distances(shapes, both[None], np.array([(0, k + 1) for k in range(len(rows))])).upper_m[0]
            inside[np.array(rows)[gaps <= HOUSING_M]] = True
        return inside

    def housing_reach_m(self, camera: str) -> float:
        """Return how far from its eye reach the bodies that a camera sits in, which turn with its head."""
        e = [each.name for each in self.cameras].index(camera)
        eye = self.record.link_path(self.cameras[e].link, np.array([self.phase.start_s]))[0, :3, 3]
        return float((np.linalg.norm(self.placed[:, :3, 3] - eye, axis=1) + self.radii)[self.housing[e]].max(initial=0))

    def run(self, names: dict[str, int]) -> _Part:
        """Halve cells until what is seen is proven or they are short."""

        def look(starts: Array, ends: Array) -> tuple[np.ndarray, ...]:
            seen, glimpsed, crossing = self._cells(starts, ends)
            wanted = np.minimum(glimpsed.sum(axis=1), 2)  # two cameras, so that their crossing is known
            return np.all(seen.sum(axis=1) >= wanted, axis=1), seen, glimpsed, crossing

        starts, ends, *found = settle(*self._first_cells(), look, shortest_s=FINE_S, batch=_BATCH)
        places = np.array([names[target.name] for target in self.targets])
        there = np.isin(np.arange(len(names)), places) & np.ones((len(starts), 1), dtype=bool)
        wide = [np.zeros((*item.shape[:-1], len(names)), dtype=item.dtype) for item in found]
        for item, result in zip(found, wide, strict=True):
            result[..., places] = item
        self.__dict__.pop("ways", None)  # a quarter of a gigabyte for a day; what is asked of gaps is far less
        self.drift.forget()
        return np.append(starts, ends[-1]), there, wide[0], wide[1], wide[2]

    def _first_cells(self) -> tuple[Array, Array]:
        """Cut a phase at its moves, and moves of the arm into coarse cells."""
        start, end = self.phase.start_s, self.phase.end_s
        cuts = {start, end}
        for move in self.record.moves:
            cuts |= {time for time in (move.start_s, move.end_s) if start < time < end}
        edges = sorted(cuts)
        cells: list[Array] = []
        for a, b in pairwise(edges):
            still = not self.drift.moving or self._still(a, b)
            step = COARSE_S if self._watched_moves(a, b) else LONG_S  # only a worker moves about
            cells.append(np.linspace(a, b, 2 if still else int(np.ceil((b - a) / step)) + 1)[:-1])
        starts = np.concatenate(cells)
        return starts, np.append(starts[1:], end)

    def _watched_moves(self, start_s: float, end_s: float) -> bool:
        """Tell whether tip or riders move between two instants."""
        ways = (self.drift.way(target.link)[0] for target in self.targets)
        return any(self.drift.at(way, end_s) > self.drift.at(way, start_s) for way in ways)

    def _still(self, start_s: float, end_s: float) -> bool:
        """Tell whether no joint moves between two instants."""
        low, high = self.record.motion.between(start_s, end_s).extremes(0)
        return bool(np.all(high - low <= 1e-12))

    def _cells(self, starts: Array, ends: Array) -> tuple[np.ndarray, np.ndarray, Array]:
        """Return what is seen throughout each cell and at its middle (N, E, T), and crossings there (N, E, E, T)."""
        middles = (starts + ends) / 2
        placed = self.record.body_poses(middles)
        eye = [self.record.link_path(camera.link, middles) for camera in self.cameras]
        point = [self.record.link_path(target.link, middles)[:, :3, 3] for target in self.targets]
        shape = (len(middles), len(self.cameras), len(self.targets))
        glimpsed, framed = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
        for e, camera in enumerate(self.cameras):
            for t, target in enumerate(self.targets):
                if self.on[e]:
                    way = self.drift.way(target.link, seen_from=camera.link)[0]
                    drift = self.drift.reach(way, middles, starts, ends)
                    depth = depth_in_view_m(camera.view, eye[e], point[t])
                    glimpsed[:, e, t], framed[:, e, t] = depth > 0, depth > drift
        self._trace(glimpsed, framed, (middles, starts, ends), placed, eye, point)
        seen = glimpsed & framed
        eyes = np.stack([pose[:, :3, 3] for pose in eye], axis=1) if eye else np.zeros((len(middles), 0, 3))
        angle = crossing_rad(eyes[:, :, None, None], eyes[:, None, :, None], np.stack(point, axis=1)[:, None, None])
        return seen, glimpsed, np.where(seen[:, :, None] & seen[:, None], angle, 0.0)

    def sees(self, times_s: Array, points_m: Array) -> np.ndarray:
        """Tell which cameras see points (N, 3) at instants (N,) of this phase, no body in the way: (N, E)."""
        found = [self._camera_sees(e, times_s, points_m) for e in range(len(self.cameras))]
        return np.stack(found, axis=1) if found else np.zeros((len(times_s), 0), dtype=bool)

    def any_sees(self, times_s: Array, points_m: Array) -> np.ndarray:
        """Tell at which instants (N,) any camera sees points (N, 3)."""
        found = np.zeros(len(times_s), dtype=bool)
        for e in range(len(self.cameras)):
            left = np.flatnonzero(~found)
            if len(left):
                found[left] = self._camera_sees(e, times_s[left], points_m[left])
        return found

    def _camera_sees(self, e: int, times_s: Array, points_m: Array) -> np.ndarray:
        eye = self.record.link_path(self.cameras[e].link, times_s)
        found = self.on[e] & (depth_in_view_m(self.cameras[e].view, eye, points_m) > 0)
        for (rows,) in batches(np.flatnonzero(found)):
            times, which = np.unique(times_s[rows], return_inverse=True)
            placed = self.record.body_poses(times)
            lines = sight_lines(eye[rows, :3, 3], points_m[rows], self.solids, placed, configuration=which)
            found[rows] = ~np.any((lines.upper_m <= 0.0) & ~self.housing[e], axis=1)
        return np.asarray(found)

    def _trace(
        self, glimpsed: np.ndarray, framed: np.ndarray, cells: tuple[Array, Array, Array], placed: Array,
        eye: list[Array], point: list[Array],
    ) -> None:
        """Strike out of what is in view what bodies hide at the middle, or may hide elsewhere in the cell."""
        lines = np.argwhere(glimpsed)
        if not len(lines):
            return
        row = {link: k for k, link in enumerate(self.ways)}
        of_eye, of_point = ([row[one.link] for one in some] for some in (self.cameras, self.targets))
        grown = np.stack([self.drift.reach(ways, *cells) for ways in self.ways.values()])
        moved = np.stack([self.drift.reach(self.drift.way(link)[0], *cells) for link in self.ways])
        eyes, points = np.stack(eye)[:, :, :3, 3], np.stack(point)
        own, island = self.body_reach(*cells).T, np.unique(self.body_island, return_inverse=True)[1]
        for batch in np.split(lines, range(_BATCH, len(lines), _BATCH)):
            n, e, t = batch.T
            a, b = np.array(of_eye)[e], np.array(of_point)[t]
            seen_from = np.maximum(grown[a, :, n], grown[b, :, n])[:, island]
            in_world = np.maximum(moved[a, n], moved[b, n])[:, None] + own[n]
            drift = np.minimum(seen_from, in_world)
            passed = np.stack(self.housing)[e] | np.stack(self.own)[t]
            found = sight_lines(
                eyes[e, n], points[t, n], self.solids, placed, configuration=n, within_m=float(drift.max())
            )
            blocked = np.any((found.upper_m <= 0.0) & ~passed, axis=1)
            clear = np.all((found.lower_m > drift) | passed, axis=1)
            glimpsed[tuple(batch[blocked].T)] = False
            framed[tuple(batch[~clear].T)] = False


def watch(record: Record, phase: Phase) -> Watch:
    """Return the cameras and targets of one phase of a run, worked out once."""
    known = record.once(_watches)
    if id(phase) not in known:
        known[id(phase)] = Watch(record, phase, scene_cameras(record.scene))
    return known[id(phase)]


def _watches(record: Record) -> dict[int, Watch]:
    return {}


def batches(*columns: np.ndarray) -> Iterator[tuple[np.ndarray, ...]]:
    """Cut columns of one length into batches, so that the poses of all bodies fit into memory."""
    for first in range(0, len(columns[0]), _BATCH):
        yield tuple(column[first : first + _BATCH] for column in columns)


def depth_in_view_m(view: View, T_world_camera: Array, points_m: Array) -> Array:
    """Return how deep points (..., 3) are inside a field of view with its head turned to them, metres.

    The distance to the nearest of the four planes that bound the view; negative outside. A ball of this
    radius about the point is in view with the head held still.
    """
    sight = look(view, T_world_camera, points_m)
    local = poses.apply(poses.inverse(head_pose(T_world_camera, sight.pan_rad, sight.tilt_rad)), points_m)
    x, y, z = np.moveaxis(local, -1, 0)
    wide, high = view.horizontal_rad / 2, view.vertical_rad / 2
    return np.asarray(
        np.minimum(x * np.sin(wide) - np.abs(y) * np.cos(wide), x * np.sin(high) - np.abs(z) * np.cos(high))
    )
