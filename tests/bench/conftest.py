"""Two carries to measure on: a seeded synthetic yard of any size, and the demo carry."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance import Prover, all_pairs, pairs_that_move
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

X, Y, Z = np.eye(3)
#: joint, axis, place in the joint before
ARM = (
    ("shoulder_roll", Z, (0.0, 0.0, 0.4)), ("shoulder_yaw", Y, (0.0, 0.5, 0.4)),
    ("shoulder_pitch", X, (0.5, 0.0, 0.3)), ("elbow_pitch", X, (0.4, 0.0, 7.0)),
    ("wrist_pitch", X, (-0.4, 0.0, 7.0)), ("wrist_yaw", Y, (0.0, 0.3, 0.5)), ("wrist_roll", Z, (0.0, 0.0, 0.5)),
)  # fmt: skip


def strut(start, end, radius_m):
    """Return a capsule from start to end and its pose."""
    start, end = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
    length = float(np.linalg.norm(end - start))
    z = (end - start) / length
    x = np.cross(z, Z if abs(z[2]) < 0.9 else X)
    x /= np.linalg.norm(x)
    pose = identity()
    pose[:3, :3] = np.stack([x, np.cross(z, x), z], axis=1)
    pose[:3, 3] = (start + end) / 2
    return Capsule(radius_m, length), pose


def arm_model():
    """Return a seven-joint offset arm with two 7 m booms, a rider and hardware: 19 bodies."""
    rng = np.random.default_rng(5)
    links = ["base", *(name for name, _, _ in ARM)]
    joints = tuple(
        Joint(name, "revolute", links[k], name, translation(at), axis, -4.7, 4.7)
        for k, (name, axis, at) in enumerate(ARM)
    )
    lump = [ConvexMesh.hull_of(rng.normal(size=(16, 3)) * np.array(size) / 2) for size in
            ((0.4, 0.7, 0.4), (0.8, 0.6, 0.6))]  # fmt: skip
    at, hand = translation, "wrist_roll"
    parts = [
        ("shoulder_case", links[1], Cylinder(0.25, 0.8), at((0, 0.1, 0.2))),
        ("shoulder_offset", links[2], Capsule(0.25, 0.5), at((0.2, 0, 0.1))),
        ("boom_1_near", links[3], *strut((0.2, 0, 0.3), (0.2, 0, 3.4), 0.2)),
        ("boom_1_far", links[3], *strut((0.2, 0, 3.5), (0.2, 0, 6.7), 0.2)),
        ("elbow_case", links[4], Box((0.5, 0.5, 0.6)), identity()),
        ("boom_2_near", links[4], *strut((-0.2, 0, 0.5), (-0.2, 0, 3.5), 0.18)),
        ("boom_2_far", links[4], *strut((-0.2, 0, 3.6), (-0.2, 0, 6.6), 0.18)),
        ("camera", links[4], Sphere(0.2), at((0.2, 0.3, 0.6))),
        ("wrist_case", links[5], Cylinder(0.2, 0.5), identity()),
        ("wrist_box", links[6], Box((0.35, 0.35, 0.4)), identity()),
        ("hand", hand, Cylinder(0.25, 0.4), at((0, 0, 0.3))),
        ("restraint", hand, Box((0.6, 0.5, 0.1)), at((0, 0, 0.7))),
        ("boots", hand, Box((0.35, 0.3, 0.25)), at((0, 0, 0.9))),
        ("legs", hand, Capsule(0.18, 0.6), at((0, 0, 1.35))),
        ("torso", hand, Capsule(0.28, 0.4), at((0, 0, 1.9))),
        ("pack", hand, Box((0.35, 0.6, 0.8)), at((-0.35, 0, 2.0))),
        ("helmet", hand, Sphere(0.2), at((0.05, 0, 2.45))),
        ("arms", hand, lump[0], at((0.35, 0, 2.0))),
        ("load", hand, lump[1], at((0.9, 0, 1.9))),
    ]
    return Model("arm", "base", tuple(links), joints, tuple(Body(*part, "arm") for part in parts))


def yard_model(rng, count):
    """Return count bodies: a truss, five modules with cones, rails, radiators, arrays, and boxes among them."""
    solids = []
    corners = [(-1.2, -2.8), (1.2, -2.8), (1.2, -0.6), (-1.2, -0.6)]
    bays = np.linspace(-20.0, 20.0, 13)
    for bay, x in enumerate(bays):
        for (y, z), (v, w) in zip(corners, corners[1:] + corners[:1], strict=True):
            solids.append(strut((x, y, z), (x, v, w), 0.05))
            if bay + 1 < len(bays):
                solids.append(strut((x, y, z), (bays[bay + 1], y, z), 0.07))
                solids.append(strut((x, y, z), (bays[bay + 1], v, w), 0.04))
    turn = np.linspace(0.0, 2 * np.pi, 8, endpoint=False)
    rings = [np.stack([r * np.cos(turn), r * np.sin(turn), np.full(8, h)], axis=1) for r, h in ((2, 0), (0.9, 1))]
    cone = ConvexMesh.hull_of(np.concatenate(rings))
    for k in range(5):
        module = from_xyz_rpy((-14.0 + 7 * k, 0.0, -5.6), (np.pi / 2, 0.0, 0.2 * k))
        solids.append((Cylinder(2.0, 6.0), module))
        solids += [(cone, module @ from_xyz_rpy((0, 0, 3.05 * s), (0 if s > 0 else np.pi, 0, 0))) for s in (-1, 1)]
    solids += [(Box((40.0, 0.08, 0.08)), translation((0.0, y, -0.45))) for y in (-0.9, 0.9)]
    for k in range(8):
        solids.append((Box((3.0, 0.05, 5.0)), from_xyz_rpy((-17 + 4.8 * k, -8.0 - k % 2, -3.0), (0.3 * k, 0, 0.1))))
        solids.append((Box((2.5, 12.0, 0.06)), from_xyz_rpy((-19 + 5.4 * k, 14.0, -2.0), (0.2 * k, 0.1, 0))))
    kinds = (Box((0.5, 0.4, 0.3)), Capsule(0.03, 0.8), Cylinder(0.2, 0.5), Sphere(0.25))
    while len(solids) < count:
        place = rng.uniform((-18.0, -2.2, -3.2), (18.0, 2.2, -0.2))
        solids.append((kinds[len(solids) % 4], from_xyz_rpy(place, rng.uniform(-3, 3, 3))))
    bodies = (Body(f"s{k}", "yard", *solid) for k, solid in enumerate(solids[:count]))
    return Model("yard", "yard", ("yard",), (), tuple(bodies))


def trapezoid(first, last, rate=0.009, acceleration=0.001):
    """Return durations and coefficients (K, 3, n) of a joint-space line at trapezoid speed."""
    far = np.abs(last - first).max()
    ramp = min(rate / acceleration, np.sqrt(far / acceleration))
    u, top = (last - first) / far, acceleration * ramp
    cruise = far / top - ramp
    up, down = first + 0.5 * acceleration * ramp**2 * u, last - 0.5 * acceleration * ramp**2 * u
    pieces = [(ramp, first, 0 * u, 0.5 * acceleration * u), (ramp, down, top * u, -0.5 * acceleration * u)]
    if cruise > 1e-6:
        pieces.insert(1, (cruise, up, top * u, 0 * u))
    return [piece[0] for piece in pieces], [np.stack(piece[1:]) for piece in pieces]


def synthetic_carry(seed=1, still=239, segments=21, duration_s=1725.0):
    """Return tree, motion and all pairs but those of neighbouring links, kept 0.27 m from everything."""
    rng = np.random.default_rng(seed)
    tree = Tree().place("yard", yard_model(rng, still))
    tree = tree.place("arm", arm_model(), "yard/yard", translation((0.0, 0.0, 0.25)))
    order = {f"arm/{name}": k for k, (name, _, _) in enumerate(ARM)}
    own = [body for body in tree.bodies if body.name.startswith("arm/")]
    beside = [(a.name, b.name) for a in own for b in own if a.name < b.name
              and abs(order[a.link] - order[b.link]) <= 1]  # fmt: skip
    pairs = all_pairs(tree, beside)
    prover = Prover(tree, pairs)
    stops = [np.array([0.0, 0.2, 0.5, -1.2, 0.6, 0.2, 0.0])]
    while len(stops) <= segments:
        there = stops[-1] + rng.uniform(-0.5, 0.5, 7)
        way = Motion(tree.joints, np.array([0.0, 1.0]), np.stack([stops[-1], there - stops[-1]])[None])
        if prover.bounds(way, report_distance_m=0.28, tolerance_m=0.01).lower_m.min() > 0.27:
            stops.append(there)
    spans, tables = [], []
    for first, last in pairwise(stops):
        times, pieces = trapezoid(first, last)
        spans += [*times, np.nan]
        tables += [*pieces, np.stack([last, 0 * last, 0 * last])]
    hold = max((duration_s - np.nansum(spans)) / segments, 1.0)
    breaks = np.concatenate([[0.0], np.cumsum(np.where(np.isnan(spans), hold, spans))])
    return tree, Motion(tree.joints, breaks, np.stack(tables)), pairs


def demo_carry():
    """Return the phases (tree, motion, pairs) of the demo carry."""
    from armcarry.rehearsal import rehearse

    record = rehearse(Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml")
    parts = [(phase.tree, record.motion.between(phase.start_s, phase.end_s)) for phase in record.phases]
    return [(tree, motion, pairs_that_move(tree, motion)) for tree, motion in parts]


@pytest.fixture(scope="session")
def carry_of():
    return synthetic_carry


@pytest.fixture(scope="session")
def demo():
    return demo_carry()
