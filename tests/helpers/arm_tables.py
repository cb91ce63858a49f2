"""Arms given as Denavit-Hartenberg tables or as screws, as a Model of links and joints."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.geometry.model import Joint, Model
from armcarry.geometry.poses import Array

_X, _Z = (1.0, 0.0, 0.0), (0.0, 0.0, 1.0)


class DhRow(NamedTuple):
    """One row of a Denavit-Hartenberg table; the joint adds to ``theta_rad`` or, if it slides, to ``d_m``."""

    a_m: float
    d_m: float
    alpha_rad: float
    theta_rad: float = 0.0
    kind: Literal["revolute", "prismatic"] = "revolute"


def from_dh(
    rows: Sequence[DhRow], *, modified: bool = False, limits: ArrayLike | None = None, name: str = "arm"
) -> Model:
    """Build an arm from a Denavit-Hartenberg table.

    Args:
        rows: one row a joint, from the base outwards.
        modified: rows as J. J. Craig writes them, ``Rx(alpha) Tx(a) Rz(theta) Tz(d)`` with a and alpha of the
            link before the joint; else the standard ``Rz(theta) Tz(d) Tx(a) Rx(alpha)``.
        limits: travel (n, 2) in rad or m; without limits when left out.
        name: name of the model.

    Returns:
        A model with links ``base``, ``link1`` ... ``linkn`` and ``flange`` (the last frame of the table), and
        joints ``joint1`` ... ``jointn``.
    """
    before, behind = [], []
    for row in rows:
        twist = poses.rotation_about(_X, row.alpha_rad) @ poses.translation((row.a_m, 0.0, 0.0))
        rise = poses.translation((0.0, 0.0, row.d_m))
        turn = poses.rotation_about(_Z, row.theta_rad)
        before.append(twist @ rise @ turn if modified else turn)
        behind.append(poses.identity() if modified else rise @ twist)
    origins = [before[0], *(after @ ahead for after, ahead in zip(behind[:-1], before[1:], strict=True))]
    axes = [np.array(_Z)] * len(rows)
    return _serial(name, origins, axes, [row.kind for row in rows], behind[-1], limits)


def from_screws(
    home: ArrayLike, screws: ArrayLike, *, limits: ArrayLike | None = None, name: str = "arm"
) -> tuple[Model, Array]:
    """Build an arm from a product of exponentials in the space frame.

    Args:
        home: T_base_flange (4, 4) with all joints at zero.
        screws: (n, 6), each the unit axis omega, then v, in base coordinates; omega is zero for a joint
            that slides. A screw with pitch becomes a joint that turns and one that slides.
        limits: travel (m, 2) of the joints of the model; without limits when left out.
        name: name of the model.

    Returns:
        The model, as ``from_dh`` names it, and the coupling (m, n) that takes screw angles (n,) to its joint
        vector (m,): the unit matrix where no screw has pitch. A Jacobian of the model times the coupling is
        the Jacobian by screw angles.

    Raises:
        MotionError: a screw is not normalised.

    Source: K. Lynch and F. Park, Modern Robotics (2017), ch. 4.
    """
    axes: list[Array] = []
    points: list[Array] = []
    kinds: list[Literal["revolute", "prismatic"]] = []
    coupling: list[Array] = []
    unit = np.eye(len(np.asarray(screws)))
    for k, screw in enumerate(np.asarray(screws, dtype=float)):
        omega, v = screw[:3], screw[3:]
        turns, slides = np.linalg.norm(omega), np.linalg.norm(v)
        if turns == 0.0 and abs(slides - 1.0) < 1e-9:
            axes, points, kinds = [*axes, v / slides], [*points, np.zeros(3)], [*kinds, "prismatic"]
            coupling.append(unit[k])
            continue
        if abs(turns - 1.0) > 1e-9:
            raise MotionError(f"screw {k + 1} is not normalised: its axis has length {turns:g}")
        axes, points, kinds = [*axes, omega / turns], [*points, np.cross(omega, v)], [*kinds, "revolute"]
        coupling.append(unit[k])
        if abs(pitch := float(omega @ v)) > 1e-12:
            axes, points, kinds = [*axes, omega / turns], [*points, points[-1]], [*kinds, "prismatic"]
            coupling.append(pitch * unit[k])
    places = [poses.translation(point) for point in points]
    origins = [places[0], *(poses.inverse(a) @ b for a, b in pairwise(places))]
    closing = poses.inverse(places[-1]) @ np.asarray(home, dtype=float)
    return _serial(name, origins, axes, kinds, closing, limits), np.array(coupling)


def _serial(
    name: str,
    origins: Sequence[Array],
    axes: Sequence[Array],
    kinds: Sequence[Literal["revolute", "prismatic"]],
    closing: Array,
    limits: ArrayLike | None,
) -> Model:
    count = len(origins)
    travel = np.tile([-np.inf, np.inf], (count, 1)) if limits is None else np.asarray(limits, dtype=float)
    links = ["base", *(f"link{k + 1}" for k in range(count)), "flange"]
    joints = [
        Joint(f"joint{k + 1}", kinds[k], links[k], links[k + 1], origins[k], axes[k], *map(float, travel[k]))
        for k in range(count)
    ]
    joints.append(Joint("mount", "fixed", links[count], "flange", closing))
    return Model(name, "base", tuple(links), tuple(joints), ())
