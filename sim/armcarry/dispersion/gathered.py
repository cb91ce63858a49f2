"""What is kept of many runs in memory: of each run its draw and its least margin, and of its pairs only the near ones.

A chunk is a table of all watched pairs; of thousands of pairs only some come nearer than ``watch`` beyond what they
need, and the others say no more than that. Of those only the margin stays; the rest is in the chunks, for whoever
writes it out. So a campaign of any length is read chunk by chunk.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from armcarry.dispersion.problem import Outcome
from armcarry.geometry.poses import Array


@dataclass(frozen=True, eq=False)
class Gathered:
    """Many runs in order, R of them, and E rows of a pair that came near in one of them.

    Attributes:
        runs, values: number (R,) and draw (R, n) of each run.
        least_m, reached_m: least proven margin over its pairs (R,), and least margin reached.
        pair, there_m, time_s: the pair that has the least proven margin (R,), what it reached, and when.
        near_run, near_pair: row of the run and the pair (E,), in no order.
        near_lower_m: proven margin of the pair (E,).
        touched: the pair of each such row in which the margin reached is below 0 as well.
    """

    runs: np.ndarray
    values: Array
    least_m: Array
    reached_m: Array
    pair: np.ndarray
    there_m: Array
    time_s: Array
    near_run: np.ndarray
    near_pair: np.ndarray
    near_lower_m: Array
    touched: np.ndarray


def gathered(outcome: Outcome, watch_m: float) -> Gathered:
    """Return what is kept of the runs of one chunk."""
    lower, upper = outcome.lower_m, outcome.upper_m
    count, pairs = lower.shape
    rows = np.arange(count)
    pair = lower.argmin(axis=1) if pairs else np.zeros(count, dtype=int)
    at = (rows, pair)
    run, near = np.nonzero(lower < watch_m)
    return Gathered(
        runs=outcome.runs, values=outcome.values, least_m=lower.min(axis=1, initial=watch_m),
        reached_m=upper.min(axis=1, initial=watch_m), pair=pair,
        there_m=upper[at] if pairs else np.full(count, watch_m),
        time_s=outcome.time_s[at] if pairs else np.zeros(count),
        near_run=run.astype(np.int32), near_pair=near.astype(np.int32), near_lower_m=lower[run, near],
        touched=near[upper[run, near] < 0.0].astype(np.int32),
    )  # fmt: skip


class Gathering:
    """Takes up the runs of chunks, in whatever order they come, without ever holding them twice.

    Args:
        runs: how many there will be.
    """

    def __init__(self, runs: int) -> None:
        self._runs = runs
        self._columns: dict[str, np.ndarray] = {}
        self._lengths: dict[str, int] = {}

    def add(self, part: Gathered) -> None:
        """Take up the runs of one chunk."""
        for field in fields(Gathered):
            new = getattr(part, field.name)
            if field.name == "near_run":
                new = part.runs[new].astype(np.int32)
            begin = self._lengths.get(field.name, 0)
            end = self._lengths[field.name] = begin + len(new)
            column = self._columns.get(field.name)
            if column is None or end > len(column):
                # room for all runs, if they are like these: of memory that is not written nothing is taken
                wanted = max(end, end * self._runs * 5 // (4 * self._lengths["runs"]))
                larger = np.empty((wanted, *new.shape[1:]), dtype=new.dtype)
                if column is not None:
                    larger[:begin] = column[:begin]
                column = self._columns[field.name] = larger
            column[begin:end] = new

    def finish(self) -> Gathered:
        """Return all of it, runs in the order of their numbers."""
        columns = {name: column[: self._lengths[name]] for name, column in self._columns.items()}
        order = np.argsort(columns["runs"], kind="stable")
        runs = columns["runs"][order]
        columns["near_run"] = np.searchsorted(runs, columns["near_run"]).astype(np.int32)
        by_run = ("values", "least_m", "reached_m", "pair", "there_m", "time_s")
        return Gathered(**{**columns, "runs": runs, **{name: columns[name][order] for name in by_run}})
