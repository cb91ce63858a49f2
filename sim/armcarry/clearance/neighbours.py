"""Which bodies of one thing touch in every posture, so that no motion can part them or bring them together."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

#: postures tried over the travel of one joint between two bodies, and of each of two joints
POSTURES = (73, 25)


@dataclass(frozen=True)
class Touching:
    """Two bodies with one or two joints between them, and in how many postures of these they were seen to touch."""

    body_a: str
    body_b: str
    joints: tuple[str, ...]
    postures: int

    @property
    def reason(self) -> str:
        """Say why no posture is judged for the two."""
        between = " and ".join(f"'{name}'" for name in self.joints)
        travel = "the travel of joint" if len(self.joints) == 1 else "the travels of joints"
        return f"{self.body_a} and {self.body_b} touch in all {self.postures} postures tried over {travel} {between}"


def always_touching(model: Model) -> tuple[Touching, ...]:
    """List the pairs of bodies that touch wherever the joints between them stand.

    Tried are bodies on one line of links with one or two movable joints between, over the whole travel of these
    joints, ends included; a joint without limits that turns goes once round. Bodies with more between them, and
    those a slide without limits parts, are never listed: they are judged.
    """
    tree = Tree().place("it", model)
    home = np.array([float(np.clip(0.0, joint.lower, joint.upper)) for joint in model.movable()])
    solid, above = _solids(model)
    groups: dict[str, list[Body]] = {}
    for body in model.bodies:
        groups.setdefault(solid[body.link], []).append(body)
    found = []
    for link, bodies in groups.items():
        between: tuple[Joint, ...] = ()
        upper = link
        while len(between) < len(POSTURES) and upper in above:
            joint = above[upper]
            between, upper = (*between, joint), solid[joint.parent]
            if upper in groups and all(_span(one) is not None for one in between):
                found += _tried(tree, model, home, between, groups[upper], bodies)
    return tuple(found)


def _solids(model: Model) -> tuple[dict[str, str], dict[str, Joint]]:
    """Return the first link of what is rigid with each link, and the movable joint above each of these."""
    solid, above = {model.root: model.root}, {}
    for joint in model.joints:  # parents come first
        solid[joint.child] = solid[joint.parent] if joint.kind == "fixed" else joint.child
        if joint.kind != "fixed":
            above[joint.child] = joint
    return solid, above


def _span(joint: Joint) -> tuple[float, float] | None:
    if np.isfinite(joint.lower) and np.isfinite(joint.upper):
        return joint.lower, joint.upper
    return (-np.pi, np.pi) if joint.kind == "revolute" else None


def _tried(
    tree: Tree, model: Model, home: Array, between: tuple[Joint, ...], upper: Sequence[Body], lower: Sequence[Body]
) -> list[Touching]:
    """Return which of the pairs of two links' bodies touch in every posture of the joints between."""
    count = POSTURES[len(between) - 1]
    travels = [np.linspace(*(_span(joint) or (0.0, 0.0)), count) for joint in between]
    grid = np.stack(np.meshgrid(*travels, indexing="ij"), axis=-1).reshape(-1, len(between))
    columns = [model.movable().index(joint) for joint in between]
    q = np.tile(home, (len(grid), 1))
    q[:, columns] = grid
    bodies = (*upper, *lower)
    world = forward(tree, q, [f"it/{body.link}" for body in bodies]) @ np.stack([body.pose for body in bodies])
    pairs = np.array([(a, b) for a in range(len(upper)) for b in range(len(upper), len(bodies))])
    shapes = [body.shape for body in bodies]
    for some in (slice(None, None, max(len(grid) - 1, 1)), slice(None)):  # the ends of the travel tell most apart
        if len(pairs):
            touch = distances(shapes, world[some], pairs).upper_m <= 0.0
            pairs = pairs[touch.all(axis=0)]
    names = tuple(joint.name for joint in reversed(between))
    return [Touching(bodies[a].name, bodies[b].name, names, len(grid)) for a, b in pairs.tolist()]
