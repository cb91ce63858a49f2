"""Other engines are asked honestly: right where they are right, absent where they are absent."""

import numpy as np
import pytest

from armcarry.clearance.second_opinion import BANDS_M, EngineAnswer, Opinion, engine_distance, present
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

CUBE = ConvexMesh.hull_of(np.array([[x, y, z] for x in (-0.5, 0.5) for y in (-0.5, 0.5) for z in (-0.5, 0.5)]))
#: pair, pose of the second, distance in closed form
KNOWN = [
    (Sphere(0.5), Sphere(0.25), translation((2.0, 0.0, 0.0)), 1.25),
    (Capsule(0.5, 1.0), Capsule(0.25, 1.0), from_xyz_rpy((0.0, 3.0, 0.0), (0.0, np.pi / 2, 0.0)), 2.25),
    (Box((1, 1, 1)), Box((1, 1, 1)), from_xyz_rpy((2.0, 0.0, 0.0), (0.0, 0.0, np.pi / 4)), 1.5 - np.sqrt(0.5)),
    (Cylinder(1.0, 2.0), Sphere(0.5), translation((3.0, 0.0, 3.0)), np.sqrt(8.0) - 0.5),
    (CUBE, Sphere(0.5), translation((2.0, 2.0, 2.0)), np.sqrt(3.0) * 1.5 - 0.5),
]


@pytest.mark.parametrize("engine", list(BANDS_M))
@pytest.mark.parametrize(("shape_a", "shape_b", "pose", "wanted_m"), KNOWN)
def test_an_engine_is_inside_its_band_on_known_distances(engine, shape_a, shape_b, pose, wanted_m):
    if not present(engine):
        pytest.skip(f"{engine} is not installed")
    assert engine_distance(engine)(shape_a, identity(), shape_b, pose) == pytest.approx(wanted_m, abs=BANDS_M[engine])


@pytest.mark.parametrize("engine", list(BANDS_M))
def test_an_engine_sees_overlap(engine):
    if not present(engine):
        pytest.skip(f"{engine} is not installed")
    assert engine_distance(engine)(Box((1, 1, 1)), identity(), Sphere(0.5), translation((0.7, 0, 0))) <= 0.0


def _opinion(theirs_m, lower_m=1.0, upper_m=1.0005):
    return Opinion("coal", "arm/a", "platform/b", 3.0, theirs_m, lower_m, upper_m)


def test_agreement_ends_at_the_engines_own_band():
    assert _opinion(1.0).agrees
    assert _opinion(1.0 - 4.9e-5).agrees
    assert not _opinion(1.0 - 5.1e-5).agrees
    assert _opinion(1.0005 + 4.9e-5).agrees
    assert not _opinion(1.0005 + 5.1e-5).agrees


def test_contact_agrees_with_any_overlap_and_with_nothing_else():
    assert _opinion(-0.2, 0.0, 0.0).agrees
    assert not _opinion(0.01, 0.0, 0.0).agrees


def test_an_absent_engine_has_no_answers():
    assert EngineAnswer("coal", False).opinions == ()
