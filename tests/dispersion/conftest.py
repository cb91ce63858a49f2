"""A campaign that takes milliseconds a run: a rider swung past two posts and a wall."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Box, Cylinder
from armcarry.motion.curve import Motion
from armcarry.record.record import Phase, Record

TERMS = {
    "bias": {"kind": "joint_offset", "title": "sensors", "of": ["arm/*"], "amount": "0.2 deg"},
    "base": {"kind": "mount_offset", "title": "base", "of": ["arm"], "position": "10 mm", "rotation": "0.1 deg"},
    "posts": {"kind": "body_offset", "title": "yard", "of": ["platform/*"], "position": "10 mm", "rotation": "0.1 deg"},
    "booms": {"kind": "bending", "title": "booms", "of": ["arm/j4"], "position": "5 mm", "rotation": "0.2 deg"},
    "posture": {"kind": "joint_offset", "title": "leaning", "of": ["crew/*"], "amount": "2 deg", "shape": "uniform"},
    "late": {"kind": "lag", "title": "late", "of": ["arm/*"], "amount": "0.5 s", "together": True},
    "tracking": {"kind": "lag", "title": "each joint", "of": ["arm/j1", "arm/j3"], "amount": "0.1 s"},
}
REQUIRED = [
    {"between": [a, b], "distance": "0.3 m"} for a, b in (("arm", "structure"), ("rider", "structure"))
]


@pytest.fixture(scope="session")
def swung():
    """Build the record of the swing with the given terms, by default one of each kind."""
    return _record


@pytest.fixture
def record(rider_scene, swung):
    return swung(rider_scene)


def _record(rider_scene, terms=None, cut=3.0, required=REQUIRED):
    posts = [
        Body("post_near", "yard", Cylinder(0.1, 4.0), poses.from_xyz_rpy((3.9, -1.6, 2.0), (0, 0, 0))),
        Body("post_far", "yard", Cylinder(0.1, 4.0), poses.from_xyz_rpy((-1.0, 5.3, 2.0), (0, 0, 0))),
        Body("wall", "yard", Box((0.2, 4.0, 2.0)), poses.from_xyz_rpy((-30.0, 0.0, 0.0), (0, 0, 0))),
    ]
    dispersion = {"terms": TERMS if terms is None else terms, "cut": cut, "watch": "2 m"}
    rules = {"required": required, "dispersion": dispersion}
    scene = rider_scene({}, posts, sites=0, rules=rules)
    joints, breaks = scene.tree.joints, np.array([0.0, 4.0, 9.0, 20.0])
    table = np.zeros((3, 3, len(joints)))
    at = scene.position.copy()
    for k, (rate, bend) in enumerate([(0.0, 0.02), (0.16, 0.0), (0.16, -0.16 / 22)]):
        table[k, 0] = at
        table[k, 1, scene.tree.column("arm/j1")], table[k, 2, scene.tree.column("arm/j1")] = rate, bend
        table[k, 1, scene.tree.column("arm/j3")] = -0.01
        length = breaks[k + 1] - breaks[k]
        at = table[k, 0] + table[k, 1] * length + table[k, 2] * length**2
    motion = Motion(joints, breaks, table)
    return Record(scene=scene, phases=(Phase(0.0, 20.0, scene.tree),), motion=motion, moves=())
