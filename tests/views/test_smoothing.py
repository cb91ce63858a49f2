"""Edges of pictures that were drawn with one sample a point are smoothed, and nothing else is touched."""

import numpy as np

from armcarry.views.smoothing import smoothed


def slanted(times=1):
    """A bright half plane whose edge leans; the mean of ``times`` looks a point, a side."""
    y, x = (np.mgrid[: 60 * times, : 80 * times] + 0.5) / times
    bright = np.where(x + 0.31 * y > 45, 220.0, 20.0)
    return bright.reshape(60, times, 80, times).mean(axis=(1, 3))


def test_stairs_become_slopes_and_what_has_no_edge_stays():
    rough = np.repeat(slanted()[..., None], 3, axis=2).astype(np.uint8)
    fine = slanted(8)[..., None]
    soft = smoothed(rough)
    inside = (slice(8, -8), slice(8, -8))
    error = [np.abs(picture[inside].astype(float) - fine[inside]).mean() for picture in (rough, soft)]
    assert error[1] < 0.6 * error[0]
    flat = np.ones(rough.shape, dtype=bool)
    flat[:, 20:50] = False
    assert np.array_equal(soft[flat], rough[flat])
    assert soft.min() >= 20 and soft.max() <= 220
