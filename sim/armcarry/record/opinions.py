"""Ask other engines about the tightest pairs of a run, each at its tightest instant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armcarry.clearance import distance
from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion, engine_distance, present
from armcarry.record.record import PairRow, Record

#: pairs asked about, tightest first
PAIRS = 24


def with_opinions(record: Record) -> Record:
    """Return the record with what other engines say of its tightest pairs."""
    return replace(record, engines=ask_engines(record))


def ask_engines(record: Record) -> tuple[EngineAnswer, ...]:
    """Return every engine's answers; one that is not installed is reported as absent."""
    rows = _tightest(record)
    return tuple(
        EngineAnswer(engine, True, tuple(_ask(record, engine, row) for row in rows))
        if present(engine)
        else EngineAnswer(engine, False)
        for engine in BANDS_M
    )


def _tightest(record: Record) -> list[PairRow]:
    rows = [row for row in record.pairs if row.required_m is not None and row.status in ("proven", "contact")]
    return sorted(rows, key=lambda row: (row.margin_m, row.upper_m))[:PAIRS]


def _ask(record: Record, engine: str, row: PairRow) -> Opinion:
    bodies = {body.name: k for k, body in enumerate(record.bodies)}
    a, b = bodies[row.body_a], bodies[row.body_b]
    T_a, T_b = _poses(record, row, a, b)
    shape_a, shape_b = record.bodies[a].shape, record.bodies[b].shape
    ours = distance(shape_a, T_a, shape_b, T_b)
    theirs = engine_distance(engine)(shape_a, T_a, shape_b, T_b)
    return Opinion(
        engine, row.body_a, row.body_b, row.time_s, theirs, max(ours.lower_m, 0.0), max(ours.upper_m, 0.0)
    )


def _poses(record: Record, row: PairRow, a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    """Return T_world_body of both at the row's instant, just before a switch where the window ends in one."""
    moment = row.time_s if row.time_s < row.end_s else np.nextafter(row.time_s, -np.inf)
    world = record.body_poses(moment)[0]
    return world[a], world[b]
