"""The 3-D view of a flight: the bodies where they are now, where a stop would end, the closest pair; no Qt here."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.handfly.control import Pilot
from armcarry.handfly.live import Close, Readings
from armcarry.motion.curve import Motion
from armcarry.record.record import PairRow, Phase, Record
from armcarry.views.player import look
from armcarry.views.player.marks import Lines
from armcarry.views.player.nearest import Nearest
from armcarry.views.player.scene import SceneView

#: pieces the way of the run-out is drawn in
_PIECES = 8


class LiveScene:
    """A view of a run's scene that shows a flight instead of the run.

    Attributes:
        view: the view; its run is replaced by what stands still at this tick.
    """

    def __init__(self, plotter: Any, record: Record, draw: Callable[[], None] | None = None) -> None:
        """Args: plotter; record, the script's run, which says what moves with what; draw, as for SceneView."""
        self.record = record
        self.view = SceneView(plotter, record, record, draw)
        self._way = Lines([look.LINES[1]] * _PIECES, 6.0)
        self.view.renderer.AddActor(self._way.actor)

    def show(self, pilot: Pilot, readings: Readings) -> None:
        """Show a tick: the arm, the arm at the end of the run-out, the way of the tool there, the closest pair."""
        here = _standing(self.record, pilot, pilot.position)
        self.view.record = self.view.scene.record = self.view.cameras.record = here
        stopped = pilot.position.copy()
        reaction = pilot.scene.loaded.arm.document.reaction_time if pilot.asked is None else 0.0
        stopped[pilot.columns] += pilot.rate * reaction + np.sign(pilot.rate) * pilot.rate**2 / (2 * pilot.brakes)
        if self.view.ghost is not None:
            self.view.ghost.record = _standing(self.record, pilot, stopped)
        self.view.show_ghost(not pilot.resting)
        self.view.show(0.0)
        self._show_way(readings.run_out_way_m)
        self.view.show_nearest(nearest(readings.pairs[0]) if readings.pairs else None)

    def _show_way(self, points: Array) -> None:
        self._way.actor.SetVisibility(len(points) == _PIECES + 1)
        if len(points) == _PIECES + 1:
            self._way.move(np.stack([points[:-1], points[1:]], axis=1))

    def look_at_tool(self, pilot: Pilot) -> None:
        """Look at the tool from the side, near enough to fly by."""
        tool = pilot.tool_pose()[:3, 3]
        camera = self.view.cameras.camera
        camera.SetFocalPoint(*tool)
        camera.SetPosition(*(tool + np.array([-7.0, 9.0, 5.0])))
        camera.SetViewUp(0.0, 0.0, 1.0)


def _standing(record: Record, pilot: Pilot, position: Array) -> Record:
    """Return the run with everything standing still at a joint vector (n,) in the pilot's tree."""
    hold = Motion.hold(record.motion.joints, position, 0.0, 1.0)
    return replace(record, phases=(Phase(0.0, 1.0, pilot.tree),), motion=hold)


def nearest(close: Close) -> Nearest:
    """Return a close pair as the view draws it."""
    a, b = tuple(map(float, close.point_a)), tuple(map(float, close.point_b))
    row = PairRow(
        close.body_a, close.body_b, "", "", 0.0, 1.0, close.required_m, "", "proven", close.distance_m,
        close.distance_m, 0.0, (a[0], a[1], a[2]), (b[0], b[1], b[2]),
    )  # fmt: skip
    return Nearest(row, close.distance_m, close.distance_m, close.point_a, close.point_b)
