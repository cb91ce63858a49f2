"""Random trees of joints and bodies with a motion, for laws of clearance."""

import numpy as np

from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree


def scene(seed, grow=0.0, base=None):
    """Return a random tree of six joints with seven bodies grown by ``grow`` (a share), and a motion."""
    rng = np.random.default_rng(seed)
    links = ["base", *(f"l{k}" for k in range(6))]
    joints = tuple(
        Joint(
            f"j{k}", ("revolute", "prismatic")[k % 3 == 1], links[rng.integers(max(k - 1, 0), k + 1)], links[k + 1],
            from_xyz_rpy(rng.normal(size=3) * 0.5, rng.normal(size=3)), np.eye(3)[rng.integers(3)],
        )
        for k in range(6)
    )  # fmt: skip
    bodies = []
    for k in range(9):
        s = rng.uniform(0.05, 0.3, 3) * (1.0 + grow)
        cloud = rng.normal(size=(12, 3)) * 0.15 * (1.0 + grow)
        shape = (Sphere(s[0]), Capsule(s[0], s[1]), Box(tuple(s)), Cylinder(s[0], s[1]), ConvexMesh.hull_of(cloud))
        link = links[1 + rng.integers(6)] if k < 6 else "base"
        pose = from_xyz_rpy(rng.normal(size=3) * (0.4 if k < 6 else 1.5), rng.normal(size=3))
        bodies.append(Body(f"b{k}", link, shape[k % 5], pose))
    tree = Tree().place("t", Model("t", "base", tuple(links), joints, tuple(bodies)), pose=base)
    start = rng.normal(size=6)
    table = np.zeros((2, 4, 6))
    table[0, 0], table[0, 1:] = start, rng.normal(size=(3, 6)) * np.array([0.2, 0.02, 0.002])[:, None]
    table[1, 0] = start + np.array([3.0, 9.0, 27.0]) @ table[0, 1:]
    table[1, 1] = rng.normal(size=6) * 0.2
    return tree, Motion(tree.joints, np.array([0.0, 3.0, 5.0]), table)
