"""A map of worksites against the places of the arm's base."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.atomic import writing
from armcarry.planning.stations import StationMap
from armcarry.planning.trial import ENOUGH_M
from armcarry.views import palette

#: what stands against a place: the sign in its cell
SIGNS = {"reach": "·", "joints": "J", "singular": "S", "clearance": "C", "way in": "W"}
_WORDS = {"reach": "out of reach", "joints": "joints at their ends", "singular": "loses a direction of motion",
          "clearance": "too close", "way in": "no way in"}  # fmt: skip

#: bases in one strip; more of them go on in another below, so that a page holds the map in letters one can read
_A_STRIP = 26

#: the scale of colours ends at the most that is found, in steps of this, m: pale cells tell nothing apart
_SCALE_M = 0.05


def write_stations_map(found: StationMap, path: Path) -> Path:
    """Draw which worksites are reached from where, darker with more clearance to spare, and the plan; return the path.

    Raises:
        RecordError: the picture cannot be written.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    count = len(found.bases)
    strips = max(-(-count // _A_STRIP), 1)
    a_strip = -(-count // strips)
    tall = strips * (0.9 + 0.42 * len(found.worksites)) + 1.5
    figure = Figure(figsize=(3.2 + 0.36 * a_strip, tall), layout="constrained")
    FigureCanvasAgg(figure)
    every = figure.subplots(strips, 1, squeeze=False)[:, 0]
    most = max((one.clearance_m for row in found.reached for one in row if one.good), default=ENOUGH_M)
    top_m = min(max(np.ceil(most / _SCALE_M - 1e-9), 1.0) * _SCALE_M, ENOUGH_M)
    for k, axes in enumerate(every):
        picture = _strip(axes, found, (k * a_strip, min((k + 1) * a_strip, count)), top_m)
        axes.set_xlim(-0.5, a_strip - 0.5)
    every[-1].set_xlabel("station of the trolley, m; fixed mounts by name", fontsize=12)
    bar = figure.colorbar(picture, ax=list(every), pad=0.01)
    bar.ax.set_ylim(0.0, top_m)
    bar.set_label("clearance to spare, m", fontsize=12)
    signs = "   ".join(f"{sign} {_WORDS[kind]}" for kind, sign in SIGNS.items())
    every[0].set_title(f"{found.message}\n{signs}   ○ where the plan does it", loc="left", fontsize=12, wrap=True)
    with writing(path) as place:
        figure.savefig(place, dpi=110)
    return path


def _strip(axes: Any, found: StationMap, between: tuple[int, int], top_m: float) -> Any:
    """Draw the bases from one to another, and return what the scale of colours is made of, which ends at ``top_m``."""
    first, end = between
    values = np.full((len(found.worksites), end - first), np.nan)
    for w, row in enumerate(found.reached):
        for b, one in enumerate(row[first:end]):
            if one.good:
                values[w, b] = one.clearance_m
            else:
                sign = SIGNS[one.blocked_by]
                axes.text(b, w, sign, ha="center", va="center", fontsize=11, color=palette.FAINT_INK)
    picture = axes.imshow(values, cmap="Blues", vmin=-0.15 * top_m, vmax=top_m, aspect="auto")
    for stay in found.plan:
        b = found.bases.index(stay.base) - first
        for name in stay.worksites if 0 <= b < end - first else ():
            axes.plot(b, found.worksites.index(name), "o", markersize=12, markerfacecolor="none",
                      markeredgecolor=palette.VERMILLION, markeredgewidth=2)  # fmt: skip
    axes.set_yticks(range(len(found.worksites)), [name.replace("_", " ") for name in found.worksites], fontsize=11)
    axes.set_xticks(range(end - first), [
        base.mount if np.isnan(base.station_m) else f"{base.station_m:g}" for base in found.bases[first:end]
    ], rotation=60, fontsize=11)
    return picture
