"""What is kept of many runs in memory: of each run its draw and its least margin, and of its pairs only the near ones.

A chunk is a table of all watched pairs; of thousands of pairs only some come nearer than ``watch`` beyond what they
need, and the others say no more than that. So a campaign of any length is read chunk by chunk.
"""

from __future__ import annotations

from collections.abc import Iterable
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
        near_run, near_pair: row of the run and the pair (E,), by run, then pair.
        near_lower_m, near_upper_m, near_time_s: what the pair came to (E,).
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
    near_upper_m: Array
    near_time_s: Array


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
        near_run=run, near_pair=near.astype(np.int32), near_lower_m=lower[run, near], near_upper_m=upper[run, near],
        near_time_s=outcome.time_s[run, near],
    )  # fmt: skip


def joined(parts: Iterable[Gathered]) -> Gathered:
    """Return the runs of several chunks in the order of their numbers."""
    ordered = sorted(parts, key=lambda part: int(part.runs[0]))
    firsts = np.cumsum([0, *(len(part.runs) for part in ordered)])
    columns = {
        field.name: np.concatenate([getattr(part, field.name) for part in ordered])
        for field in fields(Gathered) if field.name != "near_run"
    }  # fmt: skip
    near_run = np.concatenate([part.near_run + first for part, first in zip(ordered, firsts, strict=False)])
    return Gathered(near_run=near_run, **columns)
