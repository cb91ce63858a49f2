"""Sweeps: a scenario rehearsed with other values at some keys, over processes, and a row for each."""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from itertools import product
from multiprocessing import get_context
from pathlib import Path
from typing import Any

from armcarry.errors import ArmcarryError, InputError
from armcarry.files.plain import plain
from armcarry.scenario import Scenario, _as_scenario

Row = dict[str, Any]


def sweep(
    scenario: Scenario | Path | str, over: Mapping[str, Sequence[Any]], *, workers: int | None = None
) -> list[Row]:
    """Rehearse a scenario with every combination of values, each judged by all checks.

        armcarry.sweep("pump_box_to_bay_7", {"base.station": ["10 m", "11 m"]})

    Args:
        scenario: what to begin with: a Scenario, a file or a name.
        over: path of a key -> the values it is to take, ``{"carries.0.moves.2.line.to[0]": ["-0.8 m", "-0.9 m"]}``.
        workers: processes; left out, one a core and no more than there are rows. A script that starts more than one
            needs its ``if __name__ == "__main__"``.

    Returns:
        A row for each combination, the last key varied first: the values by their path, ``verdict``, how many
        findings ``failed``, which ``checks`` they are of, ``duration_s``, ``tightest`` (its two bodies),
        ``lower_m`` and ``required_m`` of it, and ``error``, empty where it could be rehearsed.

    Raises:
        InputError: no such key; a key without values.
    """
    start = _as_scenario(scenario)
    for path, values in over.items():
        if not list(values):
            raise InputError(f"no values for {path}", accepted="one at least")
        start.at(path)
    rows = [dict(zip(over, values, strict=True)) for values in product(*over.values())]
    tasks = [(start.data, str(start.path.parent), plain(row)) for row in rows]
    count = min(workers or os.cpu_count() or 1, len(tasks))
    if count <= 1:
        return [_row(*task) for task in tasks]
    with ProcessPoolExecutor(count, mp_context=get_context("spawn")) as pool:
        return list(pool.map(_row, *zip(*tasks, strict=True)))


def _row(data: dict[str, Any], beside: str, changes: dict[str, Any]) -> Row:
    """Rehearse one combination; what cannot be rehearsed is a row too."""
    from armcarry.record.finding import Verdict
    from armcarry.rehearsal import judge

    blank = {"duration_s": None, "tightest": "", "lower_m": None, "required_m": None}
    try:
        record = Scenario(data, beside=beside).changed(changes).rehearse()
    except ArmcarryError as error:
        return {**changes, "verdict": "not_assessed", "failed": 0, "checks": [], **blank, "error": str(error)}
    findings = judge(record)
    failed = [finding for finding in findings if finding.verdict is Verdict.FAIL]
    row = record.tightest
    near: Row = {} if row is None else {
        "tightest": f"{row.body_a} to {row.body_b}", "lower_m": row.lower_m, "required_m": row.required_m,
    }  # fmt: skip
    return {
        **changes, "verdict": "fail" if failed else "pass", "failed": len(failed),
        "checks": sorted({finding.check for finding in failed}), **blank, "duration_s": record.duration_s, **near,
        "error": "",
    }  # fmt: skip
