"""The arm of these tests: seven turning joints, offset shoulder, elbow and wrist, two 7 m booms, +-270 deg."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Joint, Model
from armcarry.motion.chain import Chain
from armcarry.scene.tree import Tree

JOINTS = [
    ("shoulder_yaw", (0.0, 0.0, 0.5), (0, 0, 1)),
    ("shoulder_roll", (0.4, 0.0, 0.4), (1, 0, 0)),
    ("shoulder_pitch", (0.4, 0.3, 0.0), (0, 1, 0)),
    ("elbow_pitch", (7.0, 0.3, 0.2), (0, 1, 0)),
    ("wrist_pitch", (7.0, -0.3, -0.2), (0, 1, 0)),
    ("wrist_yaw", (0.5, 0.0, 0.0), (0, 0, 1)),
    ("wrist_roll", (0.5, 0.0, 0.0), (1, 0, 0)),
]


@pytest.fixture(scope="session")
def trial_model() -> Model:
    travel = np.deg2rad(270.0)
    links = ["base", *(name + "_link" for name, *_ in JOINTS), "tip"]
    joints = [
        Joint(
            name, "revolute", links[k], links[k + 1], poses.translation(at), np.array(axis, float),
            -travel, travel, 0.05,
        )
        for k, (name, at, axis) in enumerate(JOINTS)
    ]
    joints.append(Joint("mount", "fixed", links[-2], "tip", poses.from_xyz_rpy((0.6, 0.0, 0.1), (0.0, 0.3, 0.0))))
    return Model("trial", "base", tuple(links), tuple(joints), ())


@pytest.fixture(scope="session")
def trial_tree(trial_model) -> Tree:
    """The arm on a trolley that slides along x and carries a mast with a fixed camera."""
    trolley = Model(
        "trolley", "rail", ("rail", "cart", "mast", "camera"),
        (
            Joint("slide", "prismatic", "rail", "cart", poses.from_xyz_rpy((1, 2, 3), (0.1, 0.2, 0.3)),
                  np.array([1.0, 0.0, 0.0]), -5.0, 5.0, 0.1),
            Joint("mast_foot", "fixed", "cart", "mast", poses.translation((0, 1, 0))),
            Joint("pan", "revolute", "mast", "camera", poses.translation((0, 0, 2)), np.array([0.6, 0.0, 0.8]), -1, 1),
        ),
        (),
    )
    return Tree().place("trolley", trolley).place("arm", trial_model, "trolley/cart", poses.translation((0, 0, 0.2)))


@pytest.fixture(scope="session")
def chain(trial_tree) -> Chain:
    """The seven joints of the arm, tip in the world, trolley at 0.3 m."""
    return Chain.of(
        trial_tree, "world", "arm/tip", [f"arm/{name}" for name, *_ in JOINTS], held={"trolley/slide": 0.3}
    )


@pytest.fixture
def rng() -> np.random.Generator:
    return np.random.default_rng(20)


@pytest.fixture(scope="session")
def bent() -> np.ndarray:
    """Joint positions far from singularities."""
    return np.array([0.3, 0.5, -0.8, 1.4, 0.6, 0.9, 0.2])
