"""Plots of a campaign of perturbed runs: how the least margin is spread, by pair, and which terms matter."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from armcarry.dispersion.results import SHARE, Results
from armcarry.files.atomic import inner_folder
from armcarry.views import palette
from armcarry.views.plots import page, save, say

if TYPE_CHECKING:
    from matplotlib.figure import Figure

_SIGNS = "to the right: the larger the number drawn, the more room; to the left: the less; pale: could be chance"
_BLUE, _RED = "#0072B2", "#D55E00"


def write_dispersion_plots(results: Results, folder: Path) -> list[Path]:
    """Write margins.png, pairs.png and terms.png and return their paths."""
    inner_folder(folder)
    makers = {"margins": margins, "pairs": pair_spreads, "terms": terms}
    return [save(make(results), folder / f"{name}.png") for name, make in makers.items()]


def margins(results: Results) -> Figure:
    """Plot the share of runs against the least margin they keep."""
    spread, least = results.overall, np.sort(results.campaign.least_m)
    runs = len(least)
    with page(1, 1, f"Least margin of {runs} runs", results.lines[2]) as (figure, panels):
        axes = panels[0]
        axes.step(least, np.arange(1, runs + 1) / runs, where="post", color=_BLUE, linewidth=2.4, label="runs")
        axes.axvline(0.0, color=_RED, linewidth=2.0, label="what is required")
        axes.axvline(spread.nominal_m, color=palette.INK, linestyle=":", linewidth=2.0, label="nominal run")
        if spread.limit_m is not None:
            words = f"{SHARE:.0%} of runs keep more, {results.confidence:.0%} sure"
            axes.axvline(spread.limit_m, color=palette.INK, linestyle="--", linewidth=2.0, label=words)
        axes.set_ylim(0, 1)
        axes.set_xlabel("least proven clearance beyond what is required, m")
        axes.set_ylabel("share of runs with less")
        axes.legend(loc="upper left", fontsize=13)
        return figure


def pair_spreads(results: Results, most: int = 12) -> Figure:
    """Plot the spread of the margin of the pairs that come nearest to what is required of them."""
    shown = results.pairs[:most]
    words = "line: from worst to median run; dot: nominal; red: short in some run"
    if any(spread.limit_m is not None for spread in shown):
        words += f"; upright: {SHARE:.0%} of runs keep more"
    with page(1, 1, "Margin by pair", words) as (figure, panels):
        axes = panels[0]
        if not shown:
            say(axes, "no pair came near in any run")
            return figure
        for place, spread in enumerate(reversed(shown)):
            colour = _RED if spread.short else _BLUE
            axes.plot([spread.least_m, spread.middle_m], [place, place], color=colour, linewidth=5, alpha=0.5)
            axes.plot([spread.nominal_m], [place], "o", color=palette.INK, markersize=7)
            if spread.limit_m is not None:
                axes.plot([spread.limit_m], [place], "|", color=colour, markersize=18, markeredgewidth=3)
        axes.axvline(0.0, color=_RED, linewidth=1.5)
        axes.set_yticks(range(len(shown)), [_short(spread.name) for spread in reversed(shown)], fontsize=10)
        axes.set_xlabel("clearance beyond what is required, m")
        return figure


def _short(name: str) -> str:
    """Return a name for an axis: the reason, if any, on a second line."""
    pair, _, why = name.partition(" (")
    words = pair if len(pair) <= 66 else pair[:63] + "…"
    return words if not why else f"{words}\n({why}" if len(why) <= 62 else f"{words}\n({why[:60]}…"


def terms(results: Results, most: int = 12) -> Figure:
    """Plot the rank correlation of the drawn numbers with the least margin, strongest first."""
    shown = results.weights[:most]
    with page(1, 1, "What the least margin of a run goes with", _SIGNS) as (figure, panels):
        axes = panels[0]
        if not shown:
            say(axes, "too few runs")
            return figure
        for place, weight in enumerate(reversed(shown)):
            axes.barh(place, weight.correlation, color=_BLUE, alpha=1.0 if weight.clear else 0.3)
        axes.axvline(0.0, color=palette.INK, linewidth=1.0)
        axes.set_yticks(range(len(shown)), [_short(weight.name) for weight in reversed(shown)], fontsize=11)
        axes.set_xlim(-1, 1)
        axes.set_xlabel("rank correlation with the least margin")
        return figure
