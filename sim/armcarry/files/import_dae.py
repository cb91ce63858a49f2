"""Meshes from COLLADA files (.dae): all geometry of the scene as one surface, in metres and z up."""

from __future__ import annotations

import io
import re
import warnings
from pathlib import Path
from typing import Any

import numpy as np

from armcarry.errors import InputError, MissingExtraError
from armcarry.files.meshes import MAX_BYTES, MAX_TRIANGLES, Triangles, checked, too_many
from armcarry.files.xml_text import Element, parse_xml
from armcarry.files.yaml_text import read_bytes
from armcarry.geometry.poses import Array

#: axis that points up in the file -> rows that bring its coordinates to z up (COLLADA 1.4.1, <up_axis>: each
#: names what is right, up and towards the viewer; with z up those are x, z and -y)
UP = {
    "X_UP": np.array([[0.0, -1, 0], [0, 0, -1], [1, 0, 0]]),
    "Y_UP": np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]]),
    "Z_UP": np.eye(3),
}
#: nodes that stand for other nodes; each can double what is drawn, so a few could fill any memory
MOST_INSTANCES = 30
_ARRAYS = re.compile(rb"<(?:[\w.-]+:)?float_array[\s/>]")
_PLAIN_ARRAYS = re.compile(rb"<(?:[\w.-]+:)?float_array(?:\s[^>]*)?>[-+.eE0-9\s]*</")


def read_dae(path: Path, most_triangles: int = MAX_TRIANGLES) -> tuple[Triangles, bytes, list[str]]:
    """Read a COLLADA file: its surface in metres and z up, its bytes, and what was turned or scaled.

    Raises:
        InputError: damaged, without a scene or triangles, too large, or with a document type or entities.
        MissingExtraError: pycollada is not installed.
    """
    content = read_bytes(path, MAX_BYTES, "mesh")
    _looked_over(content, path)
    try:
        import collada
    except ImportError:
        raise MissingExtraError("pycollada", "mesh", "reading DAE") from None
    try:
        # what colours a surface may be broken or unknown; files it names are not opened, for it gets none to open
        ignore = [collada.common.DaeUnsupportedError, collada.common.DaeBrokenRefError]
        with np.errstate(all="ignore"), warnings.catch_warnings():
            warnings.simplefilter("ignore", PendingDeprecationWarning)  # it still makes use of numpy.matrix
            document = collada.Collada(io.BytesIO(content), ignore=ignore)
            vertices, faces = _triangles(document, path, most_triangles)
        unit_m, up = document.assetInfo.unitmeter, document.assetInfo.upaxis or "Y_UP"
        unit_m, rows = 1.0 if unit_m is None else float(unit_m), UP[up]
    except InputError:
        raise
    except Exception as error:  # whatever a foreign reader raises on foreign bytes
        raise InputError(f"not a COLLADA file: {type(error).__name__}", file=path) from error
    if not 1e-6 <= unit_m <= 1e6:
        raise InputError("<unit meter>: not a unit of length", file=path, found=unit_m, accepted="1e-6 to 1e6")
    notes = [] if unit_m == 1.0 else [f"COLLADA: its unit is {unit_m:g} m"]
    if up != "Z_UP":
        notes.append(f"COLLADA: {up} was turned to z up, as the file asks; some readers do not, so look at the picture")
    return checked(vertices @ rows.T * unit_m, faces, path, most_triangles), content, notes


def _looked_over(content: bytes, path: Path) -> None:
    """Refuse what the reader must not get: entities, other encodings than ours, nodes that multiply."""
    declared = re.match(rb"\s*<\?xml[^>]*encoding\s*=\s*[\"']([^\"']*)", content.removeprefix(b"\xef\xbb\xbf"))
    if declared and declared.group(1).lower() not in (b"utf-8", b"us-ascii", b"ascii"):
        raise InputError("an encoding that is not read", file=path, line=1, found=declared.group(1).decode("latin-1"),
                         accepted="UTF-8")  # fmt: skip
    root = parse_xml(content, path)
    # the reader would put 0 in the place of NaN and say nothing
    if len(_ARRAYS.findall(content)) != len(_PLAIN_ARRAYS.findall(content)):
        raise InputError("a <float_array> that holds more than numbers", file=path, accepted="finite numbers alone")
    if root.tag.rpartition(":")[2] != "COLLADA":
        raise InputError("not a COLLADA file", file=path, line=root.line, found=f"<{root.tag}>", accepted="<COLLADA>")
    waiting, count = [root], 0
    while waiting:
        element: Element = waiting.pop()
        waiting += element.children
        count += element.tag.rpartition(":")[2] == "instance_node"
    if count > MOST_INSTANCES:
        raise InputError("too many <instance_node>", file=path, found=count, accepted=f"at most {MOST_INSTANCES}")


def _triangles(document: Any, path: Path, most_triangles: int) -> tuple[Array, np.ndarray]:
    """Return corners (n, 3) and faces (f, 3) of everything in the scene, where the scene puts it."""
    if document.scene is None:
        raise InputError("no <scene> that shows anything", file=path, accepted="<scene> with <instance_visual_scene>")
    corners, count = [np.zeros((0, 3, 3))], 0
    for geometry in document.scene.objects("geometry"):
        mirrored = np.linalg.det(np.asarray(geometry.matrix, dtype=float)[:3, :3]) < 0
        for part in geometry.primitives():
            triangles = part.triangleset() if hasattr(part, "triangleset") else part
            index = getattr(triangles, "vertex_index", None)
            if index is None or index.ndim != 2 or index.shape[1] != 3:  # lines
                continue
            count += len(index)
            if count > most_triangles:
                raise too_many("triangles", count, most_triangles, path)
            corners.append(np.asarray(triangles.vertex, dtype=float)[index[:, ::-1] if mirrored else index])
    points = np.concatenate(corners).reshape(-1, 3)
    return points, np.arange(len(points)).reshape(-1, 3)
