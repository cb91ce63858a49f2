"""Distances between convex bodies, and the proof of clearance between samples.

    prove_arm(urdf, times_s, positions, bodies=(), *, pieces='linear', own_bodies=True, held=None, base=None,
              neighbours=False, ignore=(), report_distance_m=3.0, tolerance_m=1e-3) -> ArmClearance
    prove_clearance(tree, motion, pairs, *, report_distance_m=3.0, tolerance_m=1e-3,
                    start_s=None, end_s=None) -> ClearanceBounds
    Prover(tree, pairs).bounds(motion, ...)       the same for many motions, prepared once
    clearance_curve(tree, motion, pairs, *, groups=None, cells=400, band_m=0.02, ...) -> ClearanceCurve
    all_pairs(tree, exclude=()), pairs_that_move(tree, motion, exclude=())
    distance(shape_a, T_world_a, shape_b, T_world_b) -> Distance
    distances(shapes, T_world_body, pairs) -> Distances

Any convex bodies on any tree of revolute and prismatic joints will do. The kernels are compiled by numba at
first use and kept on disk.
"""

from armcarry.clearance.arm_alone import ArmClearance, PairBounds, prove_arm
from armcarry.clearance.curve import ClearanceCurve, clearance_curve
from armcarry.clearance.distance import Distance, Distances, distance, distances
from armcarry.clearance.pairs import all_pairs, pairs_that_move
from armcarry.clearance.prover import ClearanceBounds, Prover, prove_clearance

__all__ = [
    "ArmClearance",
    "ClearanceBounds",
    "ClearanceCurve",
    "Distance",
    "Distances",
    "PairBounds",
    "Prover",
    "all_pairs",
    "clearance_curve",
    "distance",
    "distances",
    "pairs_that_move",
    "prove_arm",
    "prove_clearance",
]
