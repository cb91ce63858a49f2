"""Seeded random scenes for proofs of clearance."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree


def random_pose(rng, reach_m):
    quaternion = rng.normal(size=4)
    return poses.from_quaternion_wxyz(quaternion / np.linalg.norm(quaternion), rng.normal(size=3) * reach_m)


def random_shape(rng, kind=None, scale=1.0):
    kind = rng.integers(5) if kind is None else kind
    size = rng.uniform(0.05, 0.6, 3) * scale
    return (
        Sphere(float(size[0])),
        Capsule(float(size[0]) / 2, float(size[1]) * 2),
        Box(tuple(size.tolist())),
        Cylinder(float(size[0]), float(size[1])),
        ConvexMesh.hull_of(rng.normal(size=(16, 3)) * size / 2),
    )[kind]


def random_motion(rng, joints, degree, pieces, duration_s, travel):
    """Return a continuous motion whose rates jump at breaks, with holds and joints that rest."""
    breaks = np.concatenate([[0.0], np.cumsum(rng.uniform(0.2, 1.0, pieces))])
    breaks *= duration_s / breaks[-1]
    table = np.zeros((pieces, degree + 1, len(joints)))
    position = rng.normal(size=len(joints))
    for k in range(pieces):
        change = rng.normal(size=(degree, len(joints))) * travel / np.arange(1, degree + 1)[:, None]
        change *= rng.random() > 0.2
        change[:, rng.random(len(joints)) < 0.3] = 0.0
        table[k, 0] = position
        table[k, 1:] = change / (breaks[k + 1] - breaks[k]) ** np.arange(1, degree + 1)[:, None]
        position = position + change.sum(axis=0)
    return Motion(tuple(joints), breaks, table)


def random_scene(seed, joints=4, moving=3, still=3, degree=4, pieces=3, travel=0.2, spread_m=1.5):
    """Return a tree with joints of both kinds in any branching, a motion, and all pairs joints can move."""
    from armcarry.clearance import all_pairs

    rng = np.random.default_rng(seed)
    links = ["base", *(f"link_{k}" for k in range(joints))]
    chain, bodies = [], []
    for k in range(joints):
        axis = np.eye(3)[rng.integers(3)] if rng.random() < 0.5 else rng.normal(size=3)
        parent = links[k] if rng.random() < 0.75 else links[rng.integers(k + 1)]
        kind = "revolute" if rng.random() < 0.7 else "prismatic"
        chain.append(
            Joint(f"joint_{k}", kind, parent, links[k + 1], random_pose(rng, 0.5), axis / np.linalg.norm(axis))
        )
    for k in range(moving):
        link = links[1 + rng.integers(joints)]
        bodies.append(Body(f"moving_{k}", link, random_shape(rng), random_pose(rng, 0.3), "arm"))
    bodies += [
        Body(f"still_{k}", "base", random_shape(rng, scale=2.0), random_pose(rng, spread_m)) for k in range(still)
    ]
    tree = Tree().place("thing", Model("thing", "base", tuple(links), tuple(chain), tuple(bodies)))
    motion = random_motion(rng, tree.joints, degree, pieces, 10.0, travel)
    return tree, motion, all_pairs(tree)


@pytest.fixture(scope="session")
def scene_of():
    return random_scene


@pytest.fixture(scope="session")
def shape_of():
    return random_shape


@pytest.fixture(scope="session")
def pose_of():
    return random_pose
