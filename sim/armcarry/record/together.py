"""Which links keep their places relative to one another over a whole run."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.geometry.shapes import Capsule, Cylinder, Shape, Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.record.pairs import PairTable
from armcarry.scene.tree import WORLD, Tree
from armcarry.timeline.run import Phase

#: an axis goes through a body's own as near as this, m and as a share of one
_SAME = 1e-9


def leaders(phases: Sequence[Phase], motion: Motion, aboard: bool = False) -> dict[str, str]:
    """Return for each link the one that leads its group: the nearest above it, in its own thing, that moves.

    Args:
        phases, motion: of the run.
        aboard: whether a thing that hangs unmoved from something that moves is one with it; else it leads itself.
    """
    tree, still = phases[0].tree, _constant_joints(motion)
    leader = {WORLD: WORLD}
    for row, link in enumerate(tree.links):
        if link == WORLD:
            continue
        above, column = tree.links[tree.parents[row]], tree.columns[row]
        if column >= 0 and not still[column]:
            leader[link] = link
        elif (thing := link.split("/", 1)[0]) == above.split("/", 1)[0]:
            leader[link] = leader[above]
        else:  # the root of a thing: part of the world if it hangs unmoved from something static all along
            hung = {(each.tree.mounting(thing).parent, each.tree.mounting(thing).pose.tobytes()) for each in phases}
            one = len(hung) == 1 and (aboard or leader[above] == WORLD)
            leader[link] = leader[above] if one else link
    return leader


def keeping(table: PairTable, phases: Sequence[Phase], motion: Motion) -> NDArray[np.bool_]:
    """Tell which rows (R,) of a table are of two bodies that keep their distance over the whole run."""
    kept = dict(zip((body.name for body in phases[0].tree.bodies), _keepers(phases, motion), strict=True))
    found = np.zeros(len(table), dtype=bool)
    for link in {link for links in kept.values() for link in links}:
        to = np.array([link in kept.get(name, ()) for name in table.names], dtype=bool)
        found |= to[table.body_a] & to[table.body_b]
    return found


def _keepers(phases: Sequence[Phase], motion: Motion) -> tuple[tuple[str, ...], ...]:
    """Return for each body the links that it keeps its place to: two bodies that share one keep their distance.

    Mostly the link that leads it; a round body that only turns about its own axis, such as the drum at an arm's foot,
    keeps its place to what carries it too.
    """
    tree, leader = phases[0].tree, leaders(phases, motion, aboard=True)
    at = forward(tree, motion.at(motion.start_s))
    found = []
    for body in tree.bodies:
        links, place = [leader[body.link]], at[tree.index(body.link)] @ body.pose
        while _turns_in_place(tree, links[-1], body.shape, poses.inverse(at[tree.index(links[-1])]) @ place):
            links.append(leader[tree.links[tree.parents[tree.index(links[-1])]]])
        found.append(tuple(links))
    return tuple(found)


def _turns_in_place(tree: Tree, link: str, shape: Shape, pose: Array) -> bool:
    """Tell whether a body at a pose (4, 4) in a link stays as it is when the link's joint turns."""
    row = tree.index(link)
    if tree.columns[row] < 0 or not tree.revolute[tree.columns[row]]:
        return False
    if not isinstance(shape, Sphere | Capsule | Cylinder):
        return False
    axis = tree.axes[row]
    off = np.cross(axis, pose[:3, 3]), np.zeros(3) if isinstance(shape, Sphere) else np.cross(axis, pose[:3, 2])
    return bool(np.abs(off).max() < _SAME)


def _constant_joints(motion: Motion) -> NDArray[np.bool_]:
    """Tell which joints (n,) never move in the run."""
    table = motion.coefficients
    return np.asarray(np.all(table[:, 1:] == 0.0, axis=(0, 1)) & np.all(table[:, 0] == table[0, 0], axis=0))
