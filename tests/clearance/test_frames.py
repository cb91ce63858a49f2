"""What kernels know of a tree is made once a tree, and let go with it."""

import gc

import numpy as np

from armcarry.clearance import frames
from armcarry.clearance.frames import lay_out, place_bodies


def test_the_bodies_of_a_tree_are_seated_once_and_those_of_another_anew(rider_scene):
    scene = rider_scene({})
    first = place_bodies(scene.tree)
    assert place_bodies(scene.tree) is first
    moved = scene.tree.attach("restraint", "world", np.eye(4))
    other = place_bodies(moved)
    assert other is not first and not np.array_equal(other.frames.hang, first.frames.hang)
    one, two = (lay_out(scene.tree, np.array([[0, 1]])) for _ in range(2))
    assert one.solids is two.solids and one is not two


def test_a_tree_that_is_gone_is_not_kept(rider_scene):
    tree = rider_scene({}).tree.attach("restraint", "world", np.eye(4))
    place_bodies(tree)
    assert tree in frames._PLACED
    count = len(frames._PLACED)
    del tree
    gc.collect()
    assert len(frames._PLACED) < count
