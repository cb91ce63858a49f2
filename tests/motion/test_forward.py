import numpy as np
import pytest

from armcarry.errors import FrameError, MotionError
from armcarry.geometry import poses
from armcarry.motion.forward import forward
from armcarry.motion.sweep import z_onto


def by_multiplying(tree, q):
    """Every link by plain products of 4x4 poses, one joint vector at a time."""
    result = []
    for row in range(len(tree.links)):
        if tree.parents[row] < 0:
            result.append(tree.origins[row])
            continue
        pose = result[tree.parents[row]] @ tree.origins[row]
        value = q[tree.columns[row]] if tree.columns[row] >= 0 else 0.0
        if tree.kinds[row] == 1:
            pose = pose @ poses.rotation_about(tree.axes[row], value)
        elif tree.kinds[row] == 2:
            pose = pose @ poses.translation(tree.axes[row] * value)
        result.append(pose)
    return np.array(result)


def test_every_link_agrees_with_plain_products(trial_tree, rng):
    q = rng.uniform(-4.7, 4.7, (40, len(trial_tree.joints)))
    got = forward(trial_tree, q)
    for row, expected in zip(got, (by_multiplying(trial_tree, one) for one in q), strict=True):
        np.testing.assert_allclose(row, expected, atol=1e-13)


def test_batch_shape_is_kept_and_one_vector_is_the_same_as_in_a_batch(trial_tree, rng):
    q = rng.uniform(-1, 1, (3, 5, len(trial_tree.joints)))
    got = forward(trial_tree, q)
    assert got.shape == (3, 5, len(trial_tree.links), 4, 4)
    np.testing.assert_allclose(forward(trial_tree, q[2, 4]), got[2, 4], atol=1e-14)


def test_chosen_links_come_in_the_order_asked(trial_tree):
    q = np.full(len(trial_tree.joints), 0.4)
    everything = forward(trial_tree, q)
    some = forward(trial_tree, q, ["arm/tip", "trolley/camera", "world"])
    rows = [trial_tree.index(link) for link in ("arm/tip", "trolley/camera", "world")]
    np.testing.assert_array_equal(some, everything[rows])


def test_wrong_sizes_and_names_are_told(trial_tree):
    with pytest.raises(MotionError, match=r"a joint vector of shape \(3,\) does not hold 9 joints"):
        forward(trial_tree, np.zeros(3))
    with pytest.raises(FrameError, match=r"no frame named 'arm/tipp'; did you mean 'arm/tip'\?"):
        forward(trial_tree, np.zeros(9), ["arm/tipp"])


@pytest.mark.parametrize("axis", [*np.eye(3), *-np.eye(3), [0.6, 0.0, 0.8], [1 / 3, -2 / 3, 2 / 3]])
def test_z_is_turned_onto_any_axis(axis):
    turn = z_onto(np.array(axis, float))
    np.testing.assert_allclose(turn[:3, 2], axis, atol=1e-15)
    np.testing.assert_allclose(turn[:3, :3] @ turn[:3, :3].T, np.eye(3), atol=1e-15)
    assert np.linalg.det(turn[:3, :3]) == pytest.approx(1.0)


def test_a_few_vectors_and_many_give_the_same(trial_tree):
    q = np.random.default_rng(5).uniform(-2.0, 2.0, (60, 9))
    every = forward(trial_tree, q)
    in_threes = np.concatenate([forward(trial_tree, some) for some in q.reshape(20, 3, 9)])
    np.testing.assert_allclose(in_threes, every, atol=1e-13)
    for link in trial_tree.links:  # whatever hangs between it and the world, and nothing else
        np.testing.assert_allclose(forward(trial_tree, q, [link])[:, 0], every[:, trial_tree.index(link)], atol=1e-13)
