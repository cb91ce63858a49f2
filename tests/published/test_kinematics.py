"""Published kinematics of arms, through our own forward kinematics, Jacobian and inverse.

Sources: K. Lynch and F. Park, Modern Robotics (2017), and the docstrings of its library modern_robotics 1.1.1;
Robotics Toolbox for Python 1.5.0, its DH models and the values asserted in its tests.
"""

import numpy as np
import pytest

from arm_tables import DhRow, from_dh, from_screws
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.inverse import pose_error, solve
from armcarry.motion.jacobian import jacobian, singular_values
from armcarry.scene.tree import Tree
from measures import manipulability

Q = np.pi / 2


def chain_of(model):
    return Chain.of(Tree().place("arm", model), "world", "arm/flange")


def by_screws(home, screws):
    model, coupling = from_screws(home, screws)
    return chain_of(model), coupling


HOME = np.array([[-1, 0, 0, 0], [0, 1, 0, 6], [0, 0, -1, 2], [0, 0, 0, 1.0]])
SPACE = np.array([(0, 0, 1, 4, 0, 0), (0, 0, 0, 0, 1, 0), (0, 0, -1, -6, 0, -0.1)], float)


def test_forward_kinematics_in_the_space_frame():
    # docstring of modern_robotics FKinSpace
    chain, coupling = by_screws(HOME, SPACE)
    expected = [[0, 1, 0, -5], [1, 0, 0, 4], [0, 0, -1, 1.68584073], [0, 0, 0, 1]]
    np.testing.assert_allclose(chain.forward(coupling @ (Q, 3.0, np.pi)), expected, atol=1e-8)


def test_forward_kinematics_in_the_body_frame():
    # docstring of modern_robotics FKinBody: the same arm by body screws; Ad(M) takes them to the space frame
    body = np.array([(0, 0, -1, 2, 0, 0), (0, 0, 0, 0, 1, 0), (0, 0, 1, 0, 0, 0.1)], float)
    turned = body[:, :3] @ HOME[:3, :3].T
    space = np.concatenate([turned, np.cross(HOME[:3, 3], turned) + body[:, 3:] @ HOME[:3, :3].T], axis=1)
    np.testing.assert_allclose(space, SPACE, atol=1e-12)


def test_inverse_kinematics():
    # docstring of modern_robotics IKinBody and IKinSpace: eomg 0.01, ev 0.001, from (1.5, 2.5, 3)
    chain, coupling = by_screws(HOME, SPACE)
    goal = np.array([[0, 1, 0, -5], [1, 0, 0, 4], [0, 0, -1, 1.6858], [0, 0, 0, 1]])
    found = solve(chain, goal, (coupling @ (1.5, 2.5, 3.0))[None])
    assert found.met[0]
    theta = found.q[0][[0, 1, 2]]
    np.testing.assert_allclose(theta, (1.57073819, 2.999667, 3.14153913), atol=5e-4)
    np.testing.assert_allclose(theta, (1.57073783, 2.99966384, 3.1415342), atol=5e-4)
    assert found.q[0][3] == pytest.approx(0.1 * theta[2], abs=1e-4)  # the slide of the screw with pitch


def test_body_and_space_jacobian():
    # docstrings of modern_robotics JacobianBody and JacobianSpace; rows there are angular, then linear
    screws = np.array([(0, 0, 1, 0, 0.2, 0.2), (1, 0, 0, 2, 0, 3), (0, 1, 0, 0, 2, 1), (1, 0, 0, 0.2, 0.3, 0.4)])
    theta = np.array([0.2, 1.1, 0.1, 1.2])
    chain, coupling = by_screws(np.eye(4), screws)
    q = coupling @ theta
    at_origin = jacobian(chain, q, poses.inverse(chain.forward(q))) @ coupling
    space = np.concatenate([at_origin[3:], at_origin[:3]])
    np.testing.assert_allclose(space[0], (0, 0.98006658, -0.09011564, 0.95749426), atol=1e-8)
    np.testing.assert_allclose(space[3], (0, 1.95218638, -2.21635216, -0.51161537), atol=1e-8)
    np.testing.assert_allclose(space[5], (0.2, 2.96026613, 3.23573065, 2.22512443), atol=1e-8)
    # the body Jacobian's docstring takes the same columns as body screws, with M the identity
    chain, coupling = by_screws(np.eye(4), _body_to_space(screws, np.eye(4)))
    body = _as_body(chain, coupling, theta)
    np.testing.assert_allclose(body[0], (-0.04528405, 0.99500417, 0, 1), atol=1e-8)
    np.testing.assert_allclose(body[3], (2.32586047, 1.66809, 0.56410831, 0.2), atol=1e-8)


def _body_to_space(screws, home):
    turned = screws[:, :3] @ home[:3, :3].T
    return np.concatenate([turned, np.cross(home[:3, 3], turned) + screws[:, 3:] @ home[:3, :3].T], axis=1)


def _as_body(chain, coupling, theta):
    q = coupling @ theta
    columns = jacobian(chain, q) @ coupling
    back = chain.forward(q)[:3, :3].T
    return np.concatenate([back @ columns[3:], back @ columns[:3]])


def test_rotation_from_axis_and_angle_and_back():
    # docstrings of modern_robotics MatrixExp3, AxisAng3 and MatrixLog3
    axis, angle = np.array([0.26726124, 0.53452248, 0.80178373]), 3.7416573867739413
    turn = poses.rotation_about(np.array([1, 2, 3]) / angle, angle)
    np.testing.assert_allclose(np.array([1, 2, 3]) / angle, axis, atol=1e-8)
    np.testing.assert_allclose(turn[0, :3], (-0.69492056, 0.71352099, 0.08929286), atol=1e-8)
    cycle = np.eye(4)
    cycle[:3, :3] = [[0, 0, 1], [1, 0, 0], [0, 1, 0]]
    np.testing.assert_allclose(poses.rotation_vector(cycle), [1.20919958] * 3, atol=1e-8)


def test_screw_of_a_quarter_turn():
    # docstring of modern_robotics MatrixLog6: the screw of that pose, over its angle pi/2
    chain, coupling = by_screws(np.eye(4), np.array([[1.57079633, 0, 0, 0, 2.35619449, 2.35619449]]) / 1.57079633)
    pose = chain.forward(coupling @ [1.57079633])
    np.testing.assert_allclose(pose, [[1, 0, 0, 0], [0, 0, -1, 0], [0, 1, 0, 3], [0, 0, 0, 1]], atol=1e-8)


# -- six joints, standard tables ---------------------------------------------------------------------------


def puma():
    # rtb models/DH/Puma560.py, citing P. Corke and B. Armstrong-Helouvry, ICRA 1994, pp. 1608-1613
    deg = np.deg2rad
    return from_dh(
        [DhRow(0, 0.67183, Q), DhRow(0.4318, 0, 0), DhRow(0.0203, 0.15005, -Q), DhRow(0, 0.4318, Q), DhRow(0, 0, -Q),
         DhRow(0, 0, 0)],
        limits=deg([(-160, 160), (-45, 225), (-225, 45), (-110, 170), (-100, 100), (-266, 266)]),
    )


QN = np.array([0, np.pi / 4, -np.pi, 0, np.pi / 4, 0])


def test_puma_in_its_nominal_position():
    # rtb 1.5.0 output, RUN
    pose = chain_of(puma()).forward(QN)
    np.testing.assert_allclose(pose[:3, :3], [[0, 0, 1], [0, 1, 0], [-1, 0, 0]], atol=1e-12)
    np.testing.assert_allclose(pose[:3, 3], (0.5963, -0.1501, 0.6575), atol=6e-5)
    # value from memory: P. Corke, Robotics, Vision and Control, 2nd ed., ch. 7, without the pedestal
    assert pose[2, 3] - 0.67183 == pytest.approx(-0.01435, abs=2e-5)


def test_puma_manipulability():
    # rtb 1.5.0 output on the DH model, RUN
    chain = chain_of(puma())
    assert manipulability(chain, QN) == pytest.approx(0.07861717, abs=1e-8)
    assert manipulability(chain, QN, rows="translation") == pytest.approx(0.11118146, abs=1e-8)
    assert manipulability(chain, QN, rows="rotation") == pytest.approx(np.sqrt(6), abs=1e-8)


def test_ur5():
    # rtb models/DH/UR5.py; the second row is rtb output on that table
    rows = zip(
        (0, -0.425, -0.39225, 0, 0, 0), (0.089459, 0, 0, 0.10915, 0.09465, 0.0823), (Q, 0, 0, Q, -Q, 0), strict=True
    )
    chain = chain_of(from_dh([DhRow(*row) for row in rows]))
    np.testing.assert_allclose(chain.forward(np.zeros(6))[:3, 3], (-0.81725, -0.19145, -0.005191), atol=1e-9)
    pose = chain.forward(np.arange(1, 7) / 10)
    np.testing.assert_allclose(pose[:3, 3], (-0.6894848, -0.25146495, -0.27277303), atol=1e-8)
    np.testing.assert_allclose(pose[0, :3], (0.0473957, -0.97678465, -0.20891479), atol=1e-8)


# -- seven joints, modified table ---------------------------------------------------------------------------


def panda():
    # rtb models/DH/Panda.py, citing the maker's control parameters
    rows = zip(
        (0, 0, 0, 0.0825, -0.0825, 0, 0.088), (0.333, 0, 0.316, 0, 0.384, 0, 0.107), (0, -Q, Q, Q, -Q, Q, Q),
        strict=True,
    )
    return chain_of(from_dh([DhRow(*row) for row in rows], modified=True))


HAND = poses.translation((0, 0, 0.103)) @ poses.rotation_about((0, 0, 1), -np.pi / 4)
QR = np.array([0, -0.3, 0, -2.2, 0, 2, np.pi / 4])


def test_panda_forward():
    # rtb tests/test_DHRobot.py test_fkine_panda, test_fkine_all
    q = np.arange(1.0, 8.0)
    pose = panda().forward(q, HAND)
    expected = [
        [-0.8583, 0.1178, 0.4994, 0.1372],
        [0.1980, 0.9739, 0.1106, 0.3246],
        [-0.4734, 0.1938, -0.8593, 0.4436],
    ]
    np.testing.assert_allclose(pose[:3], expected, atol=6e-5)
    flange = panda().forward(q)
    np.testing.assert_allclose(flange[:3, 3], (0.085753, 0.313206, 0.532054), atol=1e-6)
    np.testing.assert_allclose(flange[0, :3], (-0.5236, 0.6902, 0.4994), atol=6e-5)


def test_panda_measures_of_singularity():
    # rtb tests/test_Robot.py test_manip, test_cond, test_minsingular; its URDF has the hand at 0.1034 m
    chain = panda()
    hand = poses.translation((0, 0, 0.1034))
    assert manipulability(chain, QR, hand) == pytest.approx(0.0837, abs=6e-5)
    assert manipulability(chain, QR, hand, rows="translation") == pytest.approx(0.1438, abs=6e-5)
    assert manipulability(chain, QR, hand, rows="rotation") == pytest.approx(2.7455, abs=1e-4)
    values = singular_values(chain, QR, hand, length_m=1.0)
    assert values[-1] / values[0] == pytest.approx(0.11222, abs=6e-6)
    assert values[-1] == pytest.approx(0.209013, abs=6e-7)
    np.testing.assert_allclose(chain.forward(QR)[:3, 3], (0.473724, 0, 0.515513), atol=1e-6)


def test_panda_by_its_second_model():
    # rtb tests/test_Robot.py, the ETS model of the same arm
    q = np.array([1.4, 0.2, 1.8, 0.7, 0.1, 3.1, 2.9])
    chain = panda()
    pose = chain.forward(q, HAND)
    np.testing.assert_allclose(pose[0], (-0.50827907, -0.57904589, 0.63746234, 0.44682295), atol=1e-8)
    assert manipulability(chain, q, HAND) == pytest.approx(0.006559178039088341, rel=1e-9)


def test_inverse_brings_the_puma_back():
    chain = chain_of(puma())
    goal = chain.forward(QN)
    found = solve(chain, goal, (QN + 0.2)[None])
    assert found.met[0]
    assert np.linalg.norm(pose_error(chain.forward(found.q[0]), goal)) < 1e-9
