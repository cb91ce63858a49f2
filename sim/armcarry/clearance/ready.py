"""Get the compiled kernels ready, with a word to the user before the first start, which is slow."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import identity, translation
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

WORDS = "compiling the clearance kernels for this machine; only the first start takes this long (about 10 s)"


def make_ready(tell: Callable[[str], None] | None = None) -> bool:
    """Load the kernels that prove clearance, compiling them first where this version has not run here before.

    Args:
        tell: given one sentence before compiling, nothing otherwise.

    Returns:
        Whether they had to be compiled.
    """
    from armcarry.clearance.curve import clearance_curve
    from armcarry.clearance.distance import distance
    from armcarry.clearance.jit import compiled_marker
    from armcarry.clearance.prover import Prover

    marker = compiled_marker()
    cold = marker is None or not marker.exists()
    if cold and tell is not None:
        tell(WORDS)
    joint = Joint("j", "revolute", "base", "link", axis=np.array([0.0, 0.0, 1.0]))
    bodies = (Body("a", "link", Sphere(0.1), translation((1.0, 0.0, 0.0))), Body("b", "base", Sphere(0.1), identity()))
    tree = Tree().place("t", Model("t", "base", ("base", "link"), (joint,), bodies))
    motion = Motion(tree.joints, np.array([0.0, 1.0]), np.array([[[0.0], [0.1]]]))
    prover = Prover(tree, [(0, 1)])
    prover.bounds(motion)
    clearance_curve(tree, motion, prover, cells=2)
    distance(Sphere(0.1), identity(), Sphere(0.1), translation((1.0, 0.0, 0.0)))
    if cold and marker is not None:
        marker.touch()
    return cold
