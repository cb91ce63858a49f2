"""Free width across the way: between walls, in a triangle, and against a fine search over centres."""

import numpy as np
import pytest

from armcarry.clearance.passage import free_width_m

AHEAD = np.array([1.0, 0.0, 0.0])


@pytest.mark.parametrize("shift", [0.0, 0.2, -0.35])
@pytest.mark.parametrize("angle", [0.0, 0.7, 2.0])
def test_between_parallel_walls_it_is_their_distance_wherever_the_body_is(shift, angle):
    side = np.array([0.0, np.cos(angle), np.sin(angle)])
    centre = np.array([5.0, -2.0, 1.0])
    points = [centre + (0.6 - shift) * side, centre - (0.5 + shift) * side + 0.3 * AHEAD]
    assert free_width_m([side, -side], points, 3.0 * AHEAD, centre, 1.2) == pytest.approx(1.1, abs=1e-9)


def test_beside_one_wall_alone_there_is_room():
    assert free_width_m([[0, 1, 0]], [[0, 0.3, 0]], AHEAD, np.zeros(3), 1.1) >= 1.1
    assert free_width_m(np.zeros((0, 3)), np.zeros((0, 3)), AHEAD, np.zeros(3), 1.1) == 2.2


def test_three_rails_around_leave_the_circle_that_touches_all_three():
    turns = np.radians([90.0, 210.0, 330.0])
    normals = np.stack([np.zeros(3), np.cos(turns), np.sin(turns)], axis=1)
    centre = np.array([0.0, 0.1, -0.05])
    assert free_width_m(normals, 0.45 * normals, AHEAD, centre, 1.1) == pytest.approx(0.9, abs=1e-9)


def test_walls_ahead_and_behind_do_not_narrow_the_way():
    normals = np.array([[1.0, 0.2, 0.0], [-1.0, 0.0, 0.3]])
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    assert free_width_m(normals, 0.1 * normals, AHEAD, np.zeros(3), 1.1) == 2.2
    # the same two walls are beside a body that travels across
    assert free_width_m(normals, 0.1 * normals, [0, 1, 0], np.zeros(3), 1.1) < 0.5


def test_walls_that_leave_nothing_leave_zero():
    assert free_width_m([[0, 1, 0], [0, -1, 0]], [[0, -0.2, 0], [0, 0.2, 0]], AHEAD, np.zeros(3), 1.1) == 0.0


def test_the_widest_circle_is_that_of_a_fine_search():
    rng = np.random.default_rng(11)
    steps = np.linspace(-0.5, 0.5, 401)
    grid = np.stack(np.meshgrid(steps, steps, indexing="ij"), axis=-1).reshape(-1, 2)
    for _ in range(25):
        turns = rng.uniform(0, 2 * np.pi, rng.integers(2, 9))
        flat = np.stack([np.cos(turns), np.sin(turns)], axis=1)
        offsets = rng.uniform(0.1, 0.9, len(turns))
        normals = np.column_stack([np.zeros(len(turns)), flat])
        searched = 2 * min((offsets - grid @ flat.T).min(axis=1).max(), 1.0)
        found = free_width_m(normals, offsets[:, None] * normals, AHEAD, np.zeros(3), 1.0)
        # the search may miss the best centre by half a cell's diagonal
        assert searched - 1e-9 <= found <= searched + 2 * 0.0025 * 0.7072
