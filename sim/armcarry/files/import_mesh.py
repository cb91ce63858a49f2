"""Meshes from elsewhere: read, brought to metres and z up, and cut into convex pieces kept by digest."""

from __future__ import annotations

import hashlib
import io
import os
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from armcarry.errors import InputError, MissingExtraError, RecordError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.files.glb import look_over_glb
from armcarry.files.import_dae import read_dae
from armcarry.files.meshes import MAX_BYTES, MAX_TRIANGLES, SUFFIXES, Triangles, checked, is_closed, read_mesh
from armcarry.files.pieces import Pieces, convex_pieces, most_pieces
from armcarry.files.yaml_text import read_bytes
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import ConvexMesh

#: glTF has metres and y up by its standard (Khronos glTF 2.0, section 3.4)
GLTF = (".glb",)
#: COLLADA says its unit and which way is up
COLLADA = (".dae",)
READ = (*SUFFIXES, *GLTF, *COLLADA)
UNITS_M = {"m": 1.0, "cm": 0.01, "mm": 0.001, "in": 0.0254, "ft": 0.3048}
#: part of every key, so that pieces of an older way of cutting are not taken for those of this one
_WAY = "armcarry pieces 4"


@dataclass(frozen=True, eq=False)
class ImportedMesh:
    """A mesh from elsewhere.

    Attributes:
        name: the file.
        size_m: extent (3,) along x, y, z in metres.
        triangles: how many.
        pieces: convex pieces that contain it.
        notes: what was assumed or looks odd.
    """

    name: str
    size_m: Array
    triangles: int
    pieces: Pieces
    notes: tuple[str, ...]


def import_mesh(
    path: Path, scale: Array | float = 1.0, *, tolerance_m: float = 0.01, most: int = 16, length_m: float | None = None,
    most_triangles: int = MAX_TRIANGLES,
) -> ImportedMesh:
    """Read a mesh and cut it into convex pieces; pieces of the same bytes are cut once.

    Args:
        path: STL, OBJ, GLB or DAE; GLB and DAE come in metres and z up.
        scale: metres a unit of the file, one number or one an axis.
        tolerance_m, most: as ``convex_pieces``.
        most_triangles: more are refused; it also sets how finely large triangles are measured.
        length_m: size that the mesh should roughly have, to notice a wrong unit.

    Raises:
        InputError: not readable or without triangles; MissingExtraError for GLB or DAE without the extra ``mesh``.
    """
    mesh, content, told = _read(path, most_triangles)
    factors = np.broadcast_to(np.asarray(scale, dtype=float), 3)
    mesh = Triangles(mesh.vertices * factors, mesh.faces[:, ::-1] if np.prod(factors) < 0 else mesh.faces)
    if not len(mesh.faces):
        raise InputError("the mesh has no triangles", file=path)
    size_m = np.ptp(mesh.vertices, axis=0)
    notes = [*told, *_odd(size_m, length_m)]
    closed = is_closed(mesh.faces)
    if closed and mesh.volume < 0:
        mesh = Triangles(mesh.vertices, mesh.faces[:, ::-1])
        notes.append("its faces point inwards; they are taken the other way round")
    if not closed:
        notes.append("its surface is not closed: the pieces contain the surface, not what it might enclose")
    if most_pieces(len(mesh.faces)) < most:
        notes.append(
            f"{len(mesh.faces)} triangles: cut into no more than {most_pieces(len(mesh.faces))} pieces; "
            "a mesh of fewer triangles fits closer"
        )
    asked = f"{_WAY} {factors.tolist()!r} {tolerance_m!r} {most!r}{_other(most_triangles)}"
    key = hashlib.sha256(asked.encode() + content).hexdigest()
    pieces = _kept(key)
    if pieces is None:
        pieces = convex_pieces(mesh, closed, tolerance_m=tolerance_m, most=most, most_triangles=most_triangles)
        _keep(key, pieces)
    if pieces.error_m > tolerance_m:
        notes.append(
            f"its {len(pieces.shapes)} pieces stick out by up to {1e3 * pieces.error_m:.1f} mm, not kept within the "
            f"{1e3 * tolerance_m:g} mm asked for"
        )
    if pieces.coarser > 1.0:
        notes.append(
            f"its triangles are so large together that how far pieces stick out is measured {pieces.coarser:.2g} times "
            f"as coarsely as usual; --most-triangles above {most_triangles} measures finer"
        )
    return ImportedMesh(path.name, size_m, len(mesh.faces), pieces, tuple(notes))


def _other(most_triangles: int) -> str:
    return "" if most_triangles == MAX_TRIANGLES else f" {most_triangles}"


def _odd(size_m: Array, length_m: float | None) -> list[str]:
    largest = float(size_m.max())
    if length_m is not None and largest > 100 * length_m:
        return [f"it is {largest:.3g} m long beside joints {length_m:.3g} m apart: millimetres? give it a scale"]
    if length_m is None and largest > 500:
        return [f"it is {largest:.3g} m long: millimetres? say --unit mm"]
    if length_m is None and largest < 0.05:
        return [f"it is {largest * 1e3:.3g} mm long: is the unit right? say --unit"]
    return []


def _read(path: Path, most_triangles: int) -> tuple[Triangles, bytes, list[str]]:
    if path.suffix.lower() not in READ:
        raise InputError(
            "a mesh of a kind that is not read", file=path, found=path.suffix, accepted=", ".join(READ)
        )
    if path.suffix.lower() in GLTF:
        return _read_glb(path, most_triangles)
    if path.suffix.lower() in COLLADA:
        return read_dae(path, most_triangles)
    return *read_mesh(path, most_triangles), []


def _read_glb(path: Path, most_triangles: int) -> tuple[Triangles, bytes, list[str]]:
    content = read_bytes(path, MAX_BYTES, "mesh")
    look_over_glb(content, path, most_triangles)
    try:
        import trimesh
    except ImportError:
        raise MissingExtraError("trimesh", "mesh", "reading GLB") from None
    try:
        loaded = trimesh.load_scene(io.BytesIO(content), file_type="glb").to_mesh()
    except Exception as error:  # whatever a foreign reader raises on foreign bytes
        raise InputError(f"not a GLB file: {type(error).__name__}", file=path) from error
    try:
        vertices = np.asarray(loaded.vertices, dtype=float).reshape(-1, 3)
        faces = np.asarray(loaded.faces, dtype=np.int64).reshape(-1, 3)
    except (TypeError, ValueError, OverflowError) as error:
        raise InputError(f"not a GLB file: {type(error).__name__}", file=path) from error
    x, y, z = vertices.T
    turned = np.stack([x, -z, y], axis=1)
    return checked(turned, faces, path, most_triangles), content, ["glTF: y up was turned to z up"]


# -- kept by digest ------------------------------------------------------------------------------------------


def cache_folder() -> Path:
    """Return where pieces are kept: ARMCARRY_CACHE, else the user's cache folder."""
    given = os.environ.get("ARMCARRY_CACHE")
    if given:
        return Path(given)
    base = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return (Path(base) if base else Path.home() / ".cache") / "armcarry"


def _kept(key: str) -> Pieces | None:
    """Return pieces that were kept; None when there are none or they are damaged."""
    try:
        content = (cache_folder() / f"{key}.npz").read_bytes()
        with np.load(io.BytesIO(content), allow_pickle=False) as kept:
            if str(kept["way"]) != _WAY:
                return None
            shapes = tuple(ConvexMesh(kept[f"v{k}"], kept[f"f{k}"]) for k in range(int(kept["count"])))
            error_m, share, coarser = (float(kept[name]) for name in ("error_m", "share", "coarser"))
            return Pieces(shapes, error_m, bool(kept["closed"]), share, coarser)
    except Exception:  # absent or damaged in whatever way: they are cut again
        return None


def _keep(key: str, pieces: Pieces) -> None:
    table: dict[str, Array] = {
        "way": np.array(_WAY), "count": np.array(len(pieces.shapes)), "error_m": np.array(pieces.error_m),
        "closed": np.array(pieces.closed), "share": np.array(pieces.share), "coarser": np.array(pieces.coarser),
    }  # fmt: skip
    for k, shape in enumerate(pieces.shapes):
        table |= {f"v{k}": shape.vertices_m, f"f{k}": shape.faces}
    buffer = io.BytesIO()
    np.savez(buffer, **table)  # type: ignore[arg-type]
    try:
        cache_folder().mkdir(parents=True, exist_ok=True)
        write_bytes_atomic(cache_folder() / f"{key}.npz", buffer.getvalue(), noted=False)
    except (OSError, RecordError):
        return  # a cache that cannot be written is no failure
