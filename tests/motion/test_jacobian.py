"""The Jacobian is the derivative of the pose, as is its own; measures of singularity vanish where they must."""

import numpy as np
import pytest

from arm_tables import DhRow, from_dh
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import solve
from armcarry.motion.jacobian import (
    hessian_of,
    jacobian,
    singular_values,
    smallest_singular_value,
)
from armcarry.scene.tree import Tree
from measures import manipulability

TOOL = poses.from_xyz_rpy((0.2, -0.1, 0.9), (0.1, 0.5, -0.3))


def by_differences(chain, q, step=1e-6):
    columns = []
    for k in range(chain.size):
        push = np.zeros(chain.size)
        push[k] = step
        after, before = chain.forward(q + push, TOOL), chain.forward(q - push, TOOL)
        turn = poses.rotation_vector(after @ poses.inverse(before))
        columns.append(np.concatenate([after[:3, 3] - before[:3, 3], turn]) / (2 * step))
    return np.array(columns).T


def places(chain, rng):
    """Uniform joint vectors, near-singular ones (wrist or elbow nearly straight) and ones at the ends of travel."""
    low, high = chain.limits.T
    uniform = rng.uniform(low, high, (15, chain.size))
    singular = rng.uniform(low, high, (15, chain.size)) * (rng.uniform(size=(15, chain.size)) > 0.6) + 1e-7
    ends = np.where(rng.uniform(size=(15, chain.size)) > 0.5, low, high)
    return np.concatenate([uniform, singular, ends])


@pytest.mark.parametrize("tip", ["arm/tip", "arm/shoulder_pitch_link"])
def test_the_jacobian_is_the_derivative_of_the_pose(trial_tree, tip, rng):
    chain = Chain.of(trial_tree, "world", tip)
    for q in places(chain, rng):
        np.testing.assert_allclose(jacobian(chain, q, TOOL), by_differences(chain, q), atol=2e-8)


def test_the_hessian_is_the_derivative_of_the_jacobian(trial_tree, rng):
    chain = Chain.of(trial_tree, "world", "arm/tip")
    for q in places(chain, rng)[::3]:
        got = hessian_of(jacobian(chain, q, TOOL))
        for k in range(chain.size):
            push = np.zeros(chain.size)
            push[k] = 1e-6
            slope = (jacobian(chain, q + push, TOOL) - jacobian(chain, q - push, TOOL)) / 2e-6
            np.testing.assert_allclose(got[:, :, k], slope, atol=2e-8)


def test_batches_equal_single_calls(chain, rng):
    q = rng.uniform(-4, 4, (3, 4, 7))
    assert jacobian(chain, q).shape == (3, 4, 6, 7)
    np.testing.assert_allclose(jacobian(chain, q)[1, 2], jacobian(chain, q[1, 2]), atol=1e-14)


def test_manipulability_is_the_product_of_the_singular_values(chain, rng):
    q = rng.uniform(-4, 4, (50, 7))
    unscaled = singular_values(chain, q, length_m=1.0)
    np.testing.assert_allclose(manipulability(chain, q), unscaled.prod(axis=1), rtol=1e-9, atol=1e-9)
    for rows, part in (("translation", slice(0, 3)), ("rotation", slice(3, 6))):
        values = np.linalg.svd(jacobian(chain, q)[:, part], compute_uv=False)
        np.testing.assert_allclose(manipulability(chain, q, rows=rows), values.prod(axis=1), rtol=1e-9)


def test_the_smallest_singular_value_vanishes_where_a_direction_is_lost(chain, bent):
    quarter = np.pi / 2
    wrist = from_dh(
        [DhRow(0, 0.7, quarter), DhRow(0.43, 0, 0), DhRow(0.02, 0.15, -quarter), DhRow(0, 0.43, quarter),
         DhRow(0, 0, -quarter), DhRow(0, 0, 0)]
    )
    arm = Chain.of(Tree().place("arm", wrist), "world", "arm/flange")
    # axes 4 and 6 in line: their rates cancel, exactly
    assert smallest_singular_value(arm, [0.1, 0.8, -1.1, 0.4, 0.0, 0.3]) < 1e-15
    near = [float(smallest_singular_value(arm, [0.1, 0.8, -1.1, 0.4, x, 0.3])) for x in (1e-4, 2e-4)]
    assert near[1] / near[0] == pytest.approx(2.0, rel=1e-3)
    assert smallest_singular_value(chain, bent) > 0.1


def test_the_characteristic_length_is_the_reach_unless_given(chain, bent):
    scaled = jacobian(chain, bent)
    scaled[:3] /= chain.reach_m
    expected = np.linalg.svd(scaled, compute_uv=False)
    np.testing.assert_allclose(singular_values(chain, bent), expected, rtol=1e-12)
    np.testing.assert_allclose(singular_values(chain, bent, length_m=chain.reach_m), expected, rtol=1e-12)


def test_motion_in_the_null_space_leaves_the_tip_where_it_is(chain, bent):
    goal = chain.forward(bent)
    q = bent.copy()
    for _ in range(40):
        spare = np.linalg.svd(jacobian(chain, q))[2][-1]
        spare *= np.sign(spare[3])  # keep going the same way
        moved = q + 0.02 * spare
        # the first-order error of the null direction is quadratic in the step
        assert np.linalg.norm(chain.forward(moved)[:3, 3] - goal[:3, 3]) < 0.05
        q = solve(chain, goal, moved[None]).q[0]
        np.testing.assert_allclose(chain.forward(q), goal, atol=1e-8)
    assert np.abs(q - bent).max() > 0.2
