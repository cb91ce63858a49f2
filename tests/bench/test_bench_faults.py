"""Runaway joints and late stops of the demo carry: proven for every instant and rate, against a sampled sweep.

The peer samples: an instant a second while the arm moves and one a hold, each joint either way at its worst rate
only, positions at most 2 mm of the farthest point apart from the fault to rest, coal asked at each about the pairs
that ours is asked about. What lies between instants, and every lower rate, it leaves open; no proof comes of it.
Its cost is that of one configuration (a subset is timed, results are not read out) times their number.
"""

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance.spheres import joint_levers_m
from armcarry.rehearsal import rehearse
from armcarry.whatif.faults import sides, worst_excursion
from armcarry.whatif.late_stop import run_outs
from armcarry.whatif.runaway_joint import runaways

pytestmark = pytest.mark.bench
STEP_M = 2e-3


def fastest(call, times):
    seconds = []
    for _ in range(times):
        start = time.perf_counter()
        call()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def sampled(side, pinocchio_engine):
    """Return the number of configurations of the peer in one phase, and the seconds that one costs."""
    motion = side.record.motion.between(side.phase.start_s, side.phase.end_s)
    times = np.arange(motion.start_s, motion.end_s, 1.0)
    moves = np.abs(motion.at(times, 1)).max(axis=1) > 0
    instants = int(moves.sum() + np.sum(np.diff(moves.astype(int)) < 0) + 1)
    travel = np.abs(side.record.motion.extremes()).max(axis=0)
    levers = joint_levers_m(side.phase.tree, travel)[:, side.record.scene.arm_columns]
    way = worst_excursion(side, np.array([True]))[0] * levers.max(axis=0)
    engine = pinocchio_engine(side.phase.tree, side.pairs, tolerance=1e-6)
    q = motion.at(np.linspace(motion.start_s, motion.end_s, 60))
    cost = fastest(lambda: [engine.measure(row) for row in q], 2) / len(q)
    return instants * int(np.ceil(2 * way / STEP_M).sum()), cost


def test_faults_of_the_demo_carry(capsys, pinocchio_engine):
    record = rehearse(Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml")
    again = lambda: replace(record)  # noqa: E731 - the same run with nothing worked out yet
    runaways(again())
    run_outs(again())
    fault, stop = fastest(lambda: runaways(again()), 3), fastest(lambda: run_outs(again()), 3)
    parts = [sampled(side, pinocchio_engine) for side in sides(record)]
    count, peer = sum(n for n, _ in parts), sum(n * cost for n, cost in parts)
    pairs = sum(len(side.pairs) for side in sides(record))
    found = runaways(record)
    cells = sum(len(part.leaves.start_s) for part in found.parts)
    with capsys.disabled():
        print(f"\n  demo carry of {record.duration_s:.0f} s, {pairs} pairs near enough, {len(found.faults)} faults")
        print(f"  runaway joints, every instant and rate   {fault:8.2f} s, {cells} proven cells of time and fault")
        print(f"  late stops, every instant                {stop:8.2f} s")
        print(f"  pinocchio + coal, {count} samples   {peer:8.1f} s {peer / fault:8.0f} x the runaways")
    assert fault < 5.0
    assert peer / fault > 20.0
