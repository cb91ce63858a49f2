"""Runs a second of a campaign on the demo carry against the same runs over pinocchio and coal, sampled at 20 mm."""

import time

import numpy as np
import pytest

from armcarry.dispersion.engine import outcomes
from armcarry.dispersion.problem import make_problem, prove_runs
from armcarry.motion.forward import forward
from armcarry.rehearsal import rehearse

pytestmark = pytest.mark.bench
SCENARIO = "pump_box_to_bay_7.yaml"
#: the fastest link moves this far between samples, m
STEP_M = 0.02


def test_runs_a_second(pinocchio_engine):
    from armcarry.files.places import scenarios_folder

    record = rehearse(scenarios_folder() / SCENARIO)
    start = time.perf_counter()
    problem = make_problem(record)
    preparing_s = time.perf_counter() - start
    prove_runs(problem, 1, range(2))
    start, cpu = time.perf_counter(), time.process_time()
    prove_runs(problem, 1, range(20))
    one_s, one_cpu_s = (time.perf_counter() - start) / 20, (time.process_time() - cpu) / 20
    start = time.perf_counter()
    chunks = [range(first, first + 20) for first in range(0, 120, 20)]
    done = sum(len(part.runs) for part in outcomes(problem, 1, chunks, workers=2))
    two_s = (time.perf_counter() - start) / done
    all_s, near_s, samples = _peer(record, problem, pinocchio_engine)
    print(f"\narmcarry, 1 process: {one_s * 1e3:.0f} ms a run ({one_cpu_s * 1e3:.0f} ms of processor)")
    print(f"armcarry, 2 processes, start included: {two_s * 1e3:.0f} ms a run; preparing once {preparing_s:.1f} s")
    print(f"pinocchio+coal at {STEP_M * 1e3:.0f} mm, {samples} samples a run, 1 process, processor time")
    print(f"  all judged pairs: {all_s:.2f} s a run, ratio {all_s / one_cpu_s:.0f}")
    print(f"  only pairs that can come near in some draw: {near_s:.2f} s a run, ratio {near_s / one_cpu_s:.0f}")
    assert all_s > one_cpu_s


def _peer(record, problem, pinocchio_engine):
    """Return processor seconds a run over all judged pairs and over watched pairs, and the samples of a run."""
    from armcarry.timeline.pairs import judged_pairs

    all_s = near_s = 0.0
    samples = 0
    for number, phase in enumerate(record.phases):
        times = np.linspace(phase.start_s, phase.end_s, 4000)
        links = sorted({phase.tree.index(body.link) for body in phase.tree.bodies})
        places = forward(phase.tree, record.motion.at(times))[:, links][..., :3, 3]
        step = np.linalg.norm(np.diff(places, axis=0), axis=2).max(axis=1)
        count = int(np.ceil(step.sum() / STEP_M)) + 1
        pairs, _ = judged_pairs(record.scene, phase.tree, record.motion.between(phase.start_s, phase.end_s))
        near = np.concatenate([w.pairs for w in problem.windows if w.phase == number])
        all_s += count * _cost(pinocchio_engine(phase.tree, pairs), record.motion, times)
        near_s += count * _cost(pinocchio_engine(problem.trees[number], np.unique(near, axis=0)), record.motion, times)
        samples += count
    return all_s, near_s, samples


def _cost(engine, motion, times):
    """Return processor seconds of one sample, over 40 spread along the phase."""
    positions = motion.at(times[:: len(times) // 40])
    engine.measure(positions[0])
    start = time.process_time()
    for position in positions:
        engine.measure(position)
    return (time.process_time() - start) / len(positions)
