"""A step that avoids, against a general solver of the same problem."""

import numpy as np
import pytest
from scipy.optimize import minimize

from armcarry.motion.avoid import avoiding_step


def problem(seed, count=6, rows=6, walls=12):
    rng = np.random.default_rng(seed)
    columns, error = rng.normal(size=(rows, count)), rng.normal(size=rows)
    gradient, room = rng.normal(size=(walls, count)), rng.uniform(0.0, 0.3, walls)
    return columns, error, gradient, room, np.full(count, -0.2), np.full(count, 0.2)


@pytest.mark.parametrize("seed", range(20))
def test_the_step_is_the_best_one_that_keeps_every_limit(seed):
    columns, error, gradient, room, low, high = problem(seed)
    step = avoiding_step(columns, error, gradient, room, low, high, damping=0.05)

    def cost(x):
        return np.sum((columns @ x - error) ** 2) + 0.05 * np.sum(x**2)

    best = minimize(
        cost, np.zeros(6), method="SLSQP", bounds=list(zip(low, high, strict=True)),
        constraints={"type": "ineq", "fun": lambda x: gradient @ x + room}, options={"ftol": 1e-12, "maxiter": 500},
    )  # fmt: skip
    assert best.success
    assert step == pytest.approx(best.x, abs=2e-5)
    assert np.all(gradient @ step >= -room - 1e-9)
    assert np.all((step >= low - 1e-9) & (step <= high + 1e-9))


def test_with_room_enough_it_is_damped_least_squares():
    columns, error, gradient, _, _, _ = problem(1)
    wide = np.full(6, 100.0)
    step = avoiding_step(columns, error, gradient, np.full(12, 100.0), -wide, wide, damping=0.1)
    assert step == pytest.approx(np.linalg.solve(columns.T @ columns + 0.1 * np.eye(6), columns.T @ error))


def test_it_backs_off_where_too_little_is_left():
    step = avoiding_step(
        np.eye(2), np.array([1.0, 0.0]), np.array([[-1.0, 0.0]]), np.array([-0.05]), -np.ones(2), np.ones(2)
    )
    assert step[0] == pytest.approx(-0.05)


def test_no_step_satisfies_walls_that_ask_for_opposite_ways():
    both = np.array([[1.0, 0.0], [-1.0, 0.0]])
    assert avoiding_step(np.eye(2), np.zeros(2), both, np.array([-0.1, -0.1]), -np.ones(2), np.ones(2)) is None
