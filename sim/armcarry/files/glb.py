"""What a GLB file says of itself, looked over before a foreign reader gets it: how much it would make of how little."""

from __future__ import annotations

import json
import struct
from pathlib import Path
from typing import Any

from armcarry.errors import InputError
from armcarry.files.meshes import too_many

#: nodes at most; each may show a whole mesh again
MOST_NODES = 10_000
_MAGIC, _JSON = 0x46546C67, 0x4E4F534A


def look_over_glb(content: bytes, path: Path, most_triangles: int) -> None:
    """Refuse numbers that need no bytes, and nodes that show meshes again and again.

    Raises:
        InputError: not a GLB file, or more vertices than may be read.
    """
    try:
        asset = _asset(content)
        accessors = [int(one["count"]) for one in asset.get("accessors", [])]
        meshes = [_corners(mesh, accessors) for mesh in asset.get("meshes", [])]
        nodes = asset.get("nodes", [])
        children = [int(child) for node in nodes for child in node.get("children", [])]
        shown = sum(meshes[int(node["mesh"])] for node in nodes if "mesh" in node)
    except (ValueError, KeyError, IndexError, TypeError, AttributeError, RecursionError, struct.error) as error:
        raise InputError(f"not a GLB file: {type(error).__name__}", file=path) from error
    if len(nodes) > MOST_NODES:
        raise InputError("too many nodes", file=path, found=len(nodes), accepted=f"at most {MOST_NODES}")
    if len(set(children)) != len(children):
        raise InputError("a node that hangs from two others", file=path, accepted="nodes that form trees")
    most = 3 * most_triangles
    for found in (max(accessors, default=0), shown):
        if found > most:
            raise too_many("vertices", found, most, path)


def _asset(content: bytes) -> dict[str, Any]:
    magic, _, _, length, kind = struct.unpack_from("<5I", content)
    if magic != _MAGIC or kind != _JSON:
        raise ValueError
    asset = json.loads(content[20 : 20 + length])
    if not isinstance(asset, dict):
        raise TypeError
    return asset


def _corners(mesh: dict[str, Any], accessors: list[int]) -> int:
    """Return how many numbers of corners the triangles of a mesh are made of."""
    total = 0
    for part in mesh["primitives"]:
        place = part.get("indices", part["attributes"].get("POSITION"))
        total += accessors[int(place)]
    return total
