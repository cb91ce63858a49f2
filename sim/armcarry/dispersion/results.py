"""What a campaign says: limits, probabilities, the terms that matter, and its tables on disk."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.dispersion.campaign import Campaign
from armcarry.dispersion.statistics import (
    clopper_pearson,
    lower_limit,
    normal_factor,
    rank_correlation,
    wilks_order,
    wilks_runs,
)
from armcarry.files.atomic import write_text_atomic, writing
from armcarry.geometry.poses import Array
from armcarry.quantities import clock

#: rows of pairs.parquet, and of runs.parquet with its hundreds of columns, written at a time
_ROWS, _RUNS = 50_000, 2_000
#: share of all runs that a tolerance limit is for
SHARE = 0.95


@dataclass(frozen=True)
class Spread:
    """Margins of one pair, or of the least over all, over the runs of a campaign, m.

    Attributes:
        name: the two bodies.
        required_m: what is asked; nan for the least over all.
        nominal_m: margin of the nominal run.
        least_m, run: least proven margin and the run that has it.
        low_m, middle_m: the 5 % quantile and the median of the proven margins.
        limit_m: exceeded by 95 % of all runs with the rules' confidence, no distribution assumed; None: too few runs.
        normal_limit_m: the same if margins were normally distributed; None where some are beyond ``watch``.
        short: runs whose proven margin is below 0.
        touched: those in which the margin reached is below 0 as well.
        chance: bounds of the probability of that, two-sided, with the rules' confidence.
        chance_at_most: its one-sided upper bound.
    """

    name: str
    required_m: float
    nominal_m: float
    least_m: float
    run: int
    low_m: float
    middle_m: float
    limit_m: float | None
    normal_limit_m: float | None
    short: int
    touched: int
    chance: tuple[float, float]
    chance_at_most: float


@dataclass(frozen=True)
class Weight:
    """How one drawn number goes with the least margin: rank correlation, and whether it is more than chance."""

    name: str
    term: str
    correlation: float
    clear: bool


class Results:
    """Statistics of a campaign, worked out when asked for."""

    def __init__(self, campaign: Campaign) -> None:
        self.campaign = campaign
        self.confidence = campaign.record.scene.loaded.rules.confidence

    @property
    def nothing_varies(self) -> bool:
        """Whether no pair is watched, so that all runs are alike as far as clearance goes."""
        return not self.campaign.problem.watched

    @cached_property
    def overall(self) -> Spread:
        """The least margin over all pairs of each run."""
        problem, gathered = self.campaign.problem, self.campaign.gathered
        touched = int(np.count_nonzero(gathered.reached_m < 0.0))
        nominal = float(min(problem.nominal_m, default=problem.watch_m))
        return self._spread("least of all pairs", float("nan"), nominal, gathered.least_m, touched)

    @cached_property
    def pairs(self) -> tuple[Spread, ...]:
        """Every watched pair that came nearer than ``watch`` beyond its requirement in some run, least first."""
        problem, gathered = self.campaign.problem, self.campaign.gathered
        counts = np.bincount(gathered.near_pair, minlength=len(problem.watched))
        near = np.flatnonzero(counts)
        order = np.argsort(gathered.near_pair, kind="stable")
        rows_of = np.split(order, np.cumsum(counts[near])[:-1]) if len(near) else []
        times_touched = np.bincount(gathered.touched, minlength=len(problem.watched))
        spreads = []
        for row, entries in zip(near.tolist(), rows_of, strict=True):
            pair = problem.watched[row]
            name = f"{pair.body_a} to {pair.body_b}" + ("" if pair.why == "rule" else f" ({pair.why})")
            nominal = float(min(problem.nominal_m[row], problem.watch_m))
            lower = np.full(len(gathered.runs), problem.watch_m)
            lower[gathered.near_run[entries]] = gathered.near_lower_m[entries]
            spreads.append(self._spread(name, pair.required_m, nominal, lower, int(times_touched[row])))
        return tuple(sorted(spreads, key=lambda spread: (spread.least_m, spread.name)))

    def _spread(self, name: str, required_m: float, nominal_m: float, lower: Array, touched: int) -> Spread:
        runs, short = len(lower), int(np.count_nonzero(lower < 0.0))
        normal = None
        if runs > 2 and np.all(lower < self.campaign.problem.watch_m):
            normal = float(lower.mean() - normal_factor(runs, SHARE, self.confidence) * lower.std(ddof=1))
        return Spread(
            name, required_m, nominal_m, float(lower.min()), int(self.campaign.gathered.runs[np.argmin(lower)]),
            float(np.quantile(lower, 0.05)), float(np.median(lower)), lower_limit(lower, SHARE, self.confidence),
            normal, short, touched, clopper_pearson(short, runs, self.confidence),
            clopper_pearson(short, runs, self.confidence, upper_only=True)[1],
        )  # fmt: skip

    @cached_property
    def weights(self) -> tuple[Weight, ...]:
        """How every drawn number goes with the least margin, strongest first.

        ``clear`` where the correlation is larger than chance alone would give to any one of so many numbers, 5 %.
        """
        from scipy.special import ndtri

        campaign = self.campaign
        runs, numbers = len(campaign.gathered.runs), campaign.problem.numbers
        if runs < 3 or self.nothing_varies:
            return ()
        rho = np.nan_to_num(rank_correlation(campaign.gathered.values, campaign.least_m))
        beyond = float(-ndtri(0.025 / max(len(numbers), 1)) / np.sqrt(runs - 1))
        order = np.argsort(-np.abs(rho), kind="stable")
        return tuple(
            Weight(numbers[k].name, numbers[k].term, float(rho[k]), bool(abs(rho[k]) > beyond)) for k in order.tolist()
        )

    @cached_property
    def lines(self) -> tuple[str, ...]:
        """What the campaign says, in sentences."""
        spread, problem, runs = self.overall, self.campaign.problem, len(self.campaign.gathered.runs)
        if self.nothing_varies:
            return (
                f"nothing varies: whatever is drawn, no pair of bodies comes within {problem.watch_m:g} m (watch) of "
                f"what it must keep; {problem.left_out} pairs are proven to stay clear in every draw",
                "widen watch or the terms of the rules' dispersion to see margins",
            )
        sure = f"{self.confidence:.0%}"
        order = wilks_order(runs, SHARE, self.confidence)
        if spread.limit_m is None:
            need = wilks_runs(SHARE, self.confidence)
            limit = f"too few runs for a limit without a distribution: {need} are needed"
        else:
            limit = (
                f"{SHARE:.0%} of runs keep {spread.limit_m:+.3f} m or more, {sure} sure, no distribution assumed "
                f"(order {order} of {runs})"
            )
        normal = "margins beyond the watched range, so no normal limit"
        if spread.normal_limit_m is not None:
            normal = f"{spread.normal_limit_m:+.3f} m if margins were normally distributed"
        return (
            f"least margin beyond what is required: nominal {spread.nominal_m:+.3f} m, "
            f"median {spread.middle_m:+.3f} m, worst {spread.least_m:+.3f} m in run {spread.run}{self._where()}",
            f"{limit}; {normal}",
            f"{spread.short} of {runs} runs fall short of a requirement: {_percent(spread.chance[0])} to "
            f"{_percent(spread.chance[1])} of all that could be, {sure} sure; at most "
            f"{_percent(spread.chance_at_most)} one-sided",
            f"{len(problem.watched)} pairs watched, {problem.left_out} proven to stay clear in every draw, "
            f"{problem.touching} may touch and are not counted",
        )

    def _where(self) -> str:
        """Say between which bodies and when the worst run has its least margin."""
        gathered, problem = self.campaign.gathered, self.campaign.problem
        row = int(np.argmin(gathered.least_m))
        if self.overall.least_m >= problem.watch_m:
            return ", or more: nothing comes nearer"
        pair = problem.watched[int(gathered.pair[row])]
        return f": {pair.body_a} to {pair.body_b} at {clock(float(gathered.time_s[row]))}"

    def as_dict(self) -> dict[str, Any]:
        """Return all of it as plain values for JSON; nan and unknown are null."""
        campaign = self.campaign
        return {
            "format": "armcarry campaign result 1",
            "runs": len(campaign.gathered.runs),
            "seed": campaign.seed,
            "share": SHARE,
            "confidence": self.confidence,
            "least": _plain(self.overall),
            "pairs": [_plain(spread) for spread in self.pairs],
            "weights": [vars(weight) for weight in self.weights[:40]],
            "watched": len(campaign.problem.watched),
            "left_out": campaign.problem.left_out,
            "may_touch": campaign.problem.touching,
            "worst_run": campaign.worst,
            "taken_up": campaign.taken_up,
        }

    def rows(self, most: int = 10) -> list[tuple[str, ...]]:
        """Return rows for the terminal: the pairs that come nearest to what is required."""
        return [
            (s.name.replace(" (", "\n(", 1), f"{s.required_m:.3f}", f"{s.nominal_m:+.3f}", f"{s.least_m:+.3f}",
             "few\nruns" if s.limit_m is None else f"{s.limit_m:+.3f}", f"{s.short}", _percent(s.chance_at_most))
            for s in self.pairs[:most]
        ]  # fmt: skip

    def weight_rows(self, most: int = 10) -> list[tuple[str, ...]]:
        """Return rows for the terminal: the numbers that go with the least margin most."""
        return [(w.name, f"{w.correlation:+.2f}", "yes" if w.clear else "could be chance") for w in self.weights[:most]]


# narrow, so that the names of a pair have room in a terminal of 80 columns
HEADINGS = ("pair", "asks", "nominal", "worst", "95 %\nkeep", "short", "chance\nup to")
WEIGHT_HEADINGS = ("drawn number", "rank correlation", "more than chance")


def _percent(share: float) -> str:
    return f"{100.0 * share:.1f} %"


def _plain(spread: Spread) -> dict[str, Any]:
    return {
        key: None if isinstance(value, float) and not np.isfinite(value) else list(value) if key == "chance" else value
        for key, value in vars(spread).items()
    }


def _nearest(results: Results, of_pairs: Callable[[Array], dict[str, Any]]) -> dict[str, Any]:
    """Return of each run (R,) what is reached, when and between which bodies; nothing where nothing is watched."""
    import pyarrow as pa

    gathered = results.campaign.gathered
    if results.nothing_varies:
        kinds = {"reached_m": pa.float64(), "time_s": pa.float64(), "body_a": pa.string(), "body_b": pa.string()}
        return {name: pa.nulls(len(gathered.runs), kind) for name, kind in kinds.items()}
    return {"reached_m": gathered.there_m, "time_s": gathered.time_s, **of_pairs(gathered.pair)}


def write_tables(results: Results, folder: Path) -> list[Path]:
    """Write result.json, runs.parquet (a row a run) and pairs.parquet (a row a pair and run) and return them.

    Raises:
        RecordError: the folder cannot be written, or a chunk is gone meanwhile.
    """
    import pyarrow as pa

    campaign = results.campaign
    gathered, problem = campaign.gathered, campaign.problem
    paths = [folder / "result.json", folder / "runs.parquet", folder / "pairs.parquet"]
    write_text_atomic(paths[0], json.dumps(results.as_dict(), indent=1, allow_nan=False) + "\n")
    names = [pa.array([getattr(pair, end) for pair in problem.watched], pa.string()) for end in ("body_a", "body_b")]

    def of_pairs(at: Array) -> dict[str, Any]:
        return {f"body_{end}": column.take(pa.array(at)) for end, column in zip("ab", names, strict=True)}

    columns: dict[str, Any] = {
        "run": gathered.runs, "least_margin_m": gathered.least_m, **_nearest(results, of_pairs),
    }  # fmt: skip
    columns.update({number.name: gathered.values[:, k] for k, number in enumerate(problem.numbers)})
    _write(paths[1], ({name: column[first : first + _RUNS] for name, column in columns.items()}
                      for first in range(0, len(gathered.runs), _RUNS)))  # fmt: skip
    required = np.array([pair.required_m for pair in problem.watched])
    _write(paths[2], ({"run": run, **of_pairs(pair), "required_m": required[pair], "margin_m": margin,
                       "reached_m": reached, "time_s": time}
                      for run, pair, margin, reached, time in _near_rows(campaign)))  # fmt: skip
    return paths


def _write(path: Path, parts: Iterator[dict[str, Any]]) -> None:
    """Write a table part by part."""
    import pyarrow as pa
    from pyarrow import parquet

    with writing(path) as place, ExitStack() as stack:
        writer = None
        for columns in parts:
            table = pa.table(columns)
            writer = writer or stack.enter_context(parquet.ParquetWriter(place, table.schema))
            writer.write_table(table)


def _near_rows(campaign: Campaign) -> Iterator[tuple[np.ndarray, ...]]:
    """Yield run, pair, proven and reached margin and time of the pairs that came near, many rows at a time."""
    waiting: list[tuple[np.ndarray, ...]] = []
    last = int(campaign.gathered.runs[-1])
    for outcome in campaign.outcomes():
        run, pair = np.nonzero(outcome.lower_m < campaign.problem.watch_m)
        waiting.append((
            outcome.runs[run], pair, outcome.lower_m[run, pair], outcome.upper_m[run, pair], outcome.time_s[run, pair],
        ))  # fmt: skip
        if sum(len(rows[0]) for rows in waiting) >= _ROWS or outcome.runs[-1] == last:
            yield tuple(map(np.concatenate, zip(*waiting, strict=True)))
            waiting = []
