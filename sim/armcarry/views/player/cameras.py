"""Where the window looks from: free, through somebody's eyes or a camera, or along with the arm's tip; no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.views.eyes import Eye, eyes
from armcarry.views.viewpoint import VIEW_RAD, Viewpoint, body_corners, moving_points, overview

#: the camera follows the tip from its distance if that is between these, else from the farther one
_FOLLOW_M = (4.0, 12.0)
_TURN_RAD = float(np.radians(5))
_STEP = 1.12


class Cameras:
    """Moves one VTK camera.

    Attributes:
        mode: ``free``, ``follow``, or the name of an eye.
    """

    def __init__(self, record: Record, camera: Any) -> None:
        self.record, self.camera = record, camera
        self.eyes = eyes(record)
        self.mode = "free"
        self._tip_m: Array | None = None
        self._moving = moving_points(record)

    # -- what can be looked from --------------------------------------------------------------

    @property
    def title(self) -> str:
        """The present way of looking, for people."""
        fixed = {"free": "Free orbit", "follow": "Along with the tip"}
        return fixed[self.mode] if self.mode in fixed else self._eye(self.mode).title

    @property
    def choices(self) -> tuple[tuple[str, str], ...]:
        """Mode and title of every way of looking."""
        return (("free", "Free orbit"), ("follow", "Along with the tip"), *((e.name, e.title) for e in self.eyes))

    def choose(self, mode: str, time_s: float) -> None:
        """Look another way. Raises KeyError when there is no such mode."""
        if mode not in dict(self.choices):
            raise KeyError(mode)
        leaving_eye = self.mode not in ("free", "follow")
        self.mode = mode
        if leaving_eye and mode in ("free", "follow"):
            self.camera.SetViewAngle(float(np.degrees(VIEW_RAD)))
            self.camera.SetViewUp(0.0, 0.0, 1.0)
            self._lift_focus()
        self._tip_m = None
        if mode == "follow":
            tip = self._tip(time_s)
            way = np.subtract(self.camera.GetPosition(), tip)
            far = float(np.linalg.norm(way))
            way = np.array([0.5, -0.7, 0.4]) if far < 1e-6 else way / far
            self._place(tip + way * (far if _FOLLOW_M[0] <= far <= _FOLLOW_M[1] else _FOLLOW_M[1]), tip)
        self.update(time_s)

    def next_eye(self, count: int, crew: bool, time_s: float) -> bool:
        """Look through the next crewmember's eyes, or the next camera; False when there is none."""
        people = set(self.record.scene.loaded.crew)
        names = [eye.name for eye in self.eyes if (eye.name in people) == crew]
        if not names:
            return False
        at = names.index(self.mode) + count if self.mode in names else (0 if count > 0 else -1)
        self.choose(names[at % len(names)], time_s)
        return True

    # -- moving -------------------------------------------------------------------------------

    def update(self, time_s: float) -> None:
        """Bring the camera to where it is at an instant of the run."""
        if self.mode == "free":
            return
        if self.mode == "follow":
            tip = self._tip(time_s)
            if self._tip_m is not None:
                shift = tip - self._tip_m
                self._place(np.add(self.camera.GetPosition(), shift), np.add(self.camera.GetFocalPoint(), shift))
            self._tip_m = tip
            return
        eye = self._eye(self.mode)
        pose = self._link(eye.link, time_s)
        self.camera.SetPosition(*pose[:3, 3])
        self.camera.SetFocalPoint(*(pose[:3, 3] + 4.0 * pose[:3, 0]))
        self.camera.SetViewUp(*pose[:3, 2])
        self.camera.SetViewAngle(float(np.degrees(eye.vertical_rad)))

    def look(self, view: Viewpoint) -> None:
        """Look freely from a viewpoint."""
        self.mode, self._tip_m = "free", None
        self._place(view.eye_m, view.focus_m)
        self.camera.SetViewUp(*view.up)
        self.camera.SetViewAngle(float(np.degrees(view.view_rad)))

    def overview(self, time_s: float, aspect: float) -> None:
        """Look at all of it, at an instant, with the path of what moves."""
        self.look(overview(np.concatenate([body_corners(self.record, time_s), self._moving]), aspect))

    def orbit(self, sideways: float, upwards: float) -> None:
        """Turn round the focal point by steps; keeps away from straight above and below."""
        if self.mode not in ("free", "follow"):
            return
        focus = np.array(self.camera.GetFocalPoint())
        way = np.array(self.camera.GetPosition()) - focus
        turned = poses.rotation_about((0.0, 0.0, 1.0), sideways * _TURN_RAD)[:3, :3] @ way
        flat = float(np.hypot(turned[0], turned[1]))
        rise = np.clip(np.arctan2(turned[2], flat) + upwards * _TURN_RAD, -1.45, 1.45)
        heading = turned[:2] / flat if flat > 1e-9 else np.array([1.0, 0.0])
        far = float(np.linalg.norm(way))
        self._place(focus + far * np.array([*(np.cos(rise) * heading), np.sin(rise)]), focus)
        self.camera.SetViewUp(0.0, 0.0, 1.0)

    def approach(self, steps: float) -> None:
        """Go nearer to the focal point by steps, farther when negative."""
        if self.mode not in ("free", "follow"):
            return
        focus = np.array(self.camera.GetFocalPoint())
        way = np.array(self.camera.GetPosition()) - focus
        far = float(np.clip(np.linalg.norm(way) / _STEP**steps, 0.3, 400.0))
        self._place(focus + far * way / max(np.linalg.norm(way), 1e-9), focus)

    def shift(self, right_px: float, down_px: float, height_px: int) -> None:
        """Shift the view so that what is at the focal point goes with the mouse, in a view height_px high."""
        if self.mode not in ("free", "follow"):
            return
        eye, focus = np.array(self.camera.GetPosition()), np.array(self.camera.GetFocalPoint())
        way = focus - eye
        far = float(np.linalg.norm(way))
        right = np.cross(way / max(far, 1e-9), self.camera.GetViewUp())
        right /= max(float(np.linalg.norm(right)), 1e-9)
        rise = np.cross(right, way / max(far, 1e-9))
        metre = 2 * far * float(np.tan(np.radians(self.camera.GetViewAngle()) / 2)) / max(height_px, 1)
        by = metre * (down_px * rise - right_px * right)
        self._place(eye + by, focus + by)

    def _lift_focus(self) -> None:
        """Put the focal point into the middle of what is seen after leaving an eye, so that orbiting is of use."""
        eye, focus = np.array(self.camera.GetPosition()), np.array(self.camera.GetFocalPoint())
        way = focus - eye
        self._place(eye, eye + 10.0 * way / max(np.linalg.norm(way), 1e-9))

    def _place(self, eye_m: ArrayLike, focus_m: ArrayLike) -> None:
        self.camera.SetPosition(*np.asarray(eye_m, dtype=float))
        self.camera.SetFocalPoint(*np.asarray(focus_m, dtype=float))

    def _eye(self, name: str) -> Eye:
        return next(eye for eye in self.eyes if eye.name == name)

    def _link(self, link: str, time_s: float) -> Array:
        return np.asarray(links_at(self.record, [link], time_s)[0])

    def _tip(self, time_s: float) -> Array:
        return np.asarray(self._link(self.record.scene.arm_tip, time_s)[:3, 3])


def links_at(record: Record, links: Sequence[str], time_s: float) -> Array:
    """Return T_world_link (K, 4, 4) of a few links at one instant."""
    return np.asarray(forward(record.phase_at(time_s).tree, record.motion.at(time_s), links))
