"""The sun where it hinders sight: in a visor, or in the picture of a camera turned to what it watches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.motion.refine import settle
from armcarry.record.kept import Kept
from armcarry.record.record import Phase, Record
from armcarry.scene.camera import View, direction_off_axis_rad, head_pose, look
from armcarry.scene.eyes import SceneCamera, scene_cameras, targets, whereabouts
from armcarry.seeing.sight import Sightings, Watch, sightings, stretches
from armcarry.seeing.sunlight import Sun, cut_s

#: shade of a visor is looked at this often, s
SHADE_STEP_S = 2.0
#: cells of time are halved down to this where the sun is near a limit, s
_FINE_S = 0.5
#: the sun in a camera's picture is looked at this often, s
LOOK_STEP_S = 10.0


@dataclass(frozen=True)
class Glare:
    """The sun in a visor.

    Attributes:
        crew: whose.
        stretches: when the sun is within the limit and not shaded.
        nearest_rad: least angle of the sun from the visor's axis in those stretches, or while the sun is up at all.
        nearest_s: when that is; None where the sun never is up.
        shaded_s: time within the limit in which bodies shade the visor.
    """

    crew: str
    stretches: tuple[tuple[float, float], ...]
    nearest_rad: float
    nearest_s: float | None
    shaded_s: float


@dataclass(frozen=True, eq=False)
class Dazzle:
    """The sun in the pictures of cameras that see a target, over cells of time.

    Attributes:
        edges_s: (C+1,).
        seen, blinded: (C, E) which cameras see the target at the cell's middle, and in which of them the sun stands.
    """

    target: str
    edges_s: Array
    seen: np.ndarray
    blinded: np.ndarray

    @property
    def lost(self) -> tuple[tuple[float, float], ...]:
        """Stretches in which the sun stands in every camera that sees the target."""
        left = self.seen & ~self.blinded
        return stretches(self.edges_s, self.seen.any(axis=1) & ~left.any(axis=1))


@dataclass(frozen=True)
class Hindered:
    """Where the sun hinders sight: in visors, crewmember by crewmember, and in cameras, target by target."""

    visors: tuple[Glare, ...]
    cameras: tuple[Dazzle, ...]


def hindered(record: Record) -> Hindered:
    """Tell where the sun hinders sight over a run, as it was judged; nowhere without an environment."""
    return record.result(HINDERED)


def _find(record: Record) -> Hindered:
    if record.scene.loaded.scenario.environment is None:
        return Hindered((), ())
    sun = Sun(record)
    visors = (glare(sun, crew) for crew in record.scene.loaded.crew)
    return Hindered(tuple(item for item in visors if item is not None), dazzle(sun, sightings(record)))


HINDERED = Kept("glare", 1, _find, (Hindered, Glare, Dazzle))


def glare(sun: Sun, crew: str) -> Glare | None:
    """Find the sun in a visor over the time its crewmember is outside; None when never."""
    member = sun.record.scene.loaded.crew[crew]
    visor = SceneCamera(f"{crew}/visor", "", f"{crew}/{member.document.visor}", View(1.0, 1.0))
    parts = [
        _visor_cells(sun, Watch(sun.record, phase, (visor,)), phase, visor)
        for phase in sun.record.phases
        if phase.end_s > phase.start_s and _outside(sun, phase, crew)
    ]
    if not parts:
        return None
    starts, ends, angle, inside, shaded = (np.concatenate([part[k] for part in parts]) for k in range(5))
    order = np.argsort(starts, kind="stable")
    starts, ends, angle, inside, shaded = (item[order] for item in (starts, ends, angle, inside, shaded))
    hit = inside & ~shaded
    shaded_s = float(np.sum((ends - starts)[inside & shaded]))
    among = np.flatnonzero(hit if hit.any() else sun.up((starts + ends) / 2))
    if not len(among):
        return Glare(crew, (), np.pi, None, shaded_s)
    k = int(among[np.argmin(angle[among])])
    return Glare(crew, _joined(starts[hit], ends[hit]), float(angle[k]), float((starts[k] + ends[k]) / 2), shaded_s)


def _outside(sun: Sun, phase: Phase, crew: str) -> bool:
    return whereabouts(sun.record.scene, phase.tree).get(crew) in ("rider", "worker")


def _visor_cells(
    sun: Sun, watch: Watch, phase: Phase, visor: SceneCamera
) -> tuple[Array, Array, Array, np.ndarray, np.ndarray]:
    """Return cells of time: starts, ends, the sun's angle from the axis, whether within the limit, whether shaded.

    A cell is outside the limit when the sun is, at its middle, by more than visor and sun can turn in it.
    """
    turned = watch.drift.way(visor.link)[1]
    changes = (span.start_s for span in sun.spans if phase.start_s < span.start_s < phase.end_s)
    cuts = np.array(sorted({phase.start_s, phase.end_s, *changes}))

    def look(starts: Array, ends: Array) -> tuple[np.ndarray, ...]:
        middles = (starts + ends) / 2
        pose = sun.record.link_path(visor.link, middles)
        angle = direction_off_axis_rad(pose, sun.sky.sun_direction(middles))
        turn = watch.drift.reach(turned, middles, starts, ends) + sun.turn_rate_rad_s * (ends - starts) / 2
        outside = (angle - turn > sun.limits.visor) | ~sun.up(middles)
        inside = (angle + turn <= sun.limits.visor) & (ends - starts <= SHADE_STEP_S)
        return outside | inside, angle, ~outside

    starts, ends, angle, inside = settle(cuts[:-1], cuts[1:], look, shortest_s=_FINE_S)
    shaded = np.zeros(len(starts), dtype=bool)
    if inside.any():
        middles = (starts[inside] + ends[inside]) / 2
        eyes = sun.record.link_path(visor.link, middles)[:, :3, 3]
        shaded[inside] = sun.shaders(watch, middles, eyes, watch.housing[0]).any(axis=1)
    return starts, ends, angle, inside, shaded


def clear_delay_s(sun: Sun, crew: str, step_s: float = 300.0) -> float | None:
    """Return by how much later a start keeps the sun out of a visor, shade left aside; None within one orbit.

    Looked at in 400 instants of the run and starts 5 min apart.
    """
    link = f"{crew}/{sun.record.scene.loaded.crew[crew].document.visor}"
    times = np.linspace(0.0, sun.record.duration_s, 400)
    times = times[[_outside(sun, sun.record.phase_at(time), crew) for time in times]]
    axis = sun.record.link_path(link, times)
    for delay in np.arange(step_s, sun.sky.orbit.period_s, step_s):
        angle = direction_off_axis_rad(axis, sun.sky.sun_direction(times + delay))
        if np.all((angle > sun.limits.visor) | ~sun.up(times + delay)):
            return float(delay)
    return None


def dazzle(sun: Sun, found: Sightings) -> tuple[Dazzle, ...]:
    """Find the sun in the pictures of cameras turned to each target, looked at every LOOK_STEP_S."""
    cells = [
        (start, end, k)
        for k, (a, b) in enumerate(zip(found.edges_s[:-1].tolist(), found.edges_s[1:].tolist(), strict=True))
        for start, end in cut_s(a, b, LOOK_STEP_S)
    ]
    if not cells:
        return ()
    starts, ends, of = (np.array(column) for column in zip(*cells, strict=True))
    middles = (starts + ends) / 2
    cameras = scene_cameras(sun.record.scene)
    result = []
    for t, target in enumerate(found.targets):
        seen = found.glimpsed[of][:, :, t]
        blinded = np.zeros_like(seen)
        for phase in sun.record.phases:
            rows = np.flatnonzero((middles > phase.start_s) & (middles < phase.end_s))
            link = {item.name: item.link for item in targets(sun.record.scene, phase.tree)}.get(target)
            if len(rows) and link is not None:
                watch = Watch(sun.record, phase, cameras)
                blinded[rows] = _blinded(sun, watch, link, middles[rows], seen[rows], (ends - starts)[rows] / 2)
        result.append(Dazzle(target, np.append(starts, ends[-1]), seen, blinded))
    return tuple(result)


def _blinded(sun: Sun, watch: Watch, link: str, times_s: Array, seen: np.ndarray, half_s: Array) -> np.ndarray:
    """Tell in which cameras (N, E) turned to a link the sun stands, as far as it goes in half a cell."""
    towards, up = sun.sky.sun_direction(times_s), sun.up(times_s)
    points = sun.record.link_path(link, times_s)[:, :3, 3]
    blinded = np.zeros_like(seen)
    margin = sun.limits.camera_margin + sun.turn_rate_rad_s * half_s
    for e, camera in enumerate(watch.cameras):
        eye = sun.record.link_path(camera.link, times_s)
        aim = look(camera.view, eye, points)
        beyond = beyond_view_rad(camera.view, head_pose(eye, aim.pan_rad, aim.tilt_rad), towards)
        rows = np.flatnonzero(seen[:, e] & up & (beyond <= margin))
        if len(rows):
            shade = sun.shaders(watch, times_s[rows], eye[rows, :3, 3], watch.housing[e])
            blinded[rows, e] = ~shade.any(axis=1)
    return blinded


def beyond_view_rad(view: View, T_world_head: Array, direction: Array) -> Array:
    """Return by which angle (...) a direction (..., 3) lies outside a field of view; 0 or less inside.

    The head stands as it does; the larger of the angles beyond the view's sides and beyond its top and bottom.
    """
    x, y, z = np.moveaxis(np.einsum("...ji,...j->...i", T_world_head[..., :3, :3], direction), -1, 0)
    wide = np.abs(np.arctan2(y, x)) - view.horizontal_rad / 2
    high = np.abs(np.arctan2(z, np.hypot(x, y))) - view.vertical_rad / 2
    return np.asarray(np.maximum(wide, high))


def _joined(starts: Array, ends: Array) -> tuple[tuple[float, float], ...]:
    """Join cells in order that touch."""
    found: list[list[float]] = []
    for start, end in zip(starts.tolist(), ends.tolist(), strict=True):
        if found and start <= found[-1][1] + 1e-9:
            found[-1][1] = end
        else:
            found.append([start, end])
    return tuple((a, b) for a, b in found)
