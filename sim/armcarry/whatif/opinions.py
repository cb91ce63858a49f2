"""Ask other engines about the tightest pairs of a run, each at its tightest instant, and about late stops."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from armcarry.clearance import distance
from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion, StopOpinion, engine_distance, present
from armcarry.record.record import PairRow, Record
from armcarry.whatif.flown_stop import fly_stops

#: metres; the stated distance is that of the instant to this
ROUNDING_M = 2e-6
#: pairs asked about, tightest first
PAIRS = 24


def with_opinions(record: Record) -> Record:
    """Return the record with what other engines say of its tightest pairs."""
    return replace(record, engines=ask_engines(record))


def ask_engines(record: Record) -> tuple[EngineAnswer, ...]:
    """Return every engine's answers; one that is not installed is reported as absent."""
    rows = _tightest(record)
    return tuple(
        EngineAnswer(engine, True, tuple(_ask(record, engine, row) for row in rows), _stops(record, engine))
        if present(engine)
        else EngineAnswer(engine, False)
        for engine in BANDS_M
    )


def _stops(record: Record, engine: str) -> tuple[StopOpinion, ...]:
    """Return what an engine that knows of masses makes of the longest run-outs."""
    return fly_stops(record) if engine == "pybullet" else ()


def _tightest(record: Record) -> list[PairRow]:
    rows = [row for row in record.table.near if row.required_m is not None and row.status in ("proven", "contact")]
    return sorted(rows, key=lambda row: (row.margin_m, row.upper_m))[:PAIRS]


def _ask(record: Record, engine: str, row: PairRow) -> Opinion:
    """Ask about the distance that the proof states for its instant, not about a new measurement of ours."""
    bodies = {body.name: k for k, body in enumerate(record.bodies)}
    a, b = bodies[row.body_a], bodies[row.body_b]
    T_a, T_b = _poses(record, row, a, b)
    theirs = engine_distance(engine)(record.bodies[a].shape, T_a, record.bodies[b].shape, T_b)
    stated = row.upper_m
    return Opinion(engine, row.body_a, row.body_b, row.time_s, theirs, max(stated - ROUNDING_M, 0.0), stated)


def _poses(record: Record, row: PairRow, a: int, b: int) -> tuple[np.ndarray, np.ndarray]:
    """Return T_world_body of both at the row's instant.

    Where something is attached or let go of at that very instant it counts twice: just before and from then on.
    The side is taken on which the bodies are as far apart as the proof states.
    """
    sides = [row.time_s, float(np.nextafter(row.time_s, -np.inf))]
    if all(row.time_s != phase.start_s for phase in record.phases[1:]):
        sides.pop()
    placed = [(world[a], world[b]) for world in record.body_poses(sides)]
    shape_a, shape_b = record.bodies[a].shape, record.bodies[b].shape
    return min(placed, key=lambda T: abs(max(distance(shape_a, T[0], shape_b, T[1]).upper_m, 0.0) - row.upper_m))
