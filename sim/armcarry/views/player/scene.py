"""The 3-D view: the bodies of one run or two, the closest pair, layers and a camera, on any PyVista plotter.

It knows nothing of the window: the same class draws on screen and off.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.actors import SceneActors
from armcarry.views.closest import worded
from armcarry.views.daylight import Lamps, daylight
from armcarry.views.fault import displaced
from armcarry.views.ghosts import ghosts
from armcarry.views.hooked import all_tethers, tether_ends_m
from armcarry.views.kept_out import drawn_rooms
from armcarry.views.measuring import Measured
from armcarry.views.meshes import sides_within
from armcarry.views.player import layers, look, overlays, stopping, swept
from armcarry.views.player.cameras import Cameras
from armcarry.views.player.corner import Corner
from armcarry.views.player.layers import Layer
from armcarry.views.player.marks import Lines, place, words
from armcarry.views.player.nearest import Nearest
from armcarry.views.player.tint import Tint
from armcarry.views.pointed import Gap, gap_of, label_words
from armcarry.views.viewpoint import Viewpoint, about_gap, screens

SHARP, QUICK = 4, 0
#: round parts are drawn this near to what they are, m
OFF_M = 4e-3
#: height of the closest pair's value: so many pixels, or this share of the view where that is more
_VALUE_PX, _VALUE_SHARE = 17, 0.03


class SceneView:
    """Everything in the 3-D view of a run.

    Attributes:
        cameras: where it is seen from.
        shown: names of the layers that are shown now.
    """

    def __init__(
        self, plotter: Any, record: Record, other: Record | None = None, draw: Callable[[], None] | None = None
    ) -> None:
        """Put a run into a plotter.

        Args:
            plotter: a PyVista plotter.
            record: the run.
            other: a second run, drawn as a ghost.
            draw: what makes the plotter draw; its window's own way when left out.
        """
        from vtkmodules.vtkRenderingCore import vtkRenderer

        self.plotter, self.record = plotter, record
        self._draw = plotter.render_window.Render if draw is None else draw
        self.renderer = plotter.renderer
        plotter.set_background(palette.ROOM)
        self.lamps = Lamps(plotter)
        self.scene = SceneActors(record, sides_within(OFF_M))
        self.scene.cull()
        for actor in self.scene.actors:
            self.renderer.AddActor(actor)
        self.ghost = None if other is None else self._ghost(other)
        self._above = vtkRenderer()
        self._above.SetLayer(1)
        self._above.InteractiveOff()
        self._above.SetActiveCamera(self.renderer.GetActiveCamera())
        plotter.render_window.SetNumberOfLayers(2)
        plotter.render_window.AddRenderer(self._above)
        self._line = Lines([palette.LIGHT], 5.0)
        self._tethers = Lines([palette.YELLOW] * max(len(all_tethers(record)), 1), 3.0)
        self._value = words(" ", _VALUE_PX, bold=True)
        self._value.SetLayerNumber(1)  # over all other words
        self._ruler = Lines([palette.SKY_BLUE], 4.0)
        for item in (self._line.actor, self._value, self._tethers.actor, self._ruler.actor):
            item.VisibilityOff()
            self._above.AddActor(item)
        self.tint = Tint(self.scene)
        self.corner = Corner(plotter, record, self.scene, self.lamps)
        self.cameras = Cameras(record, self.renderer.GetActiveCamera())
        self._layers: dict[str, Layer] = {}
        self._stood: tuple[float, tuple[float, ...], tuple[str, str]] | None = None
        self._after: list[Any] = []
        self.shown: set[str] = set()
        self.time_s = self.scene.time_s
        self._show_tethers()
        self.cameras.overview(self.time_s, self.aspect)
        self.plotter.camera.is_set = True

    # -- layers -------------------------------------------------------------------------------

    @property
    def makers(self) -> dict[str, Callable[[], Layer]]:
        """The layers this run can show, and what builds them."""
        return {
            "rails": lambda: layers.handrails(self.record),
            "sites": lambda: layers.worksites(self.record),
            "frames": lambda: layers.frames(self.record),
            "shell": lambda: layers.shell(self.record, self.scene),
            "envelope": lambda: swept.envelope_layer(self.record),
            "map": lambda: swept.map_layer(self.record, self.scene),
            "path": lambda: overlays.path(self.record),
            "plan": lambda: overlays.plan(self.record),
            "cones": lambda: overlays.cones(self.record),
            **({"rooms": lambda: overlays.rooms(self.record)} if drawn_rooms(self.record) else {}),
            "stop": lambda: stopping.stop(self.record, self.scene),
            "cut": lambda: overlays.cut(self.scene, self.plotter.camera),
        }

    def has_layer(self, name: str) -> bool:
        """Whether a layer was built already."""
        return name in self._layers

    def show_layer(self, name: str, on: bool) -> None:
        """Show or hide a layer. Raises KeyError when there is no such layer."""
        if name not in self._layers:
            if not on:
                return
            layer = self._layers[name] = self.makers[name]()
            for actor in layer.solid:
                self.renderer.AddActor(actor)
            for actor in layer.above:
                self._above.AddActor(actor)
        layer = self._layers[name]
        for actor in (*layer.solid, *layer.above):
            actor.SetVisibility(on)
        (self.shown.add if on else self.shown.discard)(name)
        if on and layer.follow is not None:
            layer.follow(self.time_s)
        if layer.switch is not None:
            layer.switch(on)

    def show_ghost(self, on: bool) -> None:
        """Show or hide the second run."""
        for actor in self._ghost_actors():
            actor.SetVisibility(on)

    def _ghost(self, other: Record) -> SceneActors:
        ghost = SceneActors(other, sides_within(OFF_M))
        ghost.paint(dict.fromkeys(range(len(other.bodies)), look.GHOST))
        for actor in self._ghost_actors(ghost):
            actor.GetProperty().SetOpacity(0.45)
            actor.GetProperty().SetBackfaceCulling(True)
            actor.PickableOff()
            self.renderer.AddActor(actor)
        return ghost

    def _ghost_actors(self, ghost: SceneActors | None = None) -> list[Any]:
        """Return the actors of the second run that move; the platform is drawn once."""
        ghost = ghost or self.ghost
        if ghost is None:
            return []
        moving = {row for group in ghost.groups if group.moves for row in group.bodies}
        return [actor for actor, rows in zip(ghost.actors, ghost.drawn, strict=True) if moving & set(rows)]

    # -- the instant --------------------------------------------------------------------------

    def show(self, time_s: float) -> None:
        """Move everything to where it is at an instant; what was seen through for a gap is solid again."""
        self.scene.show(time_s)
        if self.scene.time_s != self.time_s:
            self._solid()
        self.time_s = self.scene.time_s
        self.lamps.show(daylight(self.record, self.time_s))
        self._show_tethers()
        if self.ghost is not None:
            self.ghost.show(time_s)
        for name in self.shown:
            follow = self._layers[name].follow
            if follow is not None:
                follow(self.time_s)
        self.cameras.update(self.time_s)
        self.corner.update(self.time_s)

    def _show_tethers(self) -> None:
        """Draw a line along every tether that is hooked; one that is not has no length."""
        if all_tethers(self.record):
            self._tethers.actor.VisibilityOn()
            self._tethers.move(np.nan_to_num(tether_ends_m(self.record, self.time_s)))

    def show_nearest(self, nearest: Nearest | None) -> None:
        """Draw the line between the closest pair with its value and what is required; None takes it away."""
        self._stand(None)
        row = None if nearest is None else nearest.row
        if nearest is None or row is None:
            self._show_gap(None)
            return
        colour = look.PASS_TEXT if nearest.kept else look.FAIL_TEXT
        sign = palette.VERDICTS[Verdict.PASS if nearest.kept else Verdict.FAIL][1]
        self._show_gap((nearest.point_a, nearest.point_b), f"{sign} {worded(row, nearest.lower_m)}", colour)

    def show_measured(self, found: Measured | None) -> None:
        """Draw a line between what is measured; None takes it away."""
        self._ruler.actor.SetVisibility(found is not None)
        if found is not None:
            self._ruler.move([found.point_a, found.point_b])

    def show_finding(self, finding: Finding) -> None:
        """Draw the gap a finding is about with its figures, coloured by its own verdict; no line where it has none."""
        gap = gap_of(self.record, finding)
        self._stand(gap)
        ends = None if gap is None else (np.asarray(gap.point_a), np.asarray(gap.point_b))
        self._show_gap(ends, label_words(finding, gap), look.TEXT_OF[finding.verdict])

    def _stand(self, gap: Gap | None) -> None:
        """Draw once more, see-through, what a fault moves, where it would be; nothing where a gap is of no fault."""
        now = None if gap is None or not gap.joints else (gap.time_s, gap.joints, gap.bodies)
        if now == self._stood:
            return
        for actor in self._after:
            self.renderer.RemoveActor(actor)
        self._stood, self._after = now, []
        if gap is None or now is None:
            return
        bright = dict.fromkeys(gap.bodies, palette.LIGHT)
        for group, pose in displaced(self.record, gap.time_s, gap.joints, self.scene.groups):
            self._after += ghosts(self.record, group, pose, bright)
        for actor in self._after:
            self.renderer.AddActor(actor)

    def _show_gap(self, ends: tuple[np.ndarray, np.ndarray] | None, text: str = "", colour: str = "") -> None:
        self._line.actor.SetVisibility(ends is not None)
        self._value.SetVisibility(ends is not None)
        if ends is None:
            return
        self._line.move(list(ends))
        self._line.paint([colour])
        if self._value.GetInput() != text:
            self._value.SetInput(text)
        style = self._value.GetTextProperty()
        style.SetColor(*palette.channels(colour))
        style.SetFontSize(max(_VALUE_PX, round(_VALUE_SHARE * self.plotter.render_window.GetSize()[1])))
        place(self._value, self._beside((ends[0] + ends[1]) / 2))

    def _beside(self, point: np.ndarray) -> np.ndarray:
        """Return a point a little above another as the camera sees it, so that the words do not hide the gap."""
        camera = self.renderer.GetActiveCamera()
        far = float(np.linalg.norm(np.subtract(camera.GetPosition(), point)))
        rise = 2 * far * np.tan(np.radians(camera.GetViewAngle()) / 2) * 0.045
        return np.asarray(point + rise * np.array(camera.GetViewUp()))

    def look(
        self, view: Viewpoint, gap: tuple[tuple[str, str], ArrayLike, ArrayLike] | None = None,
        there: Record | None = None,
    ) -> None:
        """Look from somewhere; what stands before a gap (names, both points) is seen through until time goes on.

        ``there`` is the run in which the gap is, where that is not the one shown (see ``pointed.standing``).
        """
        self.cameras.look(view)
        self._solid()
        if gap is not None:
            pair, a, b = gap
            points = about_gap(np.asarray(a), np.asarray(b))
            for actor in self.scene.see_through(screens(there or self.record, self.time_s, pair, points, view.eye_m)):
                self.renderer.AddActor(actor)

    def _solid(self) -> None:
        for actor in self.scene.solid():
            self.renderer.RemoveActor(actor)

    def lay_over(self, actor: Any) -> None:
        """Draw something over the scene, whatever stands before it."""
        self._above.AddActor(actor)

    def take_away(self, actor: Any) -> None:
        """Draw no longer what was laid over the scene."""
        self._above.RemoveActor(actor)

    def refresh_words(self) -> None:
        """Write all words anew, which VTK leaves in the size of a picture that was taken larger."""
        for actor in self._above.GetViewProps():
            if hasattr(actor, "GetTextProperty"):
                actor.GetTextProperty().Modified()

    def samples(self, count: int) -> bool:
        """Use so many samples a pixel: QUICK while playing, SHARP at rest; True when that changed."""
        window = self.plotter.render_window
        if window.GetMultiSamples() == count:
            return False
        window.SetMultiSamples(count)
        return True

    def render(self, at_once: bool = False) -> None:
        """Draw; ``at_once`` also where the window would rather wait for its turn."""
        self.renderer.ResetCameraClippingRange()
        near, far = self.renderer.GetActiveCamera().GetClippingRange()
        self.renderer.GetActiveCamera().SetClippingRange(min(near, 0.05 + 0.001 * far), far)
        self.plotter.render_window.Render() if at_once else self._draw()

    @property
    def aspect(self) -> float:
        """Width over height of the view."""
        wide, tall = self.plotter.render_window.GetSize()
        return wide / tall if wide > 0 and tall > 0 else 16 / 9
