"""The run as animated glTF 2.0 in one binary file that any viewer opens.

Nodes: ``armcarry`` turns our axes (x forward, y left, z up) to those of glTF (z forward, x left, y up); under it
one node a rigid group, animated in the world; under those one node a body, with its full name, and the cameras;
beside the groups one node a tether, a rod that is there while it is hooked (gltf_tethers.py).
Written after the Khronos glTF 2.0 specification; arrays are little endian.
"""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.files.atomic import write_bytes_atomic
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Cylinder
from armcarry.record.record import Record
from armcarry.scene.camera import R_BODY_GLTF
from armcarry.version import VERSION
from armcarry.views import palette
from armcarry.views.eyes import Eye, eyes
from armcarry.views.gltf_tethers import Rod, rods
from armcarry.views.groups import Group, arm_groups, rigid_groups
from armcarry.views.kept_out import DrawnRoom, drawn_rooms
from armcarry.views.keys import Keys, key_frames
from armcarry.views.looks import MATERIALS, Look
from armcarry.views.meshes import Triangles, triangles
from armcarry.views.pieces import Piece, pieces

_FLOAT, _USHORT, _UINT = 5126, 5123, 5125
_VERTICES, _INDICES = 34962, 34963

#: turns (x, y, z) of ours into (y, z, x) of glTF
_AXES = np.array([[0.0, 1, 0, 0], [0, 0, 1, 0], [1, 0, 0, 0], [0, 0, 0, 1]])
#: from a camera of ours that looks along +x with +z up to one of glTF
_CAMERA = np.pad(R_BODY_GLTF, (0, 1)) + np.diag([0.0, 0.0, 0.0, 1.0])


def write_glb(record: Record, path: Path, sides: int = 16, tolerance_m: float = 2e-3) -> Path:
    """Write a run as animated glTF and return the path; arguments as ``glb``."""
    write_bytes_atomic(path, glb(record, sides, tolerance_m))
    return path


def glb(record: Record, sides: int = 16, tolerance_m: float = 2e-3, proven: bool = False) -> bytes:
    """Return a run as a binary glTF file.

    Args:
        record: the run.
        sides: corners of round parts.
        tolerance_m: how far a point may stray between key frames.
        proven: add the bodies that were proven for people too, under nodes ``proven NAME``: the reader must hide one
            or the other; and the platform's rooms under nodes ``room NAME``, which the reader must see through.
    """
    return _Writer(record, sides, proven).file(tolerance_m)


class _Writer:
    """Collects the JSON and the binary chunk of one file."""

    def __init__(self, record: Record, sides: int, proven: bool) -> None:
        self.record, self._proven = record, proven
        self._pieces = pieces(record, lambda shape: sides)
        self.binary = bytearray()
        self.json: dict[str, Any] = {
            "asset": {"version": "2.0", "generator": f"armcarry {VERSION}"},
            "scene": 0,
            "scenes": [{"name": record.scene.loaded.scenario.title, "nodes": [0]}],
            "nodes": [{"name": "armcarry", "rotation": _quaternion(_AXES), "children": []}],
            "meshes": [], "materials": [], "accessors": [], "bufferViews": [],
        }
        self._materials: dict[Look, int] = {}
        self._shapes: dict[int, dict[str, Any]] = {}
        self._arms = arm_groups(record)
        self._reaching = {group.bodies[0] for group in self._arms}
        self._tether = Piece(triangles(Cylinder(1.0, 1.0), 8), Look(palette.YELLOW, "fabric"))
        self._meshes: dict[tuple[tuple[int, Look], ...], int] = {}

    def file(self, tolerance_m: float) -> bytes:
        cameras, rooms = eyes(self.record), drawn_rooms(self.record) if self._proven else ()
        also = [*(eye.link for eye in cameras), *(room.link for room in rooms)]
        groups = (*rigid_groups(self.record, also), *self._arms)
        moving = tuple(group for group in groups if group.moves)
        keys = key_frames(self.record, moving, tolerance_m) if moving else None
        nodes = {}
        for group in groups:
            nodes[group.name] = self._group(group)
        if keys is not None:
            self._animate(keys, moving, [nodes[group.name] for group in moving])
        for rod in rods(self.record, keys.times_s if keys is not None else np.zeros(0)):
            self._rod(rod)
        for eye in cameras:
            self._camera(eye, groups, nodes)
        for room in rooms:
            self._room(room, groups, nodes)
        self.json["buffers"] = [{"byteLength": len(self.binary)}]
        return _packed(self.json, bytes(self.binary))

    def _group(self, group: Group) -> int:
        children = []
        for row, local in zip(group.bodies, group.local, strict=True):
            body = self.record.bodies[row]
            node = self._node(body.name, local)
            if row not in self._reaching or group.drawn_arm is not None:
                node["mesh"] = self._mesh([piece for piece in self._pieces[row] if piece.when != "proven"])
                children.append(self._add_node(node))
            proven = [piece for piece in self._pieces[row] if piece.when == "proven"]
            if proven and self._proven and group.drawn_arm is None:
                children.append(self._add_node({**node, "name": f"proven {body.name}", "mesh": self._mesh(proven)}))
        node = {"name": f"group {group.name}"}
        if children:
            node["children"] = children
        index = self._add_node(node)
        self.json["nodes"][0]["children"].append(index)
        return index

    def _node(self, name: str, pose: Array) -> dict[str, Any]:
        return {"name": name, "translation": [float(v) for v in pose[:3, 3]], "rotation": _quaternion(pose)}

    def _add_node(self, node: dict[str, Any]) -> int:
        self.json["nodes"].append(node)
        return len(self.json["nodes"]) - 1

    def _animate(self, keys: Keys, groups: tuple[Group, ...], nodes: list[int]) -> None:
        times = keys.times_s.astype(np.float32)
        clock = self._accessor(times, "SCALAR", _FLOAT, bounds=True)
        channels: list[dict[str, Any]] = []
        samplers: list[dict[str, Any]] = []
        for k, _ in enumerate(groups):
            place, turn = keys.place_m[:, k], np.roll(keys.turn_wxyz[:, k], -1, axis=-1)
            start = self.json["nodes"][nodes[k]]
            start["translation"], start["rotation"] = [float(v) for v in place[0]], [float(v) for v in turn[0]]
            for path, values, kind in (("translation", place, "VEC3"), ("rotation", turn, "VEC4")):
                if np.all(values == values[0]):
                    continue
                output = self._accessor(values.astype(np.float32), kind, _FLOAT)
                channels.append({"sampler": len(samplers), "target": {"node": nodes[k], "path": path}})
                samplers.append({"input": clock, "interpolation": "LINEAR", "output": output})
        if channels:
            self.json["animations"] = [{"name": "run", "channels": channels, "samplers": samplers}]

    def _rod(self, rod: Rod) -> None:
        """Add a tether: a rod that comes, follows its ends and goes."""
        start = rod.middle_m[0], rod.turn_xyzw[0], rod.stretch[0]
        kinds = (("translation", "VEC3"), ("rotation", "VEC4"), ("scale", "VEC3"))
        node: dict[str, Any] = {"name": rod.name, "mesh": self._mesh([self._tether])}
        node |= {path: [float(v) for v in value] for (path, _), value in zip(kinds, start, strict=True)}
        index = self._add_node(node)
        self.json["nodes"][0]["children"].append(index)
        run = self.json.setdefault("animations", [{"name": "run", "channels": [], "samplers": []}])[0]
        clock = self._accessor(rod.times_s.astype(np.float32), "SCALAR", _FLOAT, bounds=True)
        for (path, kind), values in zip(kinds, (rod.middle_m, rod.turn_xyzw, rod.stretch), strict=True):
            output = self._accessor(values.astype(np.float32), kind, _FLOAT)
            run["channels"].append({"sampler": len(run["samplers"]), "target": {"node": index, "path": path}})
            run["samplers"].append({"input": clock, "interpolation": "LINEAR", "output": output})

    def _room(self, room: DrawnRoom, groups: tuple[Group, ...], nodes: dict[str, int]) -> None:
        """Add a room of the platform, as opaque as anything: the reader must see through it, and hide it."""
        carrier, local = self._carrier(room.link, groups, nodes)
        node = self._node(f"room {room.name}", local)
        node["mesh"] = self._mesh([Piece(room.surface, Look(room.colour, "paint"))])
        carrier.setdefault("children", []).append(self._add_node(node))

    def _carrier(self, link: str, groups: tuple[Group, ...], nodes: dict[str, int]) -> tuple[dict[str, Any], Array]:
        """Return the node of the group that a link goes with, and where the link is in it (4, 4)."""
        tree, links = self.record.link_poses(self.record.motion.start_s)
        leader = self.record.leaders[link]
        name = next(group.name for group in groups if group.link == leader)
        return self.json["nodes"][nodes[name]], poses.inverse(links[tree.index(leader)]) @ links[tree.index(link)]

    def _camera(self, eye: Eye, groups: tuple[Group, ...], nodes: dict[str, int]) -> None:
        carrier, local = self._carrier(eye.link, groups, nodes)
        node = self._node(f"camera {eye.name}", local @ _CAMERA)
        node["camera"] = len(self.json.setdefault("cameras", []))
        self.json["cameras"].append({
            "name": eye.title, "type": "perspective",
            "perspective": {"yfov": eye.vertical_rad, "aspectRatio": eye.aspect, "znear": 0.05, "zfar": 500.0},
        })
        carrier.setdefault("children", []).append(self._add_node(node))

    def _mesh(self, drawn: Sequence[Piece]) -> int:
        """Return the mesh of some pieces, one primitive each; the same surface is written once."""
        key = tuple((id(piece.surface), piece.look) for piece in drawn)  # surfaces live as long as the writer
        if key not in self._meshes:
            primitives = [
                {**self._shape(piece.surface), "material": self._material(piece.look)} for piece in drawn
            ]
            self._meshes[key] = len(self.json["meshes"])
            self.json["meshes"].append({"primitives": primitives})
        return self._meshes[key]

    def _shape(self, surface: Triangles) -> dict[str, Any]:
        if id(surface) not in self._shapes:
            wide = len(surface.vertices_m) > 65535
            places = surface.vertices_m.astype(np.float32)
            corners = surface.faces.astype(np.uint32 if wide else np.uint16).ravel()
            self._shapes[id(surface)] = {
                "attributes": {
                    "POSITION": self._accessor(places, "VEC3", _FLOAT, _VERTICES, True),
                    "NORMAL": self._accessor(_unit(surface.normals), "VEC3", _FLOAT, _VERTICES),
                },
                "indices": self._accessor(corners, "SCALAR", _UINT if wide else _USHORT, _INDICES),
            }
        return self._shapes[id(surface)]

    def _material(self, look: Look) -> int:
        if look not in self._materials:
            self._materials[look] = len(self.json["materials"])
            made_of = MATERIALS[look.material]
            surface = {"baseColorFactor": [*palette.linear(look.colour), 1.0], "metallicFactor": made_of.metallic,
                       "roughnessFactor": made_of.roughness}
            self.json["materials"].append({"name": f"{look.material} {look.colour}", "pbrMetallicRoughness": surface})
        return self._materials[look]

    def _accessor(
        self, values: np.ndarray[Any, Any], kind: str, code: int, target: int | None = None, bounds: bool = False
    ) -> int:
        """Append an array to the binary chunk, 4-byte aligned, and return its accessor."""
        data = np.ascontiguousarray(values).astype(values.dtype.newbyteorder("<")).tobytes()
        view: dict[str, Any] = {"buffer": 0, "byteOffset": len(self.binary), "byteLength": len(data)}
        if target is not None:
            view["target"] = target
        self.binary += data + b"\0" * (-len(data) % 4)
        self.json["bufferViews"].append(view)
        accessor: dict[str, Any] = {"bufferView": len(self.json["bufferViews"]) - 1, "componentType": code,
                                    "count": len(values), "type": kind}
        if bounds:
            flat = values.reshape(len(values), -1)
            accessor["min"] = [float(v) for v in flat.min(axis=0)]
            accessor["max"] = [float(v) for v in flat.max(axis=0)]
        self.json["accessors"].append(accessor)
        return len(self.json["accessors"]) - 1


def _unit(normals: Array) -> Array:
    """Return normals as 32-bit floats of length 1 to their rounding."""
    single = normals.astype(np.float32)
    return np.asarray(single / np.linalg.norm(single, axis=1, keepdims=True).astype(np.float32))


def _quaternion(pose: Array) -> list[float]:
    """Return a rotation in the order x y z w that glTF wants."""
    w, x, y, z = (float(v) for v in poses.quaternion_wxyz(pose))
    return [x, y, z, w]


def _packed(document: dict[str, Any], binary: bytes) -> bytes:
    """Return the file: header, JSON chunk padded with spaces, binary chunk padded with zeros."""
    text = json.dumps(document, separators=(",", ":"), ensure_ascii=False, allow_nan=False).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    length = 12 + 8 + len(text) + 8 + len(binary)
    return b"".join([
        struct.pack("<III", 0x46546C67, 2, length),
        struct.pack("<II", len(text), 0x4E4F534A), text,
        struct.pack("<II", len(binary), 0x004E4942), binary,
    ])
