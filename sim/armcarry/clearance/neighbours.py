"""What the joint between two bodies settles for every posture: that they always touch, or never.

Bodies with one joint between them have one number for a posture, so all their postures can be proven once: that they
share a point over all of the travel (no motion can part them or bring them together), or that they keep apart over all
of it. What is left is judged in every motion.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from armcarry.clearance.common_point import Link, share_a_point
from armcarry.clearance.distance import distances
from armcarry.clearance.prover import CONTACT, UNRESOLVED, prove_clearance
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import Array, inverse
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

#: postures tried over the travel of one joint between two bodies, and of each of two joints, before a proof
_TRIED = (73, 25)
#: bodies of a model farther apart than this over a whole travel are told no more closely, m
REPORT_M = 1.0
_IT = "it"
_ONCE_ROUND = (-np.pi, np.pi)


@dataclass(frozen=True)
class Touching:
    """Two bodies with one or two joints between them, proven to touch wherever these stand."""

    body_a: str
    body_b: str
    joints: tuple[str, ...]

    @property
    def reason(self) -> str:
        """Say why no posture is judged for the two."""
        between = " and ".join(f"'{name}'" for name in self.joints)
        travel = "the travel of joint" if len(self.joints) == 1 else "the travels of joints"
        return f"{self.body_a} and {self.body_b} touch in every posture, proven over {travel} {between}"


@dataclass(frozen=True)
class Apart:
    """Two bodies with one joint between, proven to keep ``least_m`` at least over all of its travel.

    ``beyond``: beyond its travel too, however far it turns.
    """

    body_a: str
    body_b: str
    joint: str
    least_m: float
    beyond: bool


@dataclass(frozen=True)
class Joined:
    """What joints settle of the bodies of one model.

    Attributes:
        touching: pairs with one joint between that touch wherever it stands.
        apart: pairs with one joint between that never touch, the nearest first.
        open: names of all other pairs with one joint between: they touch in some postures, or nothing is proven.
    """

    touching: tuple[Touching, ...]
    apart: tuple[Apart, ...]
    open: tuple[tuple[str, str], ...]


@lru_cache(maxsize=32)
def joined(model: Model) -> Joined:
    """Return what is settled of all pairs of bodies with one joint between, fixed joints not counted.

    A joint that turns without limits goes once round; of a slide without limits nothing is settled.
    """
    tree = Tree().place(_IT, model)
    touching: list[Touching] = []
    apart: list[Apart] = []
    left: list[tuple[str, str]] = []
    for upper, lower, way in _near(model, 1):
        pairs = [(a, b) for a in upper for b in lower]
        if _span(way[0]) is None:
            left += [(a.name, b.name) for a, b in pairs]
            continue
        always = {(pair.body_a, pair.body_b): pair for pair in _touching(tree, model, way, upper, lower)}
        touching += always.values()
        others = [(a, b) for a, b in pairs if (a.name, b.name) not in always]
        turns = way[0].kind == "revolute"
        around = _least_m(tree, model, way[0], others, _ONCE_ROUND) if turns else [-np.inf] * len(others)
        within = _least_m(tree, model, way[0], others, _span(way[0]) or _ONCE_ROUND)
        for (a, b), all_m, travel_m in zip(others, around, within, strict=True):
            if max(all_m, travel_m) > 0.0:
                apart.append(Apart(a.name, b.name, way[0].name, all_m if all_m > 0.0 else travel_m, all_m > 0.0))
            else:
                left.append((a.name, b.name))
    return Joined(tuple(touching), tuple(sorted(apart, key=lambda pair: pair.least_m)), tuple(left))


def always_touching(model: Model) -> tuple[Touching, ...]:
    """List the pairs of bodies that are proven to touch wherever the one or two joints between them stand.

    Bodies with more joints between, and those a slide without limits parts, are never listed: they are judged.
    """
    tree = Tree().place(_IT, model)
    found: list[Touching] = list(joined(model).touching)
    for upper, lower, way in _near(model, 2):
        if all(_span(joint) is not None for joint in way):
            found += _touching(tree, model, way, upper, lower)
    return tuple(found)


def rigid_with(model: Model) -> tuple[dict[str, str], dict[str, Array]]:
    """Return for every link the first link of what is rigid with it, and its pose (4, 4) there."""
    first, pose = {model.root: model.root}, {model.root: np.eye(4)}
    for joint in model.joints:  # parents come first
        fixed = joint.kind == "fixed"
        first[joint.child] = first[joint.parent] if fixed else joint.child
        pose[joint.child] = pose[joint.parent] @ joint.origin if fixed else np.eye(4)
    return first, pose


def _near(model: Model, count: int) -> Iterator[tuple[list[Body], list[Body], tuple[Joint, ...]]]:
    """Give bodies of two rigid groups with so many joints between, and these joints from the upper one down."""
    solid, _ = rigid_with(model)
    above = {joint.child: joint for joint in model.movable()}
    groups: dict[str, list[Body]] = {}
    for body in model.bodies:
        groups.setdefault(solid[body.link], []).append(body)
    for link, bodies in groups.items():
        way: tuple[Joint, ...] = ()
        upper = link
        while len(way) < count and upper in above:
            way = (above[upper], *way)
            upper = solid[above[upper].parent]
        if len(way) == count and upper in groups:
            yield groups[upper], bodies, way


def _span(joint: Joint) -> tuple[float, float] | None:
    """Return the travel of a joint, at most once round; None where a slide has no end."""
    if np.isfinite(joint.lower) and np.isfinite(joint.upper):
        most = 2 * np.pi if joint.kind == "revolute" else np.inf
        return joint.lower, min(joint.upper, joint.lower + most)
    return _ONCE_ROUND if joint.kind == "revolute" else None


def _home(model: Model) -> Array:
    return np.array([float(np.clip(0.0, joint.lower, joint.upper)) for joint in model.movable()])


def _touching(
    tree: Tree, model: Model, way: Sequence[Joint], upper: Sequence[Body], lower: Sequence[Body]
) -> list[Touching]:
    """Return which pairs of two groups are proven to touch; those that do not in some posture tried are left first."""
    travels = [_span(joint) or (0.0, 0.0) for joint in way]
    grids = [np.linspace(*travel, _TRIED[len(way) - 1]) for travel in travels]
    grid = np.stack(np.meshgrid(*grids, indexing="ij"), axis=-1).reshape(-1, len(way))
    q = np.tile(_home(model), (len(grid), 1))
    q[:, [model.movable().index(joint) for joint in way]] = grid
    bodies = (*upper, *lower)
    pairs = np.array([(a, b) for a in range(len(upper)) for b in range(len(upper), len(bodies))])
    middle = np.zeros((len(pairs), 3))
    for some in (slice(None, None, max(len(grid) - 1, 1)), slice(None)):  # the ends of the travel tell most apart
        if len(pairs):
            rows, which = np.unique(pairs, return_inverse=True)
            left = [bodies[k] for k in rows]
            seen = distances([body.shape for body in left], _placed(tree, q[some], left), which.reshape(-1, 2))
            keep = (seen.upper_m <= 0.0).all(axis=0)
            pairs, middle = pairs[keep], seen.point_a[seen.point_a.shape[0] // 2][keep]
    solid, rigid = rigid_with(model)
    links = [Link(joint, travel, rigid[joint.parent] @ joint.origin)
             for joint, travel in zip(way, travels, strict=True)]  # fmt: skip
    names = tuple(joint.name for joint in way)
    moved = [_on_solid(body, solid, rigid) for body in bodies]
    found = []
    for (a, b), point in zip(pairs.tolist(), middle, strict=True):
        root = _placed(tree, q[[len(grid) // 2]], [bodies[b]])[0, 0] @ inverse(moved[b].pose)
        start = (inverse(root) @ np.append(point, 1.0))[:3]
        if share_a_point(moved[a], moved[b], links, start):
            found.append(Touching(bodies[a].name, bodies[b].name, names))
    return found


def _placed(tree: Tree, q: Array, bodies: Sequence[Body]) -> Array:
    """Return T_world_body (N, B, 4, 4) in postures (N, n)."""
    return np.asarray(forward(tree, q, [f"{_IT}/{body.link}" for body in bodies]) @ np.stack([b.pose for b in bodies]))


def _on_solid(body: Body, solid: dict[str, str], rigid: dict[str, Array]) -> Body:
    """Return a body as it is fixed to the first link of what is rigid with its own."""
    return Body(body.name, solid[body.link], body.shape, rigid[body.link] @ body.pose)


def _least_m(
    tree: Tree, model: Model, joint: Joint, pairs: Sequence[tuple[Body, Body]], travel: tuple[float, float]
) -> list[float]:
    """Prove what pairs of bodies keep while the one joint between goes through a travel: -inf where nothing."""
    low, high = travel
    if not pairs:
        return []
    row = {body.name: k for k, body in enumerate(tree.bodies)}
    rows = np.array([(row[f"{_IT}/{a.name}"], row[f"{_IT}/{b.name}"]) for a, b in pairs])
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 0] = _home(model)
    table[0, :, model.movable().index(joint)] = low, high - low
    found = prove_clearance(tree, Motion(tree.joints, np.array([0.0, 1.0]), table), rows, report_distance_m=REPORT_M)
    apart = (found.status != CONTACT) & (found.status != UNRESOLVED)
    return [float(value) for value in np.where(apart, found.lower_m, -np.inf)]
