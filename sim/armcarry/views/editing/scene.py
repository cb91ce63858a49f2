"""The 3-D view of a script that is changed: the scene at an instant, the way in colours of its margin, a handle."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from armcarry.editing.answer import Answer
from armcarry.geometry.poses import Array
from armcarry.record.record import PairRow, Record
from armcarry.views.groups import rigid_groups
from armcarry.views.player import look
from armcarry.views.player.marks import Lines, place, triads, words
from armcarry.views.player.nearest import Nearest
from armcarry.views.player.scene import QUICK, SceneView

#: length of the handle's axes, m, and their colours: x, y, z
HANDLE_M = 1.2
AXES = (look.LINES[1], look.LINES[2], look.LINES[0])
#: how far from the tool the view looks from, m
_FROM_M = (-7.0, 9.0, 5.0)


class EditScene:
    """A view that shows another run of the same scene after every change.

    Attributes:
        view: the view.
        handle: T_world_handle (4, 4) of the waypoint that is held, its axes those in which it is moved; None for none.
    """

    def __init__(self, plotter: Any, answer: Answer, draw: Callable[[], None]) -> None:
        """Args: plotter; answer, what is shown first; draw, as for SceneView."""
        self.view = SceneView(plotter, answer.record, None, draw)
        self.view.samples(QUICK)
        self._signature = signature(answer.record)
        self._axes = Lines(AXES, 5.0)
        self._named = [words(name, 15, colour, bold=True) for name, colour in zip("xyz", AXES, strict=True)]
        for actor in (self._axes.actor, *self._named):
            actor.VisibilityOff()
            self.view.lay_over(actor)
        self._way: Any = None
        self.handle: Array | None = None
        self.take(answer)

    def fits(self, answer: Answer) -> bool:
        """Tell whether the view can show an answer: the same bodies, sorted alike; else a new view is made."""
        return signature(answer.record) == self._signature

    def take(self, answer: Answer) -> None:
        """Show the run of an answer, and its way."""
        view, record = self.view, answer.record
        view.record = view.scene.record = view.cameras.record = record
        if self._way is not None:
            view.take_away(self._way.actor)
        way = answer.way
        colours = [look.band_colour(look.band(margin)) for margin in way.margin_m[:-1].tolist()]
        self._way = Lines(colours, 6.0)
        self._way.move(np.stack([way.points_m[:-1], way.points_m[1:]], axis=1))
        view.lay_over(self._way.actor)

    def show(self, time_s: float, handle: Array | None, row: PairRow | None) -> None:
        """Show an instant, the handle of a waypoint, and a pair with its distance."""
        self.view.show(time_s)
        self.hold(handle)
        near = None
        if row is not None and np.isfinite(row.upper_m):
            near = Nearest(row, row.lower_m, row.upper_m, np.asarray(row.point_a), np.asarray(row.point_b))
        self.view.show_nearest(near)
        self.view.render()

    def hold(self, handle: Array | None) -> None:
        """Draw the handle of a waypoint, T_world_handle (4, 4); None takes it away."""
        self.handle = handle
        for actor in (self._axes.actor, *self._named):
            actor.SetVisibility(handle is not None)
        if handle is not None:
            ends = triads(handle[None], HANDLE_M)
            self._axes.move(ends)
            for actor, end in zip(self._named, ends, strict=True):
                place(actor, end[1] + 0.08 * (end[1] - end[0]))

    def look_at(self, point_m: Array) -> None:
        """Look at a point from the side."""
        camera = self.view.cameras.camera
        camera.SetFocalPoint(*point_m)
        camera.SetPosition(*(np.asarray(point_m) + np.array(_FROM_M)))
        camera.SetViewUp(0.0, 0.0, 1.0)

    def on_screen(self, points_m: Array, height_px: int) -> Array:
        """Return where points (N, 3) are in the picture (N, 2), pixels from the upper left corner."""
        renderer = self.view.renderer
        found = []
        for point in np.asarray(points_m):
            renderer.SetWorldPoint(*point, 1.0)
            renderer.WorldToDisplay()
            x, y, _ = renderer.GetDisplayPoint()
            found.append((x, height_px - y))
        return np.array(found)


def signature(record: Record) -> tuple[object, ...]:
    """Return what a view is built for: the bodies, and which of them move as one."""
    return (tuple(body.name for body in record.bodies), tuple(group.bodies for group in rigid_groups(record)))
