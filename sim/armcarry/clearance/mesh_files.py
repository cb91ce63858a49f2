"""A triangle mesh written as STL, OBJ or GLB, in metres, whole or not at all."""

from __future__ import annotations

import json
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np

from armcarry.errors import InputError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.geometry.poses import Array


def write_mesh(path: Path, vertices_m: Array, faces: np.ndarray, name: str = "mesh") -> None:
    """Write triangles to a file of the kind its ending says.

    Args:
        path: ends in .stl (binary), .obj or .glb.
        vertices_m: (V, 3), z up.
        faces: (F, 3), counter-clockwise seen from outside.
        name: of the thing, written into the file.

    Raises:
        InputError: another ending.
        RecordError: the file cannot be written.
    """
    maker = maker_of(path)
    write_bytes_atomic(Path(path), maker(np.asarray(vertices_m, dtype=float), np.asarray(faces), name))


def maker_of(path: Path) -> Callable[[Array, np.ndarray, str], bytes]:
    """Return what makes the bytes of a file. Raises InputError for an ending that is not written."""
    makers = {".stl": stl_bytes, ".obj": obj_bytes, ".glb": glb_bytes}
    maker = makers.get(Path(path).suffix.lower())
    if maker is None:
        raise InputError(
            "no mesh is written with this ending", file=path, found=Path(path).suffix, accepted=", ".join(makers)
        )
    return maker


def stl_bytes(vertices_m: Array, faces: np.ndarray, name: str) -> bytes:
    """Return binary STL (little endian, 80-byte header)."""
    corners = vertices_m[faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1, keepdims=True)
    record = np.zeros(len(faces), dtype=[("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("spare", "<u2")])
    record["normal"] = normal / np.where(length > 0.0, length, 1.0)
    record["corners"] = corners
    header = f"{name}, metres, z up".encode("ascii", "replace")[:80].ljust(80)
    return header + struct.pack("<I", len(faces)) + record.tobytes()


def obj_bytes(vertices_m: Array, faces: np.ndarray, name: str) -> bytes:
    """Return Wavefront OBJ text."""
    lines = [f"# metres, z up\no {name.replace(' ', '_')}"]
    lines += [f"v {x:.6g} {y:.6g} {z:.6g}" for x, y, z in vertices_m.tolist()]
    lines += [f"f {a} {b} {c}" for a, b, c in (faces + 1).tolist()]
    return ("\n".join(lines) + "\n").encode()


def glb_bytes(vertices_m: Array, faces: np.ndarray, name: str) -> bytes:
    """Return binary glTF 2.0; a parent node turns z up to the y up that glTF wants."""
    points = np.ascontiguousarray(vertices_m, dtype="<f4")
    index = np.ascontiguousarray(faces, dtype="<u4")
    half = float(np.sqrt(0.5))
    content = {
        "asset": {"version": "2.0", "generator": "armcarry"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [
            {"name": "z up", "rotation": [-half, 0.0, 0.0, half], "children": [1]},
            {"name": name, "mesh": 0},
        ],
        "meshes": [{"name": name, "primitives": [{"attributes": {"POSITION": 0}, "indices": 1, "material": 0}]}],
        "materials": [
            {"alphaMode": "BLEND", "doubleSided": True,
             "pbrMetallicRoughness": {"baseColorFactor": [0.3, 0.55, 0.9, 0.35], "metallicFactor": 0.0}}
        ],
        "accessors": [
            {"bufferView": 0, "componentType": 5126, "count": len(points), "type": "VEC3",
             "min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()},
            {"bufferView": 1, "componentType": 5125, "count": index.size, "type": "SCALAR"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": 0, "byteLength": points.nbytes, "target": 34962},
            {"buffer": 0, "byteOffset": points.nbytes, "byteLength": index.nbytes, "target": 34963},
        ],
        "buffers": [{"byteLength": points.nbytes + index.nbytes}],
    }  # fmt: skip
    text = json.dumps(content, separators=(",", ":")).encode()
    text += b" " * (-len(text) % 4)
    data = points.tobytes() + index.tobytes()  # both are multiples of four bytes
    parts = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(data), 0x004E4942) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(parts)) + parts
