"""Holds what a session answers to a fresh rehearsal of its script."""

import numpy as np
import pytest

from armcarry.proving.pieces import LOOK_M
from armcarry.rehearsal import rehearse

#: two proofs of one distance, each between bounds this far apart, m
TOLERANCE_M = 1e-3


def same_as_fresh(session, path):
    """Hold the answer of a session to a fresh rehearsal of its script."""
    path.write_text(session.script.written(), encoding="utf-8")
    fresh, mine = rehearse(path), session.answer.record
    assert [(m.carry, m.number, m.name, m.kind) for m in mine.moves] == [
        (m.carry, m.number, m.name, m.kind) for m in fresh.moves
    ]
    assert mine.duration_s == pytest.approx(fresh.duration_s, abs=1e-6)
    times = np.linspace(0.0, fresh.duration_s, 400)
    np.testing.assert_allclose(mine.motion.at(times), fresh.motion.at(times), rtol=0, atol=1e-7)
    assert [short.title for short in mine.shortfalls] == [short.title for short in fresh.shortfalls]
    key = lambda row: (row.body_a, row.body_b, row.required_m, row.why)  # noqa: E731
    told, known = {}, {}
    for row in mine.pairs:
        told[key(row)] = min(row.lower_m, told.get(key(row), np.inf))
    for row in fresh.pairs:
        if row.required_m is not None or row.status == "contact":
            known[key(row)] = min(row.lower_m, known.get(key(row), np.inf))
    assert told.keys() <= known.keys()
    for pair, lower in known.items():
        if pair in told:
            assert told[pair] == pytest.approx(lower, abs=TOLERANCE_M), pair
        else:
            assert lower > (pair[2] or 0.0) + LOOK_M - TOLERANCE_M, f"{pair} comes near and was not looked at"
