"""Points of a surface of triangles, so close that none of its points is far from one."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array

#: how far a point of a surface is from its nearest sample at most, as a share of the step between samples
COVER = 2 / 3
#: samples of a surface at most, for each triangle that may be read: a hundred bytes each, and some more meanwhile
SAMPLES_EACH = 4


def sample_count(soup: Array, step: float) -> float:
    """Return about how many samples, rather more, triangles (n, 3, 3) are given for a step."""
    edges = np.linalg.norm(soup - np.roll(soup, -1, axis=1), axis=2).max(axis=1)
    areas = np.linalg.norm(np.cross(soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0]), axis=1) / 2
    return float(np.where(edges > step, 6.0 * areas / step**2 + 12.0 * edges / step, 1.0).sum())


def sampled(soup: Array, step: float) -> Array:
    """Return points of triangles (n, 3) so close that none of their points is farther than COVER * step from one."""
    return np.asarray(halved(soup, step).mean(axis=1))


def halved(soup: Array, step: float) -> Array:
    """Return triangles (k, 3, 3) halved until no edge is longer than a step.

    The middle of one is then no farther from its corners than two thirds of a median, which is no longer than
    the longest edge.
    """
    kept = [soup[:0]]
    while len(soup):
        edges = np.linalg.norm(soup - np.roll(soup, -1, axis=1), axis=2)
        long = edges.max(axis=1) > step
        kept.append(soup[~long])
        soup, edges = soup[long], edges[long]
        if not len(soup):
            break
        first = np.argmax(edges, axis=1)
        turned = np.take_along_axis(soup, ((first[:, None] + np.arange(3)) % 3)[:, :, None], axis=1)
        a, b, c = turned[:, 0], turned[:, 1], turned[:, 2]
        middle = (a + b) / 2
        soup = np.concatenate([np.stack([a, middle, c], axis=1), np.stack([middle, b, c], axis=1)])
    return np.concatenate(kept)
