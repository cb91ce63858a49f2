import itertools

import numpy as np
import pytest

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.motion.branches import choose_branches, line_cost, line_ends
from armcarry.motion.inverse import solutions


def cost_of(chain, sequence, start, margin_weight_s=20.0):
    total, before = 0.0, start
    for q in sequence:
        share = (chain.margins(q) / chain.half).min()
        total += (np.abs(q - before) / chain.velocity).max() + margin_weight_s * (1 / share - 1)
        before = q
    return total


def test_the_choice_is_the_best_of_all_sequences(chain, bent, rng):
    layers = [rng.uniform(-4, 4, (5, 7)) for _ in range(4)]
    chosen = choose_branches(chain, layers, bent, wind=False)
    best = min(itertools.product(*layers), key=lambda sequence: cost_of(chain, sequence, bent))
    np.testing.assert_array_equal(chosen, best)


def test_a_carry_keeps_its_margin_and_never_turns_about(chain, bent, rng):
    goals = [chain.forward(bent + rng.normal(0, 0.4, 7)) for _ in range(5)]
    candidates = [solutions(chain, goal) for goal in goals]
    chosen = choose_branches(chain, candidates, bent)
    for q, goal in zip(chosen, goals, strict=True):
        np.testing.assert_allclose(chain.forward(q), goal, atol=1e-8)
    assert chain.margins(np.array(chosen)).min() > 1.0
    greedy, before = [], bent
    for layer in candidates:
        before = layer[np.argmin(np.abs(layer - before).max(axis=1))]
        greedy.append(before)
    assert cost_of(chain, chosen, bent) <= cost_of(chain, greedy, bent) + 1e-9


def test_whole_turns_are_used_where_they_save_a_turn_back(chain, bent):
    start = bent.copy()
    start[6] = 4.0
    goal = chain.forward(start + 0.05)
    listed = solutions(chain, goal)
    near = choose_branches(chain, [listed], start, margin_weight_s=0.0)[0]
    assert abs(near[6] - start[6]) < 1.0
    without = choose_branches(chain, [listed], start, margin_weight_s=0.0, wind=False)[0]
    times = [(np.abs(q - start) / chain.velocity).max() for q in (near, without)]
    assert times[0] < 0.7 * times[1]


def test_straight_lines_join_only_their_own_ends(chain, bent):
    start_pose = chain.forward(bent)
    found = solutions(chain, start_pose)
    goal = start_pose[:3, 3] + (0.4, 0.6, 0.2)
    starts, ends = line_ends(chain, found, goal)
    assert 1 <= len(starts) <= len(found)
    np.testing.assert_allclose(chain.forward(ends)[:, :3, 3], np.tile(goal, (len(ends), 1)), atol=1e-8)
    chosen = choose_branches(
        chain, [found, ends], bent, legs=[None, line_cost(starts, ends, chain.velocity)], wind=False
    )
    row = np.flatnonzero(np.abs(starts - chosen[0]).max(axis=1) < 1e-9)[0]
    np.testing.assert_array_equal(ends[row], chosen[1])
    none, _ = line_ends(chain, found[:2], poses.translation((60.0, 0, 0)))
    assert none.shape == (0, 7)


def test_what_cannot_be_joined_is_told(chain, bent):
    layer = bent[None] + 0.1
    with pytest.raises(MotionError, match="waypoint 2 has no candidate with a joint margin of 0 rad or m"):
        choose_branches(chain, [layer, np.empty((0, 7))], bent)
    with pytest.raises(MotionError, match=r"waypoint 1 has no candidate with a joint margin of 4\.5 rad or m"):
        choose_branches(chain, [layer], bent, least_margin=4.5)
    never = line_cost(layer + 1, layer, chain.velocity)
    with pytest.raises(MotionError, match="no way of taking waypoint 1 can be joined to one of the waypoint before it"):
        choose_branches(chain, [layer], bent, legs=[never])
