"""A small picture of a run for notebooks: the way of the arm's tip from above and the side, and the tightest pair."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array

#: instants of the way that are drawn; width of one view, and room about it, in pixels
INSTANTS, WIDTH, ROOM = 160, 260, 14


def picture(way: Array, tightest: tuple[float, float, float] | None) -> str:
    """Return an SVG: x to the right, and y (from above) or z (from the side) up, in equal scale.

    Args:
        way: places of the tip (T, 3), m.
        tightest: where the tightest pair is, None where there is none.
    """
    point = None if tightest is None else np.asarray(tightest, dtype=float)
    views = [_view(way, point, 1, "from above", 0), _view(way, point, 2, "from the side", 1)]
    size = WIDTH + 2 * ROOM
    return f'<svg xmlns="http://www.w3.org/2000/svg" width="{2 * size}" height="{size}">{"".join(views)}</svg>'


def _view(way: Array, point: Array | None, axis: int, words: str, number: int) -> str:
    shown = way[:, [0, axis]]
    ends = shown if point is None else np.concatenate([shown, point[None, [0, axis]]])
    low, span = ends.min(axis=0), float(np.ptp(ends, axis=0).max()) or 1.0

    def at(place: Array) -> tuple[float, float]:
        x, y = (place - low) / span * WIDTH
        return number * (WIDTH + 2 * ROOM) + ROOM + float(x), ROOM + WIDTH - float(y)

    line = " ".join(f"{x:.1f},{y:.1f}" for x, y in map(at, shown))
    x, y = at(shown[0])
    parts = [f'<polyline points="{line}" fill="none" stroke="#36648b" stroke-width="2"/>',
             f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#36648b"/>']  # fmt: skip
    if point is not None:
        x, y = at(point[[0, axis]])
        parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="5" fill="none" stroke="#b03020" stroke-width="2"/>')
    left = number * (WIDTH + 2 * ROOM) + ROOM
    title = f"tip {words}, {span:.1f} m wide"
    return "".join(parts) + f'<text x="{left}" y="{ROOM - 3}" font-size="11">{title}</text>'
