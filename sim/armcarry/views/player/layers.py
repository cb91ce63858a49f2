"""What can be shown or hidden in the 3-D view beside the bodies; each layer is built when it is first shown."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM
from armcarry.views import palette
from armcarry.views.actors import SceneActors, surface_actor
from armcarry.views.ghosts import laid_over
from armcarry.views.meshes import Triangles, joined, triangles
from armcarry.views.player import look
from armcarry.views.player.cameras import links_at
from armcarry.views.player.marks import Lines, place, triads, words
from armcarry.views.player.shell import shells

_AXES = ("#FF8A3D", "#3FCFA5", palette.SKY_BLUE)  # x, y, z
_TRIAD_M = 0.6
_RAIL_M = 0.045


class Layer:
    """Some actors that are shown together.

    Attributes:
        solid: actors of the scene.
        above: actors that nothing hides.
        follow: called with the instant when it is shown.
        switch: called when it is shown or hidden.
    """

    def __init__(self) -> None:
        self.solid: list[Any] = []
        self.above: list[Any] = []
        self.follow: Callable[[float], None] | None = None
        self.switch: Callable[[bool], None] | None = None


def handrails(record: Record) -> Layer:
    """Return the handrails of the platform as bright tubes."""
    layer = Layer()
    rails = record.scene.loaded.platform.document.handrails.values()
    ends = [f"{PLATFORM}/{frame}" for rail in rails for frame in (rail.start, rail.end)]
    if ends:
        points = links_at(record, ends, record.motion.start_s)[:, :3, 3].reshape(-1, 2, 3)
        layer.solid.append(surface_actor(joined([_rail(start, end) for start, end in points]), palette.LIGHT))
    return layer


def _rail(start: Array, end: Array) -> tuple[Triangles, Array]:
    """Return a tube from one point to another, a little thicker than the rail so that it covers it."""
    length = float(np.linalg.norm(end - start))
    way = (end - start) / max(length, 1e-9)
    side = np.cross(way, np.eye(3)[int(np.argmin(np.abs(way)))])
    side /= max(float(np.linalg.norm(side)), 1e-9)
    pose = np.eye(4)
    pose[:3] = np.column_stack([side, np.cross(way, side), way, (start + end) / 2])
    return triangles(Capsule(_RAIL_M, length), 8), pose


def worksites(record: Record) -> Layer:
    """Return the worksites: a mark where the boots go, one for each work point, and the name."""
    layer = Layer()
    sites = record.scene.loaded.platform.document.worksites.values()
    links, titles, colours = [], [], []
    for site in sites:
        links += [f"{PLATFORM}/{site.stand}", *(f"{PLATFORM}/{frame}" for frame in site.work_points.values())]
        titles += [site.title, *("" for _ in site.work_points)]
    if not links:
        return layer
    pose = links_at(record, links, record.motion.start_s)
    ends = []
    for title, T in zip(titles, pose, strict=True):
        half = 0.25 if title else 0.1
        x, y, z = half * T[:3, :3].T
        corners = [T[:3, 3] + x + y, T[:3, 3] - x + y, T[:3, 3] - x - y, T[:3, 3] + x - y]
        ends += [(corners[k], corners[(k + 1) % 4]) for k in range(4)] + [(T[:3, 3], T[:3, 3] + 2 * z)]
        colours += [look.LINES[2] if title else palette.YELLOW] * 5
        if title:
            text = words(title.split(":")[0], 13)
            place(text, T[:3, 3] - 0.3 * T[:3, 2])
            layer.above.append(text)
    lines = Lines(colours, 3.0)
    lines.move(np.array(ends))
    layer.solid.append(lines.actor)
    return layer


def frames(record: Record) -> Layer:
    """Return the axes of the frames that matter, which move: arm, restraint, crew, hardware."""
    layer = Layer()
    links = frame_links(record)
    lines = Lines(_AXES * len(links), 3.0)
    layer.above.append(lines.actor)
    names = [words(link.replace("/", " ").replace("_", " "), 13) for link in links]
    layer.above += names

    def follow(time_s: float) -> None:
        pose = links_at(record, links, time_s)
        lines.move(triads(pose, _TRIAD_M))
        for text, T in zip(names, pose, strict=True):
            place(text, T[:3, 3] + 0.5 * _TRIAD_M * T[:3, :3].sum(axis=1))

    layer.follow = follow
    return layer


def frame_links(record: Record) -> list[str]:
    """Return the frames worth showing, by full name."""
    scene = record.scene
    links = [scene.arm_base, scene.arm_tip]
    links += [scene.plate(name) for name in scene.loaded.restraints]
    for name, member in scene.loaded.crew.items():
        links += [f"{name}/{member.document.visor}", f"{name}/{member.document.hands}"]
    links += [f"{name}/{item.document.base}" for name, item in scene.loaded.hardware.items()]
    return links


def shell(record: Record, scene: SceneActors) -> Layer:
    """Return the shell of required clearance, which one sees through and which goes with the parts."""
    layer = Layer()
    for k, surface in shells(record, scene.groups).items():
        layer.solid.append(laid_over(surface, look.LINES[1], scene.matrix(k), opacity=0.22))
    return layer
