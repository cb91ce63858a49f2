"""What was understood of a file from elsewhere, as rows for a table and as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import ArmcarryError
from armcarry.files.import_model import Inspection, home_of
from armcarry.geometry.model import Joint
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.quantities import show
from armcarry.scene.tree import Tree
from armcarry.views import gl, palette
from armcarry.views.annotate import Sheet
from armcarry.views.meshes import triangles

SIZE = (1600, 900)
#: kept free for the words above and below the drawing, pixels
_ABOVE_PX, _BELOW_PX = 90, 100
JOINT_HEADINGS = ("Joint", "Kind", "From", "To", "Rate", "Moves")
MESH_HEADINGS = ("Link", "Mesh", "Triangles", "Size", "Pieces", "Sticks out at most", "Closed")


def joint_rows(seen: Inspection) -> list[tuple[str, ...]]:
    """Return a row a movable joint: name, kind, travel, rate and the link it moves."""
    return [(joint.name, joint.kind, *_travel(joint), joint.child) for joint in seen.model.movable()]


def _travel(joint: Joint) -> tuple[str, str, str]:
    unit, rate = ("angle", "angular_speed") if joint.kind == "revolute" else ("length", "speed")

    def told(value: float, kind: str) -> str:
        return show(value, kind) if np.isfinite(value) else "no limit"

    return told(joint.lower, unit), told(joint.upper, unit), told(joint.velocity, rate)


def mesh_rows(seen: Inspection) -> list[tuple[str, ...]]:
    """Return a row a mesh: link, file, triangles, size, convex pieces and how far they stick out."""
    return [
        (
            link, mesh.name, str(mesh.triangles), " x ".join(f"{value:.3g}" for value in mesh.size_m) + " m",
            str(len(mesh.pieces.shapes)), f"{1e3 * mesh.pieces.error_m:.1f} mm",
            "yes" if mesh.pieces.closed else "no",
        )
        for link, mesh in seen.imported.rows
    ]


def as_dict(seen: Inspection) -> dict[str, Any]:
    """Return everything that was understood as plain values for JSON, lengths in metres."""
    return {
        "file": str(seen.source),
        "name": seen.name,
        "kind": "arm" if seen.is_arm else "platform",
        "links": len(seen.model.links),
        "bodies": len(seen.model.bodies),
        "root": seen.model.root,
        "tip": seen.tip,
        "chain": [joint.name for joint in seen.chain],
        "joints": [dict(zip(JOINT_HEADINGS, row, strict=True)) for row in joint_rows(seen)],
        "meshes": [
            {
                "link": link, "file": mesh.name, "triangles": mesh.triangles, "pieces": len(mesh.pieces.shapes),
                "error_m": mesh.pieces.error_m, "closed": mesh.pieces.closed,
            }
            for link, mesh in seen.imported.rows
        ],
        "error_m": seen.error_m,
        "notes": seen.imported.notes,
    }


def draw(seen: Inspection, path: Path) -> Path:
    """Draw the bodies at home from two sides, with the axes of base and tip, and write a PNG.

    Raises:
        ArmcarryError: nothing can be drawn on this machine, or there is no body to draw.
    """
    trouble = gl.problem() if seen.model.bodies else "no body to draw"
    if trouble is not None:
        raise ArmcarryError(trouble)
    import pyvista

    tree = Tree().place("it", seen.model)
    at = forward(tree, np.array([home_of(joint) for joint in seen.model.movable()]))
    size_px = [SIZE[0], SIZE[1] - _ABOVE_PX - _BELOW_PX]
    plotter: Any = pyvista.Plotter(off_screen=True, window_size=size_px, shape=(1, 2), border=False)
    corners = _add_bodies(plotter, seen, tree, at)
    low, high = corners.min(axis=0), corners.max(axis=0)
    length = 0.12 * float(np.linalg.norm(high - low))
    middle = (low + high) / 2
    for side, (direction, up) in enumerate(
        (((1.0, -1.3, 0.7), (0.0, 0.0, 1.0)), ((0.0, -1.0, 0.0), (0.0, 0.0, 1.0)))
    ):
        plotter.subplot(0, side)
        plotter.set_background(palette.ROOM)
        for link in (seen.model.root, seen.tip):
            _add_axes(plotter, at[tree.index(f"it/{link}")], length)
        plotter.camera_position = [tuple(middle + np.array(direction) * 6 * length), tuple(middle), up]
        plotter.enable_parallel_projection()
        plotter.reset_camera()
    drawn = np.asarray(plotter.screenshot(return_img=True), dtype=np.uint8)
    plotter.close()
    picture = np.empty((SIZE[1], SIZE[0], 3), dtype=np.uint8)
    picture[:] = np.round(255 * np.array(palette.channels(palette.ROOM)))
    picture[_ABOVE_PX : SIZE[1] - _BELOW_PX] = drawn
    sheet = Sheet(picture)
    what = f"{len(seen.chain)} joints from {seen.model.root} to {seen.tip}" if seen.is_arm else "platform"
    size = " x ".join(f"{value:.3g}" for value in high - low)
    sheet.title(f"{seen.name}: {what}", f"{len(seen.model.bodies)} convex bodies, {size} m; the home position")
    sheet.caption(
        [
            f"Convex pieces stick out of their meshes by at most {1e3 * seen.error_m:.1f} mm" if seen.imported.rows
            else "No meshes: every body is a shape, taken as it is",
            "Axes of root and tip: x red-orange, y green, z blue. Left from the front right, right along +y.",
        ]
    )
    return sheet.save(path)


def _add_bodies(plotter: Any, seen: Inspection, tree: Tree, at: Array) -> Array:
    """Add the bodies to both views, one colour a link in turn; return their corners (n, 3)."""
    import pyvista

    colours = (palette.ORANGE, palette.SKY_BLUE, palette.BLUISH_GREEN, palette.YELLOW, palette.REDDISH_PURPLE)
    links = list(dict.fromkeys(body.link for body in seen.model.bodies))
    corners = []
    for body in seen.model.bodies:
        surface = triangles(body.shape)
        pose = at[tree.index(f"it/{body.link}")] @ body.pose
        points = surface.vertices_m @ pose[:3, :3].T + pose[:3, 3]
        corners.append(points)
        faces = np.hstack([np.full((len(surface.faces), 1), 3), surface.faces])
        mesh = pyvista.PolyData(points, faces.ravel())
        for side in (0, 1):
            plotter.subplot(0, side)
            plotter.add_mesh(mesh, color=colours[links.index(body.link) % len(colours)], show_edges=False)
    return np.concatenate(corners)


def _add_axes(plotter: Any, pose: Array, length: float) -> None:
    import pyvista

    for axis, colour in enumerate((palette.VERMILLION, palette.BLUISH_GREEN, palette.BLUE)):
        line = pyvista.Line(pose[:3, 3], pose[:3, 3] + pose[:3, axis] * length)
        plotter.add_mesh(line, color=colour, line_width=5, lighting=False)
