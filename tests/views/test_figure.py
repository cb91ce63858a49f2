from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.scene.build import build_scene
from armcarry.views import looks, palette
from armcarry.views.figure import dressed, rounded
from armcarry.views.looks import PEOPLE, Bands, Look, bands, material


@pytest.fixture(scope="module")
def crew():
    scene = build_scene(load_scenario(scenarios_folder() / "day_at_tern_yard.yaml"))
    return [body for body in scene.tree.bodies if body.name.split("/")[0] in ("ev1", "ev2")]


def outside_m(shape, points):
    """How far points stick out of a shape."""
    match shape:
        case Sphere(r):
            return np.linalg.norm(points, axis=1) - r
        case Capsule(r, length):
            axis = np.clip(points[:, 2], -length / 2, length / 2)
            return np.linalg.norm(points - np.outer(axis, [0, 0, 1]), axis=1) - r
        case Cylinder(r, length):
            return np.maximum(np.linalg.norm(points[:, :2], axis=1) - r, np.abs(points[:, 2]) - length / 2)
        case Box(size):
            return (np.abs(points) - np.array(size) / 2).max(axis=1)
        case ConvexMesh(vertices, faces):
            a, b, c = vertices[faces].transpose(1, 0, 2)
            normal = np.cross(b - a, c - a)
            normal /= np.linalg.norm(normal, axis=1, keepdims=True)
            return ((points[:, None] - a) * normal).sum(axis=2).max(axis=1)


@pytest.mark.parametrize("count", [1, 2, 3])
def test_what_is_drawn_for_people_lies_inside_what_was_proven(crew, count):
    for body in crew:
        parts = dressed(body, Look("#FFFFFF", "fabric"), Bands(count, "#0072B2"), 12)
        points = np.concatenate([surface.vertices_m for surface, _ in parts])
        assert outside_m(body.shape, points).max() < 1e-6, body.name
        for surface, _ in parts:
            assert np.allclose(np.linalg.norm(surface.normals, axis=1), 1, atol=1e-6), body.name
            assert surface.faces.max() < len(surface.vertices_m)


def test_a_suit_has_gloves_boots_pack_visor_and_bands(crew):
    made = {body.name.split("/")[1]: dressed(body, Look("#FFFFFF", "fabric"), Bands(2, PEOPLE[1]), 12)
            for body in crew if body.name.startswith("ev1/")}
    hue = {name for name, parts in made.items() if any(look.colour == PEOPLE[1] for _, look in parts)}
    assert hue == {"pack", "helmet", "glove_left", "glove_right", "upper_arm_left", "upper_arm_right",
                   "thigh_left", "thigh_right"}
    assert len(made["glove_left"]) == 3 and len(made["boot_left"]) == 2
    assert material("visor_bowl", "rider", False) == "glass"


def test_a_body_with_a_name_of_its_own_is_drawn_as_it_is(crew):
    ball = replace(crew[0], name="ev1/thing", shape=Sphere(0.3))
    (surface, look), = dressed(ball, Look("#123456", "fabric"), Bands(1, "#0072B2"), 12)
    assert np.allclose(np.linalg.norm(surface.vertices_m, axis=1), 0.3) and look == Look("#123456", "fabric")


def test_people_are_told_apart_by_shape_and_by_brightness_alone(crew):
    # 3 to 1 is what signs need (WCAG 2.2); brightness is seen by every eye
    for one, other in pairwise(PEOPLE):
        assert palette.contrast(one, other) >= 3.0
    names = {"ev1": 0, "ev2": 0}
    record = type("Run", (), {"scene": type("S", (), {"loaded": type("L", (), {"crew": names})})})
    assert [bands(record, name).count for name in names] == [1, 2]
    assert bands(record, "ev1").hue != bands(record, "ev2").hue


def test_surfaces_face_outwards():
    surface = rounded(np.array([0.3, 0.2, 0.4]), 16)
    a, b, c = surface.vertices_m[surface.faces].transpose(1, 0, 2)
    flat = np.cross(b - a, c - a)
    large = np.linalg.norm(flat, axis=1) > 1e-9
    assert (np.einsum("nk,nk->n", flat, a + b + c)[large] > 0).all()
    assert np.einsum("nk,nk->n", surface.normals, surface.vertices_m).min() > 0


def test_materials_follow_names_and_classes():
    assert material("solar_blanket_port_fore", "appendage", True) == "cells"
    assert material("blanket_roll", "hardware", False) == "foil"
    assert material("keel_frame_3_top", "structure", False) == "metal"
    assert material("hearth_barrel", "structure", False) == "paint"
    assert material("shin_left", "rider", False) == "fabric"
    assert set(looks.MATERIALS) == {"metal", "paint", "fabric", "glass", "cells", "foil"}
