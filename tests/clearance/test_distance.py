"""What is asked of the arguments of distances at rest: kernels read memory without asking."""

import re

import numpy as np
import pytest

from armcarry.clearance import distance, distances
from armcarry.errors import InputError
from armcarry.geometry.poses import identity, translation
from armcarry.geometry.shapes import Sphere

BALLS = [Sphere(0.5), Sphere(0.5)]
POSES = np.stack([identity(), translation((3.0, 0.0, 0.0))])
ONE = np.array([[0, 1]])


def test_poses_of_another_shape_are_refused_before_memory_is_read():
    assert distances(BALLS, POSES[None], ONE).upper_m[0, 0] == pytest.approx(2.0)
    words = r"poses that do not fit the bodies; found 'an array of shape {}'; accepted: \(N, 2, 4, 4\), one config"
    for given in (POSES, POSES[:1][None], np.stack([POSES, POSES])[:, :, :3], POSES[0]):
        with pytest.raises(InputError, match=words.format(re.escape(str(given.shape)))):
            distances(BALLS, given, ONE)


def test_pairs_of_bodies_that_are_not_there_are_refused():
    for pairs in ([[0, 2]], [[-1, 0]]):
        with pytest.raises(InputError, match=r"a pair of no body; found .*; accepted: rows from 0 to 1"):
            distances(BALLS, POSES[None], np.array(pairs))
    with pytest.raises(InputError, match="a pair of a body with itself"):
        distances(BALLS, POSES[None], np.array([[1, 1]]))


@pytest.mark.parametrize(("call", "told"), [
    (lambda: distances(BALLS, [["", ""]], ONE), "poses that do not fit the bodies"),
    (lambda: distances(3.0, POSES[None], ONE), "shapes: not a list; found 3.0; accepted: shapes of bodies"),
    (lambda: distances([BALLS[0], "ball"], POSES[None], ONE), "not a shape; found 'ball'; accepted: Sphere, "),
    (lambda: distance(BALLS[0], POSES[0], BALLS[1], [1.0]), "T_world_b: not what is accepted"),
    (lambda: distance(None, POSES[0], BALLS[1], POSES[1]), "not a shape; found 'nothing'"),
])  # fmt: skip
def test_what_is_neither_shape_nor_pose_is_refused_in_words(call, told):
    with pytest.raises(InputError, match=told):
        call()
