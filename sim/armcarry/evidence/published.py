"""Values of outside authorities beside what our code makes of the same inputs; tolerances in physical units.

The tests of ``tests/published/`` hold more of them; here are those that need nothing but the installed package.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from armcarry.clearance import distance, prove_clearance
from armcarry.dispersion.statistics import clopper_pearson, wilks_runs
from armcarry.evidence.row import Kind, Row, compared
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.shapes import Box, Capsule, Cylinder, Sphere
from armcarry.motion.braking import run_out, runaway
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.path import joint_segment
from armcarry.motion.timing import RateLimits, time_path
from armcarry.scene import light
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.estimate import path_estimate
from armcarry.timeline.separation import protective_separation
from armcarry.timeline.task import Duration, Task

KIND: Kind = "published value"
_FCL = "FCL (Flexible Collision Library), its tests of capsule and box, signed distance"
_QUARTER = np.pi / 2
_CLOSED = "closed form"


def published() -> Iterator[Row]:
    """Yield one row a value, in the order in which results rest on them."""
    yield from _distances()
    yield _proof()
    yield from _kinematics()
    yield from _timing()
    yield from _braking()
    yield from _people()
    yield from _sky()
    yield from _statistics()


def _distances() -> Iterator[Row]:
    box, cube, here = Box((1.0, 2.0, 4.0)), Box((1.0, 1.0, 1.0)), poses.identity()
    yawed = poses.from_xyz_rpy((2.0, 0.0, 0.0), (0.0, 0.0, np.pi / 4))
    capsule, beside, above = Capsule(2.0, 4.0), poses.translation((3.0, 0.0, 0.0)), poses.translation((0.0, 0.0, 8.0))
    cylinder, out = Cylinder(1.0, 2.0), poses.translation((3.0, 0.0, 3.0))
    cases = (
        ("capsule beside a box", _FCL, capsule, beside, box, here, 0.5),
        ("capsule above a box", _FCL, capsule, above, box, here, 2.0),
        ("two balls", _FCL, Sphere(20.0), here, Sphere(10.0), poses.translation((40.0, 0.0, 0.0)), 10.0),
        ("cube and a cube turned by 45 deg", _CLOSED, cube, here, cube, yawed, 1.5 - np.sqrt(0.5)),
        ("cubes corner to corner", _CLOSED, cube, here, cube, poses.translation((2.0, 2.0, 2.0)), np.sqrt(3.0)),
        ("cylinder and ball", _CLOSED, cylinder, here, Sphere(0.5), out, np.sqrt(8.0) - 0.5),
    )
    for name, source, shape_a, pose_a, shape_b, pose_b, wanted in cases:
        found = distance(shape_a, pose_a, shape_b, pose_b)
        yield compared(KIND, f"distance, proven: {name}", source, found.lower_m, wanted, 2e-6, "m")


def _proof() -> Row:
    """Let a ball slide past another: the least distance is that of their lines."""
    joint = Joint("slide", "prismatic", "base", "cart", lower=-10.0, upper=10.0)
    bodies = (
        Body("moving", "cart", Sphere(0.3), poses.identity(), "arm"),
        Body("still", "base", Sphere(0.5), poses.translation((0.0, 1.0, 0.0)), "structure"),
    )
    tree = Tree().place("rig", Model("rig", "base", ("base", "cart"), (joint,), bodies))
    motion = Motion(tree.joints, np.array([0.0, 10.0]), np.array([[[-4.0], [0.9]]]))
    bounds = prove_clearance(tree, motion, [(0, 1)], report_distance_m=np.inf, tolerance_m=1e-3)
    source = "closed form: 1 m less both radii"
    return compared(KIND, "least distance over a motion, proven", source, float(bounds.lower_m[0]), 0.2, 1e-3, "m")


def _kinematics() -> Iterator[Row]:
    source = "Denavit-Hartenberg table of the UR5 as its maker prints it; roboticstoolbox on that table"
    rows = zip((0, -0.425, -0.39225, 0, 0, 0), (0.089459, 0, 0, 0.10915, 0.09465, 0.0823),
               (_QUARTER, 0, 0, _QUARTER, -_QUARTER, 0), strict=True)  # fmt: skip
    behind = [
        poses.translation((0.0, 0.0, d)) @ poses.translation((a, 0.0, 0.0)) @ poses.rotation_about((1, 0, 0), alpha)
        for a, d, alpha in rows
    ]
    links = ("base", *(f"link{k}" for k in range(1, 7)), "flange")
    joints = [
        Joint(f"joint{k + 1}", "revolute", links[k], links[k + 1], origin, np.array([0.0, 0.0, 1.0]), -np.inf, np.inf)
        for k, origin in enumerate([poses.identity(), *behind[:-1]])
    ]
    joints.append(Joint("end", "fixed", links[6], "flange", behind[-1]))
    tree = Tree().place("arm", Model("arm", "base", links, tuple(joints), ()))
    chain = Chain.of(tree, WORLD, "arm/flange")
    for words, q, wanted, within in (
        ("all joints at 0", np.zeros(6), (-0.81725, -0.19145, -0.005191), 1e-9),
        ("joints 0.1 to 0.6 rad", np.arange(1, 7) / 10, (-0.6894848, -0.25146495, -0.27277303), 1e-8),
    ):
        place = chain.forward(q)[:3, 3]
        for axis, ours, theirs in zip("xyz", place, wanted, strict=True):
            name = f"{axis} of a six-joint arm's flange, {words}"
            yield compared(KIND, name, source, float(ours), theirs, within, "m")


def _timing() -> Iterator[Row]:
    path = joint_segment(("a", "b", "c"), (0, 0, 1), (0.2, 0.3, 0))
    motion = time_path(path, RateLimits(np.array([0.1, 0.2, 0.3]), np.array([1.0, 2.0, 3.0])))
    source = "example of toppra, plot_straight_line; closed form of the trapezoid"
    yield compared(KIND, "least time of three joints", source, motion.duration_s, 3.4333333333, 1e-9, "s")


def _braking() -> Iterator[Row]:
    source = "The Highway Code (UK), rule 126, with 0.67 s and 6.57 m/s2"
    for mph, thinking, braking in ((20, 6, 6), (40, 12, 24), (70, 21, 75)):
        found = run_out(mph * 0.44704, 6.57, 0.67)
        name = f"run-out from {mph} miles an hour"
        yield compared(KIND, name, source, float(found.distance), thinking + braking, 1.0, "m")
    found = runaway(0.0, 1.0, 0.04, 0.02)
    yield compared(KIND, "excursion of a runaway", _CLOSED, float(found.distance), 0.015, 1e-12, "rad")


def _people() -> Iterator[Row]:
    found = protective_separation(
        worker_speed_m_s=1.6, machine_speed_m_s=0.0, reaction_s=0.32, stopping_s=0.0, stopping_m=0.0
    )
    source = "makers' examples of ISO 13855 for light curtains: 1600 mm/s for 0.32 s"
    yield compared(KIND, "separation of a person who walks", source, found.total_m, 0.512, 1e-9, "m")


def _sky() -> Iterator[Row]:
    sun = light.sun_position_m(2453827.5) / 1e3
    source = "Vallado, Fundamentals of Astrodynamics and Applications, example 5-1"
    for axis, ours, wanted in zip("xyz", sun, (146186212.987, 28788976.312, 12481063.645), strict=True):
        yield compared(KIND, f"{axis} of the sun on 2 April 2006", source, float(ours), wanted, 0.001, "km")
    satellite = np.array([2817.899, -14110.473, -7502.672]) * 1e3
    sun_m = np.array([-11747041.0, 139486985.0, 60472278.0]) * 1e3
    source = "Curtis, Orbital Mechanics for Engineering Students, example 12.8: in shadow"
    share = float(light.sun_share(satellite, sun_m))
    yield compared(KIND, "share of the sun that a satellite sees", source, share, 0.0, 0.0)
    orbit = light.CircularOrbit(light.EARTH_RADIUS_M + 400e3, 0.9, 0.0, 0.0, 2453827.5)
    source = "closed form with R 6378.137 km, mu 398600.4418 km3/s2"
    yield compared(KIND, "period of an orbit 400 km up", source, orbit.period_s / 60, 92.5604, 5e-5, "min")


def _statistics() -> Iterator[Row]:
    source = "Wilks (1941); Nutt and Wallis (2004)"
    for order, wanted in ((1, 59), (2, 93), (3, 124)):
        name = f"runs for a tolerance limit 95/95 of order {order}"
        yield compared(KIND, name, source, float(wilks_runs(0.95, 0.95, order)), float(wanted), 0.0)
    low, high = clopper_pearson(7, 50, 0.95)
    source = "documentation of scipy, binomtest: 7 of 50"
    yield compared(KIND, "lower bound of a probability", source, low, 0.05819170033997342, 1e-9)
    yield compared(KIND, "upper bound of a probability", source, high, 0.26739600249700846, 1e-9)
    points = {"A": (2, 5, 8, ""), "B": (1, 2, 9, "A"), "C": (0.25, 0.5, 3.75, "A"), "D": (1, 1, 7, "B"),
              "E": (1, 2, 9, "BC"), "F": (1, 3, 11, "DE")}  # fmt: skip
    tasks = [Task(name, (name,), Duration(*map(float, row[:3])), after=tuple(row[3])) for name, row in points.items()]
    estimate, _ = path_estimate(tasks)
    source = "PM Knowledge Center, page on PERT, table 1 (results in closed form)"
    yield compared(KIND, "mean of a three-point estimate", source, estimate.mean_s, 15.0, 1e-9)
    yield compared(KIND, "its deviation", source, estimate.deviation_s, 2.70801, 5e-6)
