"""The swept room and the approach map of a run: what counts in them, and that the command writes the mesh."""

from __future__ import annotations

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.clearance import distances
from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.geometry.poses import apply
from armcarry.geometry.shapes import Sphere
from armcarry.motion.forward import forward
from armcarry.record.store import save
from armcarry.whatif.swept import MAP_REPORT_M, closest_map, envelope, stretches

pyvista = pytest.importorskip("pyvista")


def placed(record, part, times, rows):
    """Return T_world_body (N, B, 4, 4)."""
    links = [part.tree.bodies[row].link for row in rows]
    return forward(part.tree, record.motion.at(times), links) @ np.stack([part.tree.bodies[row].pose for row in rows])


def test_only_what_hangs_from_the_arms_joints_counts(short_run):
    record, _ = short_run
    for part in stretches(record):
        names = {part.tree.bodies[row].name.split("/")[0] for row in part.moving}
        aboard = {m.instance for m in part.tree.mountings if part.tree.hangs_from(m.instance, "arm")}
        assert names == aboard
        assert "platform" not in names
    assert [part.end_s for part in stretches(record)][-1] == record.motion.end_s


def test_the_room_holds_the_bodies_at_random_instants(short_run):
    record, _ = short_run
    made = envelope(record, cell_m=0.4)
    surface = pyvista.PolyData.from_regular_faces(made.vertices_m, made.faces)
    rng = np.random.default_rng(4)
    for part in stretches(record):
        times = rng.uniform(part.start_s, part.end_s, 12)
        at = placed(record, part, times, part.moving)
        cloud = pyvista.PolyData(at[..., :3, 3].reshape(-1, 3))
        found = (cloud.select_interior_points if hasattr(cloud, "select_interior_points")
                 else cloud.select_enclosed_points)(surface)
        flags = found["selected_points"] if "selected_points" in found.array_names else found["SelectedPoints"]
        assert np.all(np.asarray(flags) == 1)


def test_no_face_is_ever_nearer_than_the_map_says(short_run):
    record, _ = short_run
    made = closest_map(record)
    near = np.flatnonzero(made.lower_m < MAP_REPORT_M)
    assert len(near)
    rng = np.random.default_rng(5)
    rows = near[rng.choice(len(near), 40)]
    for part in stretches(record):
        bodies, count = part.tree.bodies, len(part.moving)
        shapes = [*(bodies[row].shape for row in part.moving), Sphere(0.0)]
        pairs = np.array([(k, count) for k in range(count)])
        for time in rng.uniform(part.start_s, part.end_s, 6):
            moving = placed(record, part, [time], part.moving)[0]
            seats = placed(record, part, [time], made.body[rows])[0]
            for face, seat in zip(rows, seats, strict=True):
                dot = np.eye(4)
                dot[:3, 3] = apply(seat, made.corners_m[face].mean(axis=0))
                gap = distances(shapes, np.concatenate([moving, dot[None]])[None], pairs).upper_m.min()
                # the middle of a facet lies at most its bulge inside a round body
                assert gap >= made.lower_m[face] - 0.02


def test_a_carry_that_is_not_there_is_named(short_run):
    with pytest.raises(InputError, match=r"the run has no carry of this name; found 'nope'; accepted: "):
        envelope(short_run[0], ["nope"])


def test_the_command_writes_the_mesh(short_run, tmp_path):
    short_folder = tmp_path / "run"
    save(*short_run, short_folder)
    path = tmp_path / "room.obj"
    done = CliRunner().invoke(app, ["envelope", str(short_folder), "--out", str(path), "--cell", "0.5 m", "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    mesh = pyvista.read(path)
    assert mesh.n_cells == told["faces"] > 100
    assert told["too_large_by_at_most_m"] < 2.0
    done = CliRunner().invoke(app, ["envelope", str(short_folder), "--cell", "0.5 m"])
    assert done.exit_code == 0, "a run without pictures gets the folder for it"
    assert (short_folder / "views" / "envelope.stl").stat().st_size > 50 * 100
    wrong = CliRunner().invoke(app, ["envelope", str(short_folder), "--out", str(tmp_path / "room.ply")])
    assert str(wrong.exception).endswith("found '.ply'; accepted: .stl, .obj, .glb")
    for cell in ("0 m", "-1 m", "50 m"):
        wrong = CliRunner().invoke(app, ["envelope", str(short_folder), "--out", str(path), "--cell", cell])
        assert "no grid is made with this cell" in str(wrong.exception)
        assert "accepted: 0.01 m to 2 m" in str(wrong.exception)
