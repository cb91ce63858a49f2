"""Laws of poses, sampled evenly and close to the singular places: no turn, half a turn, pitch of a quarter turn."""

import math

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from armcarry.geometry import poses

#: angles from the singular places 0, pi/2 and pi at which the laws must hold as well
NEAR = [0.0, 1e-300, 1e-16, 1e-13, 1e-12, 1e-10, 1e-8, 1e-6, 1e-4, 1e-2]


def _axes(count=40, seed=5):
    generator = np.random.default_rng(seed)
    vectors = generator.normal(size=(count, 3))
    basis = np.concatenate([np.eye(3), -np.eye(3), [[1, 1, 0], [1, 1, 1], [1e-9, 0, 1], [0, 1, 1e-12]]])
    vectors = np.concatenate([vectors, basis])
    return vectors / np.linalg.norm(vectors, axis=1, keepdims=True)


def _angles():
    generator = np.random.default_rng(6)
    special = [base + sign * near for base in (0.0, math.pi / 2, math.pi) for near in NEAR for sign in (-1, 1)]
    return np.concatenate([generator.uniform(-math.pi, math.pi, 60), special])


def _poses():
    """Every axis with every angle and some position: shape (axes, angles, 4, 4)."""
    angles = _angles()
    turns = np.stack([poses.rotation_about(axis, angles) for axis in _axes()])
    turns[..., :3, 3] = np.random.default_rng(7).uniform(-20, 20, (*turns.shape[:2], 3))
    return turns


def _is_turn(pose, atol=2e-15):
    r = pose[..., :3, :3]
    assert np.allclose(r @ np.swapaxes(r, -1, -2), np.eye(3), rtol=0, atol=atol)
    assert np.allclose(np.linalg.det(r), 1.0, rtol=0, atol=4 * atol)
    assert np.array_equal(pose[..., 3, :], np.broadcast_to([0.0, 0.0, 0.0, 1.0], (*pose.shape[:-2], 4)))


def test_identity_and_translation():
    assert np.array_equal(poses.identity(), np.eye(4))
    assert poses.identity(2, 3).shape == (2, 3, 4, 4)
    moved = poses.translation([[1.0, 2.0, 3.0], [4.0, 5.0, 6.0]])
    assert np.array_equal(moved[:, :3, 3], [[1, 2, 3], [4, 5, 6]])
    assert np.array_equal(moved[:, :3, :3], np.broadcast_to(np.eye(3), (2, 3, 3)))
    first, second = poses.identity(2)
    first[0, 0] = 5.0
    assert second[0, 0] == 1.0  # no shared memory


def test_turns_are_turns_and_those_of_scipy():
    turns = _poses()
    _is_turn(turns)
    vectors = _axes()[:, None, :] * _angles()[None, :, None]
    other = Rotation.from_rotvec(vectors.reshape(-1, 3)).as_matrix().reshape(*turns.shape[:2], 3, 3)
    assert np.allclose(turns[..., :3, :3], other, rtol=0, atol=4e-16 * 4)


def test_a_quarter_turn_about_z_takes_x_to_y():
    # right-handed, REP 103
    turn = poses.rotation_about((0, 0, 1), math.pi / 2)
    assert np.allclose(poses.apply(turn, [1.0, 0.0, 0.0]), [0.0, 1.0, 0.0], rtol=0, atol=1e-16)


def test_turns_about_one_axis_add_up():
    first, second = 0.7, 1.9
    for axis in _axes(5):
        both = poses.rotation_about(axis, first) @ poses.rotation_about(axis, second)
        assert np.allclose(both, poses.rotation_about(axis, first + second), rtol=0, atol=1e-15)


def test_the_inverse_undoes():
    turns = _poses()
    assert np.allclose(turns @ poses.inverse(turns), np.eye(4), rtol=0, atol=5e-14)
    # positions up to 35 m from the origin, so rounding is some 1e-14 m
    assert np.allclose(poses.inverse(turns) @ turns, np.eye(4), rtol=0, atol=5e-14)
    assert np.allclose(poses.inverse(poses.inverse(turns)), turns, rtol=0, atol=5e-14)


def test_apply_broadcasts_points_over_poses():
    turns = _poses()[:3, :4]
    points = np.random.default_rng(8).normal(size=(3, 4, 3))
    expected = np.einsum("abij,abj->abi", turns, np.concatenate([points, np.ones((3, 4, 1))], axis=-1))[..., :3]
    assert np.allclose(poses.apply(turns, points), expected, rtol=0, atol=1e-14)
    one = poses.apply(turns[0, 0], points)
    assert np.allclose(one[1, 2], turns[0, 0, :3, :3] @ points[1, 2] + turns[0, 0, :3, 3], rtol=0, atol=1e-14)
    assert np.array_equal(poses.apply(turns, np.zeros(3)), turns[..., :3, 3])


def test_roll_pitch_yaw_is_about_fixed_axes_in_this_order():
    # REP 103; scipy's small letters are extrinsic (fixed) axes
    generator = np.random.default_rng(9)
    for roll, pitch, yaw in generator.uniform(-3, 3, (50, 3)):
        pose = poses.from_xyz_rpy((1, 2, 3), (roll, pitch, yaw))
        other = Rotation.from_euler("xyz", [roll, pitch, yaw]).as_matrix()
        assert np.allclose(pose[:3, :3], other, rtol=0, atol=1e-15)
        assert np.array_equal(pose[:3, 3], [1.0, 2.0, 3.0])


def test_roll_pitch_yaw_gives_the_turn_back_also_at_a_pitch_of_a_quarter_turn():
    generator = np.random.default_rng(10)
    for near in NEAR:
        for sign_pitch in (-1, 1):
            for sign_near in (-1, 1):
                for roll, yaw in generator.uniform(-math.pi, math.pi, (10, 2)):
                    angles = (roll, sign_pitch * math.pi / 2 + sign_near * near, yaw)
                    other = poses.from_quaternion_wxyz(generator.normal(size=4))
                    # through another turn and back, so that every entry carries rounding
                    pose = other @ (poses.inverse(other) @ poses.from_xyz_rpy((0, 0, 0), angles))
                    found = poses.rpy(pose)
                    again = poses.from_xyz_rpy((0, 0, 0), found)
                    # the yaw that is set to zero costs up to 1e-12, all else only rounding
                    assert np.allclose(again, pose, rtol=0, atol=2e-12), (angles, found)
                    if near > 1e-11:
                        assert np.allclose(again, pose, rtol=0, atol=4e-15), (angles, found)
                    assert abs(found[1]) <= math.pi / 2


def test_roll_pitch_yaw_of_all_turns_give_them_back():
    for pose in _poses().reshape(-1, 4, 4)[::7]:
        again = poses.from_xyz_rpy(pose[:3, 3], poses.rpy(pose))
        assert np.allclose(again, pose, rtol=0, atol=2e-12)


def test_yaw_is_zero_where_pitch_is_a_quarter_turn():
    for pitch in (-math.pi / 2, math.pi / 2):
        roll, found, yaw = poses.rpy(poses.from_xyz_rpy((0, 0, 0), (0.4, pitch, 0.0)))
        assert (found, yaw) == (pytest.approx(pitch, abs=1e-15), 0.0)
        assert roll == pytest.approx(0.4, abs=1e-15)


def test_quaternions_are_unit_and_give_the_turn_back():
    turns = _poses()
    q = poses.quaternion_wxyz(turns)
    assert np.allclose(np.linalg.norm(q, axis=-1), 1.0, rtol=0, atol=4e-16)
    again = poses.from_quaternion_wxyz(q, turns[..., :3, 3])
    assert np.allclose(again, turns, rtol=0, atol=2e-15)
    other = Rotation.from_matrix(turns[..., :3, :3].reshape(-1, 3, 3)).as_quat(scalar_first=True).reshape(q.shape)
    same = np.abs(np.einsum("...i,...i->...", q, other))
    assert np.allclose(same, 1.0, rtol=0, atol=1e-15)


def test_the_scalar_of_a_quaternion_comes_first():
    q = poses.quaternion_wxyz(poses.rotation_about((0, 0, 1), math.pi / 3))
    assert np.allclose(q * np.sign(q[0]), [math.cos(math.pi / 6), 0, 0, math.sin(math.pi / 6)], rtol=0, atol=1e-16)


def test_quaternions_need_not_be_unit_and_default_to_the_origin():
    pose = poses.from_quaternion_wxyz([[2.0, 0.0, 0.0, 0.0], [0.0, 3.0, 0.0, 0.0]])
    assert np.array_equal(pose[0], np.eye(4))
    assert np.array_equal(pose[1], np.diag([1.0, -1.0, -1.0, 1.0]))


def test_rotation_vectors_give_the_turn_back_near_zero_and_near_half_a_turn():
    turns = _poses()
    vectors = poses.rotation_vector(turns)
    angles = np.linalg.norm(vectors, axis=-1)
    assert np.all(angles <= math.pi + 1e-15)
    again = Rotation.from_rotvec(vectors.reshape(-1, 3)).as_matrix().reshape(*turns.shape[:2], 3, 3)
    assert np.allclose(again, turns[..., :3, :3], rtol=0, atol=1e-14)


def test_small_rotation_vectors_keep_their_relative_precision():
    for axis in _axes(10):
        for angle in (1e-3, 1e-6, 1e-9, 1e-12, 1e-15):
            found = poses.rotation_vector(poses.rotation_about(axis, angle))
            # entries of a turn this small carry the angle to about 1e-16 of a radian
            assert np.allclose(found, axis * angle, rtol=1e-12, atol=2e-16)
    assert np.array_equal(poses.rotation_vector(np.eye(4)), np.zeros(3))


def test_rotation_vectors_of_half_a_turn_have_that_length():
    for axis in _axes(10):
        vector = poses.rotation_vector(poses.rotation_about(axis, math.pi))
        assert np.linalg.norm(vector) == pytest.approx(math.pi, abs=1e-14)
        assert abs(abs(vector @ axis) - math.pi) < 1e-13
