"""Pictures and movies of what the 3-D view shows now, with the caption below; the window itself is not in them."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.atomic import inner_folder
from armcarry.quantities import clock
from armcarry.views.annotate import Pixels, Sheet
from armcarry.views.movie import _Encoder as Encoder
from armcarry.views.player.scene import SceneView
from armcarry.views.player.session import Session

FRAMES_PER_S = 24
#: a picture is at least so wide
_WIDE_PX = 1600


def pixels(scene: SceneView, scale: int = 1) -> Pixels:
    """Return what the view shows (h, w, 3), drawn again at ``scale`` times its size."""
    from vtkmodules.util.numpy_support import vtk_to_numpy
    from vtkmodules.vtkRenderingCore import vtkWindowToImageFilter

    scene.render(at_once=True)
    take = vtkWindowToImageFilter()
    take.SetInput(scene.plotter.render_window)
    take.SetScale(scale)
    take.ReadFrontBufferOff()
    take.SetInputBufferTypeToRGB()
    if scale == 1:
        take.ShouldRerenderOff()
    take.Update()
    if scale != 1:
        scene.refresh_words()
    image: Any = take.GetOutput()
    wide, tall, _ = image.GetDimensions()
    return np.ascontiguousarray(vtk_to_numpy(image.GetPointData().GetScalars()).reshape(tall, wide, 3)[::-1])


def captioned(picture: Pixels, session: Session, more: str = "") -> Pixels:
    """Return a picture with what is said and the time written along its lower edge."""
    sheet = Sheet(picture)
    lines = [session.caption or session.record.scene.loaded.scenario.title,
             " · ".join(part for part in (clock(session.time_s), session.move_title, more) if part)]
    sheet.caption(lines)
    return sheet.pixels()


def save_picture(scene: SceneView, session: Session, folder: Path, more: str = "") -> Path:
    """Save the view as PNG under a name that is free, and return the path. Raises OSError."""
    inner_folder(folder)
    wide = scene.plotter.render_window.GetSize()[0]
    picture = captioned(pixels(scene, 1 if wide >= _WIDE_PX else 2), session, more)
    return Sheet(picture).save(free_name(folder, f"picture_{_at(session.time_s)}", ".png"))


def save_movie(
    scene: SceneView,
    session: Session,
    folder: Path,
    span_s: tuple[float, float],
    show: Callable[[float], None],
    tell: Callable[[int, int], bool],
) -> Path | None:
    """Save a stretch of the run as MP4, seen as it is seen now, at the speed of the session.

    Args:
        scene, session: what is shown.
        folder: where it goes, under a name that is free.
        span_s: first and last instant.
        show: brings the view to an instant.
        tell: told frames done and of how many; returns False to stop.

    Returns:
        The path, None when it was stopped; nothing is left behind then.

    Raises:
        MissingExtraError: imageio-ffmpeg is not installed.
        ArmcarryError: the encoder fails.
        OSError: the folder cannot be written.
    """
    times = frame_times(span_s, session.speed)
    inner_folder(folder)
    path = free_name(folder, f"movie_{_at(span_s[0])}_{_at(span_s[1])}", ".mp4")
    first = _even(pixels(scene))
    size = (first.shape[1], first.shape[0])
    try:
        with Encoder(path, size, FRAMES_PER_S) as encoder:
            for k, time_s in enumerate(times):
                show(float(time_s))
                frame = _even(captioned(pixels(scene), session, f"{session.speed:g} x"))
                if (frame.shape[1], frame.shape[0]) != size:
                    raise _Stopped("the view changed its size")
                encoder.write(frame)
                if not tell(k + 1, len(times)):
                    raise _Stopped("stopped")
    except _Stopped:
        return None
    return path


def frame_times(span_s: tuple[float, float], speed: float) -> np.ndarray:
    """Return the instants of a movie's frames, both ends of the stretch included."""
    count = max(int(np.ceil((span_s[1] - span_s[0]) / speed * FRAMES_PER_S)) + 1, 2)
    return np.linspace(span_s[0], span_s[1], count)


def free_name(folder: Path, stem: str, ending: str) -> Path:
    """Return a path that does not exist yet."""
    path, number = folder / f"{stem}{ending}", 2
    while path.exists():
        path, number = folder / f"{stem}_{number}{ending}", number + 1
    return path


class _Stopped(Exception):
    """Leaves the encoder, which then throws its file away."""


def _even(picture: Pixels) -> Pixels:
    """Return a picture of even width and height, as the encoder wants."""
    return picture[: picture.shape[0] // 2 * 2, : picture.shape[1] // 2 * 2]


def _at(time_s: float) -> str:
    """Return an instant as it stands in file names: no colon, which some file systems refuse."""
    return clock(time_s, 0).replace(":", "-")
