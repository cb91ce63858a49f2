"""A comparison as a page: every table whole, and both ways of the arm's tip in one scene."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from armcarry.comparing.runs import Comparison
from armcarry.errors import ArmcarryError, RecordError
from armcarry.files.atomic import inner_folder, write_text_atomic
from armcarry.geometry.poses import Array
from armcarry.record.record import Record
from armcarry.views import palette
from armcarry.views.annotate import Sheet
from armcarry.views.compared import compared
from armcarry.views.filled import figure, filled
from armcarry.views.stage import SIZE, Stage
from armcarry.views.viewpoint import body_corners, overview
from armcarry.views.words import CAUTION

#: points of a way
_POINTS = 3000


def write_comparison(first: Record, second: Record, result: Comparison, folder: Path) -> list[Path]:
    """Write ``compare.html`` and, where anything can be drawn, ``compare.png`` into a folder, and return their paths.

    Raises:
        RecordError: the folder or a file cannot be written.
    """
    inner_folder(folder)
    picture: Path | None = folder / "compare.png"
    words = "Both ways of the arm's tip: the first light, the second orange and dashed"
    try:
        both_ways(first, second, folder / "compare.png")
    except RecordError:
        raise
    except ArmcarryError as error:
        picture, words = None, str(error)
    titles = [record.scene.loaded.scenario.title for record in (first, second)]
    html = filled(
        "compared.html",
        title=f"{titles[0]}: two versions" if titles[0] == titles[1] else f"{titles[0]} and {titles[1]}",
        sign="✕" if result.worse else "✓",
        verdict="The second fails what the first does not" if result.worse else "The second fails nothing new",
        first=titles[0], second=titles[1], words=words, caution=CAUTION, tables=compared(result, every=True),
        picture=None if picture is None else figure(picture, words),
    )
    page = folder / "compare.html"
    write_text_atomic(page, html)
    return [page, *([picture] if picture is not None else [])]


def both_ways(first: Record, second: Record, path: Path, size: tuple[int, int] = SIZE) -> Path:
    """Draw the ways of the tip of two runs into the scene of the first, and return the path of the picture.

    Raises:
        ArmcarryError: nothing can be drawn on this machine, or the picture cannot be written.
    """
    ways = [_way(record) for record in (first, second)]
    with Stage(first, size) as stage:
        stage.scene.show(first.motion.start_s)
        corners = np.concatenate([body_corners(first, first.motion.start_s), *ways])
        stage.look(overview(corners, size[0] / size[1]))
        lines = [stage.path(ways[0], palette.LIGHT, 5.0)]
        # dashed, so that the two are told apart without colour
        lines += [stage.path(piece, palette.ORANGE, 3.5) for piece in _dashes(ways[1])]
        sheet = Sheet(stage.shot())
        for line in lines:
            stage.forget(line)
        below = "light: the first; orange, dashed: the second; the scene as the first begins"
        sheet.title("Both ways of the arm's tip", below)
        # where the second is farthest from the first is where it says that it is the second
        place = int(np.argmax(np.min(np.linalg.norm(ways[1][::20, None] - ways[0][None, ::20], axis=-1), axis=1))) * 20
        sheet.label(stage.pixels(ways[0][0])[0][0], "first, start", palette.LIGHT, 1.1)
        sheet.label(stage.pixels(ways[1][place])[0][0], "second", palette.ORANGE, 1.1)
        return sheet.save(path)


def _way(record: Record) -> Array:
    times = np.linspace(record.motion.start_s, record.motion.end_s, _POINTS)
    return np.asarray(record.link_path(record.scene.arm_tip, times)[:, :3, 3])


def _dashes(way: Array, length_m: float = 0.35) -> list[Array]:
    """Return every other piece of a way (n, 3), each so long."""
    gone = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(way, axis=0), axis=1))])
    number = (gone / length_m).astype(int)
    pieces = [way[number == k] for k in range(0, int(number[-1]) + 1, 2)]
    return [piece for piece in pieces if len(piece) > 1]
