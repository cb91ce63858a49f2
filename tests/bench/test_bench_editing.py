"""How soon a change of the demo carry is answered and all behind it proven, as a share of a fresh rehearsal."""

from __future__ import annotations

import time

import numpy as np
import pytest

from armcarry.editing import Session
from armcarry.rehearsal import rehearse
from long_carry import long_carry


@pytest.mark.bench
def test_a_change_is_answered_in_a_sixth_and_all_proven_in_nearly_the_time_of_a_fresh_rehearsal(tmp_path, capsys):
    path = tmp_path / "carry.yaml"
    path.write_text(long_carry(), encoding="utf-8")
    session, draw = Session(path, at_once=1), np.random.default_rng(3)
    lines = [at for at in session.moves if session.kind(at) == "line"]
    took, whole, planned = [], [], []
    for count in range(60):
        at = lines[draw.integers(len(lines))]
        start = time.process_time()
        if count % 3 == 2:
            session.option(at, "rate", float(draw.choice([0.5, 0.6, 0.8])))
        else:
            session.shift(at, draw.normal(0, 0.02, 3))
        took.append(1e3 * (time.process_time() - start))
        while session.answer.left:
            session.go_on()
        whole.append(1e3 * (time.process_time() - start))
        planned.append(session.answer.planned)
    path.write_text(session.script.written(), encoding="utf-8")
    fresh = []
    for _ in range(3):
        start = time.process_time()
        rehearse(path)
        fresh.append(1e3 * (time.process_time() - start))
    half, most = np.percentile(took[5:], [50, 95])
    proven = np.percentile(whole[5:], [50, 95])
    with capsys.disabled():
        moves = f"{np.mean(planned):.1f} of {len(session.moves)} moves planned"
        print(f"\nan answer: p50 {half:.0f} ms, p95 {most:.0f} ms of processor time; "
              f"all proven: p50 {proven[0]:.0f} ms, p95 {proven[1]:.0f} ms; {moves}; "
              f"a fresh rehearsal {np.median(fresh):.0f} ms: {most / np.median(fresh):.2f}")
    # these were a tenth and a half while provers kept more memory: a fresh rehearsal took 1.4 times as long then
    assert most < np.median(fresh) / 6
    assert proven[1] < np.median(fresh)
