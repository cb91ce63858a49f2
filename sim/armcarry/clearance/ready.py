"""Get the compiled kernels ready, with a word to the user before the first start, which is slow."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from contextlib import suppress
from importlib import import_module

import numpy as np

from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import identity, translation
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

WORDS = "compiling the clearance kernels for this machine; only the first start takes this long (about 10 s)"


def is_ready() -> bool:
    """Tell whether the kernels of this version were compiled on this machine before."""
    from armcarry.clearance.jit import compiled_marker

    marker = compiled_marker()
    return marker is not None and marker.exists()


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
    if cold and marker is not None:
        _compile_on_two_cores()
    joint = Joint("j", "revolute", "base", "link", axis=np.array([0.0, 0.0, 1.0]))
    bodies = (Body("a", "link", Sphere(0.1), translation((1.0, 0.0, 0.0))), Body("b", "base", Sphere(0.1), identity()))
    tree = Tree().place("t", Model("t", "base", ("base", "link"), (joint,), bodies))
    motion = Motion(tree.joints, np.array([0.0, 1.0]), np.array([[[0.0], [0.1]]]))
    prover = Prover(tree, [(0, 1)])
    prover.bounds(motion)
    clearance_curve(tree, motion, prover, cells=2)
    distance(Sphere(0.1), identity(), Sphere(0.1), translation((1.0, 0.0, 0.0)))
    if cold and marker is not None:
        with suppress(OSError):  # a full disk: the next start compiles again, as it has been told
            marker.touch()
    return cold


def _compile_on_two_cores() -> None:
    """Compile half of the large kernels in another process meanwhile; what it makes is found in the cache.

    Nothing depends on it: what is missing afterwards is compiled here, a few seconds later.
    """
    try:
        other = subprocess.Popen(
            [sys.executable, "-c", "import armcarry.clearance.timetree"],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except OSError:  # no second process may be started here
        return
    import_module("armcarry.clearance.measure")
    import_module("armcarry.clearance.planes")
    other.wait()
