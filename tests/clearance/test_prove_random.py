"""Random scenes against brute force by pinocchio and coal: not one unsound bound, no gap above the tolerance."""

import numpy as np
import pytest

from armcarry.clearance import prove_clearance

#: fastest point between two samples, metres: the sampled least distance is then true to 0.1 mm
STEP_M = 2e-4
#: how far coal may be off at its tolerance of 1e-9, metres (below our own padding of 1e-6)
COAL_M = 1e-7


def brute_force(engine, motion):
    """Return sampled times and distances (N, P), denser where the joints move."""
    fine = np.linspace(motion.start_s, motion.end_s, 2001)
    # no point of these scenes is farther than 3 m from any axis
    travel = np.concatenate([[0.0], np.cumsum(3.0 * np.abs(np.diff(motion.at(fine), axis=0)).sum(axis=1))])
    count = int(min(max(travel[-1] / STEP_M, 200), 9000))
    times = np.interp(np.linspace(0.0, travel[-1], count), travel, fine)
    return times, np.array([engine.distances(q) for q in motion.at(times)])


@pytest.mark.parametrize("block", range(10))
def test_no_bound_is_unsound_and_no_gap_above_the_tolerance(block, scene_of, pinocchio_engine):
    seen = {"proven": 0, "farther": 0, "contact": 0}
    for seed in range(20 * block, 20 * block + 20):
        tree, motion, pairs = scene_of(
            seed, joints=1 + seed % 6, degree=1 + seed % 8, pieces=1 + seed % 5, moving=2 + seed % 2, still=2,
            travel=0.06,
        )
        if not len(pairs):
            continue
        report_m = (np.inf, 3.0, 1.0)[seed % 3]
        bounds = prove_clearance(tree, motion, pairs, report_distance_m=report_m)
        engine = pinocchio_engine(tree, pairs)
        times, sampled = brute_force(engine, motion)
        least = sampled.min(axis=0)
        assert "unresolved" not in bounds.status
        for k, status in enumerate(bounds.status):
            seen[status] += 1
            where = (seed, k, status)
            if status == "contact":
                start, end = bounds.contact_s[k]
                assert engine.distances(motion.at(bounds.time_s[k]))[k] < 1e-5, where
                assert start <= end, where
                assert np.all(sampled[times < start, k] > 0.0), where
                continue
            assert bounds.lower_m[k] <= least[k] + COAL_M, where
            if status == "farther":
                assert bounds.lower_m[k] >= report_m, where
                continue
            assert bounds.upper_m[k] - bounds.lower_m[k] <= 1e-3, where
            assert bounds.upper_m[k] == pytest.approx(
                engine.distances(motion.at(bounds.time_s[k]))[k], abs=2e-6
            ), where
            witness = np.linalg.norm(bounds.point_a[k] - bounds.point_b[k])
            assert witness == pytest.approx(bounds.upper_m[k], abs=2e-6), where
    assert seen["proven"] > 20
