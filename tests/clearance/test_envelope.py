"""The swept envelope encloses what is swept, is not much larger, and is written so that others read it."""

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.clearance.envelope import swept_envelope
from armcarry.clearance.mesh_files import write_mesh
from armcarry.clearance.skin import skin
from armcarry.clearance.surface_map import Stretch
from armcarry.errors import FrameError, InputError
from armcarry.geometry.poses import apply, translation
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward

pyvista = pytest.importorskip("pyvista")


def placed(tree, motion, rows, times):
    poses = forward(tree, motion.at(times), [tree.bodies[row].link for row in rows])
    return poses @ np.stack([tree.bodies[row].pose for row in rows])


@pytest.mark.parametrize("seed", range(4))
def test_every_swept_point_is_inside_and_the_mesh_is_near_the_swept_room(seed, scene_of):
    tree, motion, _ = scene_of(seed, moving=5, travel=0.4)
    rows = [k for k, body in enumerate(tree.bodies) if "moving" in body.name]
    made = swept_envelope([Stretch(tree, motion)], rows, cell_m=0.08)
    assert made.cell_m == 0.08
    assert made.excess_m < 0.08 * 3.6
    surface = pyvista.PolyData.from_regular_faces(made.vertices_m, made.faces)
    assert surface.n_open_edges == 0
    assert surface.volume > 0.0
    a, b, c = (made.vertices_m[made.faces[:, k]] for k in range(3))
    assert np.einsum("ij,ij->", a, np.cross(b, c)) > 0.0  # outward
    rng = np.random.default_rng(seed)
    times = rng.uniform(0.0, 10.0, 300)
    poses = placed(tree, motion, rows, times)
    points = []
    for k, row in enumerate(rows):
        corners = skin(tree.bodies[row].shape, 0.1).vertices_m
        points.append(apply(poses[:, k, None], corners[rng.integers(len(corners), size=(300, 20))]).reshape(-1, 3))
    cloud = pyvista.PolyData(np.concatenate(points))
    inside = cloud.select_interior_points(surface) if hasattr(cloud, "select_interior_points") else (
        cloud.select_enclosed_points(surface))  # fmt: skip
    flags = inside["selected_points"] if "selected_points" in inside.array_names else inside["SelectedPoints"]
    assert np.all(np.asarray(flags) == 1)
    dense = placed(tree, motion, rows, np.linspace(0.0, 10.0, 2000))
    shapes = [*(tree.bodies[row].shape for row in rows), Sphere(0.0)]
    pairs = np.array([(k, len(rows)) for k in range(len(rows))])
    for vertex in made.vertices_m[rng.choice(len(made.vertices_m), 15)]:
        dot = np.broadcast_to(translation(vertex), (2000, 1, 4, 4))
        least = distances(shapes, np.concatenate([dense, dot], axis=1), pairs).lower_m.min()
        assert 0.0 < least <= made.excess_m + 0.01


def test_stretches_add_up_and_still_bodies_count(scene_of):
    tree, motion, _ = scene_of(2, travel=0.3)
    rows = range(len(tree.bodies))
    parts = [Stretch(tree, motion, 0.0, 3.0), Stretch(tree, motion, 3.0, 10.0)]
    whole, cut = swept_envelope([Stretch(tree, motion)], rows), swept_envelope(parts, rows)
    sizes = [pyvista.PolyData.from_regular_faces(e.vertices_m, e.faces).volume for e in (whole, cut)]
    assert sizes[1] == pytest.approx(sizes[0], rel=0.02)


def test_a_room_too_large_for_the_grid_is_made_coarser_and_says_so(scene_of, monkeypatch):
    monkeypatch.setattr("armcarry.clearance.envelope._MOST_POINTS", 20_000)
    tree, motion, _ = scene_of(1)
    made = swept_envelope([Stretch(tree, motion)], [0, 1], cell_m=0.02)
    assert made.cell_m > 0.02
    assert made.excess_m > 2.7 * made.cell_m


def test_what_cannot_be_enclosed_is_refused(scene_of):
    tree, motion, _ = scene_of(1)
    with pytest.raises(ValueError, match="needs at least one body and one stretch"):
        swept_envelope([Stretch(tree, motion)], [])
    for cell_m in (0.0, -1.0, float("nan")):
        with pytest.raises(ValueError, match="a grid needs a cell of more than 0 m"):
            swept_envelope([Stretch(tree, motion)], [0], cell_m=cell_m)
    with pytest.raises(FrameError, match="no body row named '99'"):
        swept_envelope([Stretch(tree, motion)], [99])


@pytest.mark.parametrize("ending", [".stl", ".obj", ".glb"])
def test_files_are_read_back_by_another_library(ending, tmp_path):
    vertices = np.array([[0, 0, 0], [2, 0, 0], [0, 3, 0], [0, 0, 4.0]])
    faces = np.array([[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]])
    path = tmp_path / f"room{ending}"
    write_mesh(path, vertices, faces, "swept room")
    read = pyvista.read(path)
    if isinstance(read, pyvista.MultiBlock):
        read = read.combine().extract_surface(algorithm="dataset_surface")
    assert read.n_cells == 4
    low, high = np.array(read.bounds).reshape(3, 2).T
    size = high - low
    # glTF is y up: z becomes y
    assert size == pytest.approx([2, 4, 3] if ending == ".glb" else [2, 3, 4], abs=1e-6)
    assert read.triangulate().clean().volume == pytest.approx(4.0, abs=1e-5)


def test_another_ending_is_refused(tmp_path):
    words = r"no mesh is written with this ending; found '\.ply'; accepted: \.stl, \.obj, \.glb"
    with pytest.raises(InputError, match=words):
        write_mesh(tmp_path / "room.ply", np.zeros((3, 3)), np.array([[0, 1, 2]]))
