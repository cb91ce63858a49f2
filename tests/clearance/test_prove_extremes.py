"""Motions so fast, so long or at such a clock that a proof may run out of numbers or of memory."""

import numpy as np
import pytest

from armcarry.clearance import Prover, clearance_curve, pool, prove_clearance
from armcarry.clearance.groups import least_of_groups
from armcarry.errors import MotionError
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import translation
from armcarry.geometry.shapes import Capsule, Sphere
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

Z, Y, X = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0]), np.array([1.0, 0.0, 0.0])


def slide_past(radius_m, at):
    """A small ball that slides along x, and a ball of ``radius_m`` that stands in its way at x = ``at``."""
    joint = Joint("j", "prismatic", "base", "car", axis=X, lower=-9.0, upper=9.0)
    bodies = (Body("car", "car", Sphere(0.01), translation((0, 0, 0))),
              Body("post", "base", Sphere(radius_m), translation(at)))  # fmt: skip
    return Tree().place("t", Model("t", "base", ("base", "car"), (joint,), bodies))


def across(start_s, end_s):
    """From x = -1 to 1."""
    return Motion(("t/j",), np.array([start_s, end_s]), np.array([[[-1.0], [2.0 / (end_s - start_s)]]]))


@pytest.mark.parametrize(
    ("start_s", "lasts_s"), [(0.0, 10.0), (0.0, 1e-7), (0.0, 2e-9), (0.0, 1e-15), (1e6, 10.0), (1e6, 1e-3), (1e6, 1e-7)]
)
def test_a_row_however_short_goes_through_nothing(start_s, lasts_s):
    tree, motion = slide_past(0.3, (0.0, 0.0, 0.0)), across(start_s, start_s + lasts_s)
    bounds = prove_clearance(tree, motion, [(0, 1)])
    assert bounds.status[0] == "contact"
    # inside for |x| < 0.31
    found = (bounds.contact_s[0] - start_s) / (motion.end_s - start_s)
    assert found == pytest.approx([0.345, 0.655], abs=5e-3)
    beside = slide_past(0.3, (0.0, 0.5, 0.0))
    free = prove_clearance(beside, motion, [(0, 1)])
    assert free.status[0] == "proven"
    assert free.lower_m[0] <= 0.19 <= free.upper_m[0] + (1e-3 if start_s else 1e-9)


def too_fast():
    """Two metres within four instants of a clock, past a ball that is touched at none of them."""
    start_s = 1e9
    end_s = start_s
    for _ in range(4):
        end_s = float(np.nextafter(end_s, np.inf))
    return slide_past(0.05, (0.25, 0.0, 0.0)), across(start_s, end_s)


def test_what_time_cannot_be_cut_finely_enough_for_is_unresolved_and_never_proven():
    tree, motion = too_fast()
    bounds = prove_clearance(tree, motion, [(0, 1)])
    assert (bounds.status[0], bounds.lower_m[0]) == ("unresolved", -np.inf)
    assert bounds.upper_m[0] == pytest.approx(0.19, abs=1e-6)
    curve = clearance_curve(tree, motion, [(0, 1)], cells=1)
    assert curve.lower_m[0, 0] == -np.inf
    assert least_of_groups(Prover(tree, [(0, 1)]), motion).lower_m[0] == -np.inf
    assert bounds.nearest == 0


def spinning(turns):
    """Two joints that turn about z and y, a rod on the second, and a ball in its reach."""
    joints = (Joint("a", "revolute", "base", "one", axis=Z, lower=-np.inf, upper=np.inf),
              Joint("b", "revolute", "one", "two", translation((1.0, 0.0, 0.0)), Y, -np.inf, np.inf))  # fmt: skip
    bodies = (Body("rod", "two", Capsule(0.05, 0.5), translation((0.3, 0.0, 0.0))),
              Body("post", "base", Sphere(0.2), translation((2.0, 0.4, 0.3))))  # fmt: skip
    tree = Tree().place("t", Model("t", "base", ("base", "one", "two"), joints, bodies))
    rates = 2 * np.pi * turns / 100.0 * np.array([1.0, 1.37])
    return tree, Motion(tree.joints, np.array([0.0, 100.0]), np.stack([np.zeros(2), rates])[None])


def test_a_proof_in_parts_says_what_the_whole_says(monkeypatch):
    tree, motion = spinning(300.0)
    whole = prove_clearance(tree, motion, [(0, 1)])
    monkeypatch.setattr(pool, "MOST_BYTES", 1_000_000)
    prover = Prover(tree, [(0, 1)])
    prover.start_small()
    parts = prover.bounds(motion, tolerance_m=1e-4)
    assert prover._nodes == pool.most_nodes(prover.layout)
    assert whole.status[0] == parts.status[0] == "proven"
    assert parts.lower_m[0] == pytest.approx(whole.lower_m[0], abs=1e-3)
    assert parts.upper_m[0] - parts.lower_m[0] <= 1e-4
    assert parts.lower_m[0] <= whole.upper_m[0]
    assert whole.lower_m[0] <= parts.upper_m[0]


def test_the_first_contact_is_told_whole_where_parts_meet(monkeypatch):
    tree, motion = slide_past(0.3, (0.0, 0.0, 0.0)), across(0.0, 10.0)
    whole = prove_clearance(tree, motion, [(0, 1)])
    prover = Prover(tree, [(0, 1)])
    prover.start_small()
    prover._nodes = 12
    monkeypatch.setattr(pool, "MOST_BYTES", 1)
    parts = prover.bounds(motion)
    assert parts.status[0] == "contact"
    assert parts.contact_s[0] == pytest.approx(whole.contact_s[0], abs=2e-3)


def test_a_proof_without_end_ends_with_what_to_do(monkeypatch):
    monkeypatch.setattr(pool, "MOST_BYTES", 200_000)
    tree, motion = spinning(1e5)
    with pytest.raises(MotionError, match=r"its joints turn too often.*prove it in shorter parts \(start_s, end_s\)"):
        prove_clearance(tree, motion, [(0, 1)])
    with pytest.raises(MotionError, match="its joints turn too often"):
        clearance_curve(tree, motion, [(0, 1)], cells=1, band_m=1e-4)
