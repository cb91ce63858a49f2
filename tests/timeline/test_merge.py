"""Merged motions against the parts they are made of."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.errors import MotionError
from armcarry.motion.curve import Motion
from armcarry.timeline.merge import Jump, Part, merge, stretched

NAMES = ("a", "b", "c", "d")


def part(rng, columns, start, pieces, degree=3):
    breaks = start + np.concatenate([[0.0], np.cumsum(rng.uniform(0.5, 3.0, pieces))])
    table = rng.normal(size=(pieces, degree, len(columns)))
    return Part(Motion(tuple(NAMES[c] for c in columns), breaks, table), np.array(columns))


def expected(time, position, parts, jumps):
    q = np.array(position, float)
    events = [(j.time_s, 0, j) for j in jumps] + [(p.motion.start_s, 1, p) for p in parts]
    for at, kind, thing in sorted(events, key=lambda e: e[:2]):
        if at > time:
            break
        if kind == 0:
            q[thing.columns] = thing.values
        else:
            over = time >= thing.motion.end_s
            q[thing.columns] = thing.motion.at(min(time, thing.motion.end_s), side="left" if over else "right")
    return q


@given(st.integers(0, 10_000))
@settings(max_examples=60, deadline=None)
def test_a_merged_motion_is_its_parts(seed):
    rng = np.random.default_rng(seed)
    parts, jumps, busy = [], [], np.zeros(4)
    for _ in range(rng.integers(1, 7)):
        columns = rng.choice(4, size=rng.integers(1, 3), replace=False)
        start = busy[columns].max() + rng.choice([0.0, rng.uniform(0, 2)])
        if rng.random() < 0.3:
            jumps.append(Jump(start, columns, rng.normal(size=len(columns))))
            busy[columns] = start + 0.01
        else:
            parts.append(part(rng, columns, start, rng.integers(1, 4)))
            busy[columns] = parts[-1].motion.end_s
    end = busy.max() + 1.0
    position = rng.normal(size=4)
    merged = merge(NAMES, position, parts, jumps, end)
    assert (merged.start_s, merged.end_s, merged.joints) == (0.0, end, NAMES)
    for time in rng.uniform(0, end, 40):
        assert np.allclose(merged.at(time), expected(time, position, parts, jumps), atol=1e-9)
        for order in (1, 2):
            live = [p for p in parts if p.motion.start_s < time < p.motion.end_s]
            rates = np.zeros(4)
            for p in live:
                rates[p.columns] = p.motion.at(time, order)
            assert np.allclose(merged.at(time, order), rates, atol=1e-9)


def test_nothing_moves_without_parts():
    merged = merge(NAMES, [1, 2, 3, 4], [], [Jump(2.0, np.array([1]), np.array([7.0]))], 5.0)
    assert np.array_equal(merged.at([0.0, 1.99, 2.0, 5.0])[:, 1], [2, 2, 7, 7])


def test_two_parts_on_one_joint_are_refused():
    rng = np.random.default_rng(0)
    one, two = part(rng, [0], 0.0, 2), part(rng, [0, 1], 0.4, 2)
    with pytest.raises(MotionError, match=r"joint 'a' is to do two things at 0\.4 s"):
        merge(NAMES, np.zeros(4), [one, two], [], 20.0)


def test_a_motion_is_quickened_only_if_it_must():
    motion = part(np.random.default_rng(1), [0], 0.0, 3).motion
    own = stretched(motion, 10.0, 1e3)
    assert np.allclose(own.at(10.0 + np.linspace(0, 1, 9)), motion.at(np.linspace(0, 1, 9)))
    quick = stretched(motion, 10.0, motion.duration_s / 4)
    assert quick.duration_s == pytest.approx(motion.duration_s / 4)
    share = np.linspace(0, 0.999, 50)
    assert np.allclose(quick.at(10.0 + share * quick.duration_s), motion.at(share * motion.duration_s), atol=1e-9)
    with pytest.raises(MotionError, match="a motion needs some time"):
        stretched(motion, 0.0, 0.0)
