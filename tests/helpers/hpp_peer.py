"""Ask hpp-core whether straight joint moves touch: a process of its own, as its libraries must be on the loader's path.

    python hpp_peer.py ASKED.pickle ANSWER.json

Asked: ``urdf`` with a sphere for every body, ``shapes`` (kind and numbers) in the order of ``bodies``, ``pairs``,
``joints`` and ``moves`` (M, 2, n). Answered: for each way of validating its seconds, best of several, and verdicts.
"""

import json
import pickle
import sys
import time
from pathlib import Path

import coal
import numpy as np
import pinocchio as pin
import pyhpp.pinocchio.urdf
from pyhpp.core import Dichotomy, Problem, Progressive, Straight
from pyhpp.pinocchio import Device

TIMES = 3


def shape_of(kind, numbers):
    """Return coal's form of a shape."""
    if kind == "mesh":
        points = coal.StdVec_Vec3s()
        points.extend([np.array(row) for row in numbers])
        return coal.Convex.convexHull(points, False, "Qt")
    return {"sphere": coal.Sphere, "capsule": coal.Capsule, "box": coal.Box, "cylinder": coal.Cylinder}[kind](*numbers)


def main(asked, answer):
    """Answer the moves that are asked."""
    what = pickle.loads(Path(asked).read_bytes())  # noqa: S301  written by the bench itself
    device = Device("peer")
    nothing = "<robot name='peer'/>"
    pyhpp.pinocchio.urdf.loadModelFromString(device, 0, "", "anchor", what["urdf"], nothing, pin.SE3.Identity())
    geometry = device.geomModel()
    rows = {item.name: k for k, item in enumerate(geometry.geometryObjects)}
    rows = [rows[name] for name in what["bodies"]]
    for k, (kind, numbers) in zip(rows, what["shapes"], strict=True):
        geometry.geometryObjects[k].geometry = shape_of(kind, numbers)
    geometry.removeAllCollisionPairs()
    for a, b in what["pairs"]:
        geometry.addCollisionPair(pin.CollisionPair(rows[a], rows[b]))
    model = device.model()
    places = [model.joints[model.getJointId(name)].idx_q for name in what["joints"]]
    problem = Problem(device)
    steering = Straight(problem)
    result = {"pairs": len(geometry.collisionPairs)}
    # how deep bodies may overlap unseen: one needs to be told, the other allows none
    for name, make, deep_m in (("Progressive", Progressive, 1e-3), ("Dichotomy", Dichotomy, 0.0)):
        validation, best = make(device, deep_m), np.inf
        paths = []
        for ends in np.asarray(what["moves"]):
            q = np.zeros((2, device.configSize()))
            q[:, places] = ends
            paths.append(steering(q[0], q[1]))
        for _ in range(TIMES):
            start = time.perf_counter()
            free = [bool(validation.validate(path, False)[0]) for path in paths]
            best = min(best, time.perf_counter() - start)
        result[name] = {"seconds": best, "free": free}
    Path(answer).write_text(json.dumps(result))


if __name__ == "__main__":
    main(*sys.argv[1:])
