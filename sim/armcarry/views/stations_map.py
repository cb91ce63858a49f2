"""A map of worksites against the places of the arm's base."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from armcarry.files.atomic import writing
from armcarry.planning.stations import StationMap
from armcarry.planning.trial import ENOUGH_M
from armcarry.views import palette

#: what stands against a place: the sign in its cell
SIGNS = {"reach": "·", "joints": "J", "singular": "S", "clearance": "C"}
_WORDS = {"reach": "out of reach", "joints": "joints at their ends", "singular": "loses a direction of motion",
          "clearance": "too close"}  # fmt: skip


def write_stations_map(found: StationMap, path: Path) -> Path:
    """Draw which worksites are reached from where, darker with more clearance to spare, and the plan; return the path.

    Raises:
        RecordError: the picture cannot be written.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure

    wide = max(8.0, 2.6 + 0.26 * len(found.bases))
    figure = Figure(figsize=(wide, 1.9 + 0.55 * len(found.worksites)), layout="constrained")
    FigureCanvasAgg(figure)
    axes = figure.add_subplot()
    values = np.full((len(found.worksites), len(found.bases)), np.nan)
    for w, row in enumerate(found.reached):
        for b, one in enumerate(row):
            if one.good:
                values[w, b] = one.clearance_m
            else:
                axes.text(b, w, SIGNS[one.blocked_by], ha="center", va="center", fontsize=8, color=palette.FAINT_INK)
    picture = axes.imshow(values, cmap="Blues", vmin=-0.15 * ENOUGH_M, vmax=ENOUGH_M, aspect="auto")
    for stay in found.plan:
        b = found.bases.index(stay.base)
        for name in stay.worksites:
            axes.plot(b, found.worksites.index(name), "o", markersize=9, markerfacecolor="none",
                      markeredgecolor=palette.VERMILLION, markeredgewidth=2)  # fmt: skip
    axes.set_yticks(range(len(found.worksites)), [name.replace("_", " ") for name in found.worksites])
    every = max(1, round(len(found.bases) / 24))
    ticks = [k for k, base in enumerate(found.bases) if np.isnan(base.station_m) or k % every == 0]
    axes.set_xticks(ticks, [found.bases[k].mount if np.isnan(found.bases[k].station_m)
                            else f"{found.bases[k].station_m:g}" for k in ticks], rotation=60, fontsize=8)  # fmt: skip
    axes.set_xlabel("station of the trolley, m; fixed mounts by name")
    bar = figure.colorbar(picture, ax=axes, pad=0.01)
    bar.ax.set_ylim(0.0, ENOUGH_M)
    bar.set_label("clearance to spare, m")
    signs = "   ".join(f"{sign} {_WORDS[kind]}" for kind, sign in SIGNS.items())
    axes.set_title(f"{found.message}\n{signs}   ○ where the plan does it", loc="left", fontsize=9, wrap=True)
    with writing(path) as place:
        figure.savefig(place, dpi=110)
    return path
