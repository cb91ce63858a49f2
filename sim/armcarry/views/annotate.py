"""Words on pictures: labels that do not cover one another, captions, lines; drawn with Pillow.

VTK's own text knows few characters and cuts long lines, so every word on a picture is drawn here.
"""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from armcarry.files.atomic import writing
from armcarry.views import palette

if TYPE_CHECKING:
    from PIL.ImageFont import FreeTypeFont

Pixels = NDArray[np.uint8]
Box = tuple[float, float, float, float]


class _Label(NamedTuple):
    """Words in a box, and the leader from it to its point."""

    point: tuple[float, float]
    nearest: tuple[float, float]
    box: Box
    text: str
    edge: str
    font: FreeTypeFont


class Sheet:
    """A picture that is being written on. Sizes follow its height: text is 2.4 % of it."""

    def __init__(self, picture: Pixels, scale: float = 1.0) -> None:
        """Open a sheet.

        Args:
            picture: (h, w, 3).
            scale: of all that is written, more than 1 for a small picture that is printed small.
        """
        from PIL import Image, ImageDraw

        self._image = Image.fromarray(np.ascontiguousarray(picture[..., :3]))
        self._draw = ImageDraw.Draw(self._image, "RGBA")
        self.width, self.height = self._image.size
        self._taken: list[Box] = []
        self._below = 0.0
        self._leaders: list[Box] = []
        self._labels: list[_Label] = []
        self.unit = self.height * 0.024 * scale

    def pixels(self) -> Pixels:
        """Return the picture (h, w, 3)."""
        self._finish()
        return np.asarray(self._image)

    def save(self, path: Path) -> Path:
        """Write the picture as PNG and return the path. Raises RecordError."""
        self._finish()
        with writing(path) as place:
            self._image.save(place, format="PNG")
        return path

    def line(self, start: ArrayLike, end: ArrayLike, colour: str, wide: float = 0.18) -> None:
        """Draw a line between two points in pixels, edged dark so that it shows on anything."""
        a, b = tuple(np.asarray(start, dtype=float)), tuple(np.asarray(end, dtype=float))
        width = max(int(self.unit * wide), 2)
        self._draw.line([a, b], fill=palette.BLACK, width=width + 4)
        self._draw.line([a, b], fill=colour, width=width)
        for share in np.linspace(0, 1, 9):  # labels keep off it
            x, y = a[0] + share * (b[0] - a[0]), a[1] + share * (b[1] - a[1])
            self._taken.append((x - self.unit, y - self.unit, x + self.unit, y + self.unit))
        for x, y in (a, b):
            radius = width * 1.3
            self._draw.ellipse((x - radius, y - radius, x + radius, y + radius), fill=colour, outline=palette.BLACK)

    def label(self, point: ArrayLike, text: str, edge: str = palette.FAINT_LIGHT, size: float = 1.0) -> None:
        """Write a label near a point in pixels, where it covers no other, with a leader to the point."""
        x, y = (float(v) for v in np.asarray(point, dtype=float))
        if not (0 <= x < self.width and 0 <= y < self.height):
            return
        font = _font(int(self.unit * size), bold=False)
        wide, tall = self._measure(text, font)
        box = self._free_place(x, y, wide + self.unit * 0.8, tall + self.unit * 0.5)
        nearest = (float(np.clip(x, box[0], box[2])), float(np.clip(y, box[1], box[3])))
        for share in np.linspace(0.2, 0.8, 4):  # later labels keep off the leader
            at = (x + share * (nearest[0] - x), y + share * (nearest[1] - y))
            self._leaders.append((at[0] - 2, at[1] - 2, at[0] + 2, at[1] + 2))
        self._labels.append(_Label((x, y), nearest, box, text, edge, font))
        self._taken.append(box)

    def _finish(self) -> None:
        """Draw the labels: all leaders, then all boxes, the largest last, so that no line crosses words."""
        width, dot = max(int(self.unit * 0.1), 2), self.unit * 0.17
        for label in self._labels:
            (x, y), nearest = label.point, label.nearest
            self._draw.line([(x, y), nearest], fill=palette.BLACK, width=width + 2)
            self._draw.line([(x, y), nearest], fill=label.edge, width=width)
            self._draw.ellipse((x - dot, y - dot, x + dot, y + dot), fill=label.edge, outline=palette.BLACK)
        for label in sorted(self._labels, key=lambda label: label.font.size):
            box = label.box
            self._draw.rounded_rectangle(box, self.unit * 0.25, fill=palette.ROOM + "E8", outline=label.edge, width=2)
            corner = (box[0] + self.unit * 0.4, box[1] + self.unit * 0.25)
            self._draw.text(corner, label.text, palette.LIGHT, label.font, anchor="lt")
        self._labels.clear()

    def title(self, text: str, below: str = "") -> None:
        """Write a heading at the top left, and a line below it, each cut to the width of the picture."""
        y = self.unit * 0.7
        for words, size, bold, colour in ((text, 1.5, True, palette.LIGHT), (below, 1.0, False, palette.FAINT_LIGHT)):
            if not words:
                continue
            font = _font(int(self.unit * size), bold)
            words = self.fitted(words, font, self.width - 2 * self.unit)
            wide, tall = self._measure(words, font)
            box = (self.unit * 0.5, y - self.unit * 0.25, self.unit * 1.3 + wide, y + tall + self.unit * 0.35)
            self._draw.rectangle(box, fill=palette.ROOM + "D0")
            self._draw.text((self.unit * 0.9, y), words, colour, font, anchor="lt")
            self._taken.append(box)
            y = box[3] + self.unit * 0.45

    def corner(self, picture: Pixels, where: Literal["top right", "below it"], title: str = "") -> None:
        """Put a small picture at the top right, or below the one put there before, framed, with a title on it."""
        from PIL import Image

        edge = int(self.unit * 0.6)
        wide, tall = picture.shape[1], picture.shape[0]
        top = edge if where == "top right" else int(self._below) + edge
        left = self.width - wide - edge
        self._image.paste(Image.fromarray(np.ascontiguousarray(picture)), (left, top))
        box = (left - 1, top - 1, left + wide, top + tall)
        self._draw.rectangle(box, outline=palette.FAINT_LIGHT, width=2)
        if title:
            font = _font(int(self.unit * 0.8), bold=False)
            words, tall_px = self.fitted(title, font, wide - self.unit), self._measure("Åg", font)[1]
            self._draw.rectangle((left, top, left + self._measure(words, font)[0] + self.unit * 0.6,
                                  top + tall_px + self.unit * 0.4), fill=palette.ROOM + "D0")
            self._draw.text((left + self.unit * 0.3, top + self.unit * 0.2), words, palette.LIGHT, font, anchor="lt")
        self._taken.append(box)
        self._below = box[3]

    def caption(self, lines: list[str]) -> None:
        """Write a band of text along the bottom, the first line large."""
        fonts = [_font(int(self.unit * (1.5 if k == 0 else 1.0)), k == 0) for k in range(len(lines))]
        lines = [self.fitted(line, font, self.width - 3 * self.unit) for line, font in zip(lines, fonts, strict=True)]
        heights = [self._measure("Åg", font)[1] for font in fonts]
        top = self.height - sum(heights) - self.unit * (0.45 * len(lines) + 0.7)
        self._draw.rectangle((0, top, self.width, self.height), fill=palette.ROOM + "E0")
        y = top + self.unit * 0.55
        for k, (line, font, height) in enumerate(zip(lines, fonts, heights, strict=True)):
            colour = palette.LIGHT if k == 0 else palette.FAINT_LIGHT
            self._draw.text((self.unit * 1.5, y), line, colour, font, anchor="lt")
            y += height + self.unit * 0.45
        self._taken.append((0, top, self.width, self.height))

    def fitted(self, text: str, font: FreeTypeFont, wide: float) -> str:
        """Return text cut with an ellipsis to a width in pixels."""
        text = " ".join(text.split())
        if self._measure(text, font)[0] <= wide:
            return text
        while text and self._measure(text + "…", font)[0] > wide:
            text = text[:-1]
        return text + "…"

    def _measure(self, text: str, font: FreeTypeFont) -> tuple[float, float]:
        return _extent(text, font)

    def _free_place(self, x: float, y: float, wide: float, tall: float) -> Box:
        """Return a box near a point, inside the picture, that meets the fewest others."""
        best: tuple[float, Box] | None = None
        for ring in range(1, 8):
            for turn in np.linspace(-0.6, 2 * np.pi - 0.6, 16, endpoint=False):
                middle_x = x + np.cos(turn) * (wide / 2 + self.unit * 1.2 * ring)
                middle_y = y + np.sin(turn) * (tall / 2 + self.unit * 1.2 * ring)
                left = float(np.clip(middle_x - wide / 2, 2, max(self.width - wide - 2, 2)))
                top = float(np.clip(middle_y - tall / 2, 2, max(self.height - tall - 2, 2)))
                box = (left, top, left + wide, top + tall)
                covered = sum(_shared(box, other) for other in (*self._taken, *self._leaders))
                covered += wide * tall if left <= x <= left + wide and top <= y <= top + tall else 0.0
                if covered == 0.0:
                    return box
                if best is None or covered < best[0]:
                    best = (covered, box)
        return best[1] if best is not None else (2.0, 2.0, 2 + wide, 2 + tall)


def _shared(one: Box, other: Box) -> float:
    """Return the area that two boxes share."""
    wide = min(one[2], other[2]) - max(one[0], other[0])
    tall = min(one[3], other[3]) - max(one[1], other[1])
    return max(wide, 0.0) * max(tall, 0.0)


@lru_cache(maxsize=2048)
def _extent(text: str, font: FreeTypeFont) -> tuple[float, float]:
    """Return how wide and tall a line of text is: most words of a film stay from frame to frame."""
    left, top, right, bottom = font.getbbox(text, anchor="lt")
    return right - left, bottom - top


@lru_cache(maxsize=32)
def _font(size: int, bold: bool) -> FreeTypeFont:
    import matplotlib
    from PIL import ImageFont

    name = "DejaVuSans-Bold.ttf" if bold else "DejaVuSans.ttf"  # matplotlib carries them
    return ImageFont.truetype(str(Path(matplotlib.get_data_path()) / "fonts" / "ttf" / name), max(size, 8))
