"""A tree and straight joint moves as hpp-core is asked about them, in a process of its own (``hpp_peer.py``)."""

import importlib.util
import json
import os
import pickle
import subprocess
import sys
from collections import Counter
from pathlib import Path

from scipy.spatial.transform import Rotation

from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

KINDS = {0: "fixed", 1: "revolute", 2: "prismatic"}


def ask(tree, pairs, moves, folder):
    """Return what hpp-core answers of moves (M, 2, n) of all joints; None where it is not installed."""
    if importlib.util.find_spec("pyhpp") is None:
        return None
    prefix = Path(importlib.util.find_spec("pyhpp").origin).parents[4]
    asked, answer = folder / "asked.pickle", folder / "answer.json"
    count = Counter()
    names = []
    for body in tree.bodies:  # pinocchio's names: the link's, and which of its bodies it is
        row = tree.index(body.link)
        names.append(f"l{row}_{count[row]}")
        count[row] += 1
    what = {
        "urdf": _urdf(tree), "shapes": [_plain(body.shape) for body in tree.bodies], "bodies": names,
        "pairs": [(int(a), int(b)) for a, b in pairs], "joints": list(tree.joints), "moves": moves.tolist(),
    }  # fmt: skip
    asked.write_bytes(pickle.dumps(what))
    loader = os.pathsep.join([str(prefix / "lib"), os.environ.get("LD_LIBRARY_PATH", "")]).strip(os.pathsep)
    subprocess.run(
        [sys.executable, str(Path(__file__).with_name("hpp_peer.py")), str(asked), str(answer)],
        env={**os.environ, "LD_LIBRARY_PATH": loader}, check=True,
    )  # fmt: skip
    return json.loads(answer.read_text())


def _plain(shape):
    match shape:
        case Sphere(radius):
            return "sphere", [radius]
        case Capsule(radius, length):
            return "capsule", [radius, length]
        case Box(size):
            return "box", list(size)
        case Cylinder(radius, length):
            return "cylinder", [radius, length]
        case ConvexMesh(vertices):
            return "mesh", [list(map(float, row)) for row in vertices]


def _words(values):
    return " ".join(repr(float(value)) for value in values)


def _origin(pose):
    turn = Rotation.from_matrix(pose[:3, :3]).as_euler("xyz")
    return f'<origin xyz="{_words(pose[:3, 3])}" rpy="{_words(turn)}"/>'


def _urdf(tree):
    """Return the tree as URDF with a ball for every body; its shape is put in its place afterwards."""
    lines = ['<robot name="peer"><link name="root"/>']
    for row in range(len(tree.links)):
        bodies = "".join(
            f'<collision>{_origin(body.pose)}<geometry><sphere radius="0.1"/></geometry></collision>'
            for body in tree.bodies if tree.index(body.link) == row
        )  # fmt: skip
        above = "root" if tree.parents[row] < 0 else f"l{tree.parents[row]}"
        kind = KINDS[int(tree.kinds[row])]
        name = f"fixed{row}" if kind == "fixed" else tree.joints[tree.columns[row]]
        axis = f'<axis xyz="{_words(tree.axes[row])}"/><limit lower="-10" upper="10" effort="1" velocity="1"/>'
        lines.append(
            f'<link name="l{row}">{bodies}</link><joint name="{name}" type="{kind}"><parent link="{above}"/>'
            f'<child link="l{row}"/>{_origin(tree.origins[row])}{"" if kind == "fixed" else axis}</joint>'
        )
    return "\n".join([*lines, "</robot>"])
