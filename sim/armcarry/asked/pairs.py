"""Which pairs of bodies are judged, which of them rest against each other, and which are meant to touch."""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from armcarry.clearance.neighbours import joined
from armcarry.clearance.pairs import islands, moving_joints, unlike
from armcarry.files.names import Named
from armcarry.motion.curve import Motion
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene
from armcarry.scene.tree import Tree

#: bodies of these classes carry no clearance of their own
UNJUDGED = ("inside",)
#: where nothing is required, this much must be left after a fault all the same: bodies must not touch, m
TOUCH_M = 1e-3


class Judged(NamedTuple):
    """Pairs (P, 2) of body rows, and which of them (P,) a motion moves against each other."""

    pairs: np.ndarray
    moves: np.ndarray


def judged_pairs(scene: Scene, tree: Tree, motion: Motion | None) -> Judged:
    """Return every pair of bodies that is judged in a tree, lower row first, those meant to touch among them.

    Left out: neighbours of which their joint settles everything, pairs the arm's document ignores, bodies of one
    crewmember, one restraint or one piece of hardware among themselves, and anyone inside. Bodies of one instance that
    rest against each other are as they were built or set up, and left out too, save the arm's own that a joint can
    move: it may start folded.

    Args:
        scene: classes and documents.
        tree: what hangs from what.
        motion: of all joints; None where nothing moves.
    """
    every = np.ones(len(tree.joints), dtype=bool)
    parts = islands(tree, every)
    island = np.zeros_like(parts) if motion is None else islands(tree, moving_joints(tree, motion))
    owner, whole, ours = tree.body_owners, tree.bodies_of(_whole(scene)), tree.bodies_of((ARM,))
    # bodies alike in this rest against each other in one thing
    alike = np.stack([island, owner, np.where(ours, parts, -1)], axis=1)
    judged = np.flatnonzero(~np.isin(scene.body_classes(tree), UNJUDGED))
    _, code = np.unique(alike[judged], axis=0, return_inverse=True)
    pairs = judged[unlike(code.reshape(-1))]
    a, b = pairs.T
    beside = neighbours(scene, tree)
    left_out = (owner[a] == owner[b]) & (whole[a] | _among(beside.pairs[beside.settled], a, b))
    for one, two in scene.loaded.arm.document.ignore_pairs:
        left_out |= pairs_that_fit(tree, (f"{ARM}/{one}", f"{ARM}/{two}"), a, b)
    return Judged(pairs[~left_out], (island[a] != island[b])[~left_out])


class Neighbours(NamedTuple):
    """Bodies of links that a joint joins directly, of one thing.

    Attributes:
        pairs: (P, 2) body rows, lower row first.
        touch: (P,) they touch wherever the joint stands.
        least_m: (P,) what they keep over all of its travel, -inf where nothing is proven of it. The arm's own must
            keep it beyond the travel too, for a joint that runs away may pass its end stops.
    """

    pairs: np.ndarray
    touch: np.ndarray
    least_m: np.ndarray

    @property
    def settled(self) -> np.ndarray:
        """Which of them (P,) no motion needs to be asked about: they touch, or keep what a fault must leave."""
        return np.asarray(self.touch | (self.least_m >= TOUCH_M))


def neighbours(scene: Scene, tree: Tree) -> Neighbours:
    """Return the neighbours in all things whose bodies are judged among themselves: not crew, hardware, restraints."""
    return _neighbours(tree, tuple(_whole(scene)))


@lru_cache(maxsize=64)
def _neighbours(tree: Tree, whole: tuple[str, ...]) -> Neighbours:
    row = {body.name: k for k, body in enumerate(tree.bodies)}
    found: list[tuple[int, int, bool, float]] = []
    for name, model in ((m.instance, m.model) for m in tree.mountings if m.instance not in whole):
        known = joined(model)
        told = [(pair.body_a, pair.body_b, True, -np.inf) for pair in known.touching]
        for pair in known.apart:
            sure = pair.beyond or name != ARM
            told.append((pair.body_a, pair.body_b, False, pair.least_m if sure else -np.inf))
        told += [(*both, False, -np.inf) for both in known.open]
        found += [(row[f"{name}/{one}"], row[f"{name}/{other}"], touch, least) for one, other, touch, least in told]
    table = np.array(found, dtype=float).reshape(-1, 4)
    pairs = np.sort(table[:, :2].astype(np.int64), axis=1)
    link = np.array([tree.index(body.link) for body in tree.bodies], dtype=np.int64)
    above = tree.parents[link]
    a, b = pairs.T
    direct = (above[a] == link[b]) | (above[b] == link[a])  # beyond a link that is fixed to another, rules hold
    return Neighbours(pairs[direct], table[direct, 2] > 0.0, table[direct, 3])


def neighbour_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are bodies of links that a joint joins directly."""
    a, b = np.sort(pairs.reshape(-1, 2), axis=1).T
    return _among(neighbours(scene, tree).pairs, a, b)


def _whole(scene: Scene) -> list[str]:
    """Return the names of things whose own bodies are never judged against each other."""
    return [*scene.loaded.crew, *scene.loaded.hardware, *scene.loaded.restraints]


def _among(some: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Tell which pairs of body rows (P,), (P,) are among some (Q, 2), lower row first."""
    count = int(max(b.max(initial=0), some.max(initial=0))) + 1
    return np.asarray(np.isin(a * count + b, some[:, 0] * count + some[:, 1]))


def arm_pairs(scene: Scene, tree: Tree) -> np.ndarray:
    """Return the pairs (P, 2) that any joint of the arm can move and that are not meant to touch, however far apart."""
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 1, scene.arm_columns] = 1.0
    pairs, moves = judged_pairs(scene, tree, Motion(tree.joints, np.array([0.0, 1.0]), table))
    asked = moves & ~touching_pairs(scene, tree, pairs)
    return np.asarray(pairs[asked])


def touching_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) may touch at any time: by the rules, and hardware in its holder's hands."""
    return _that_fit_any(tree, touching(scene, tree), pairs)


def touching(scene: Scene, tree: Tree) -> list[tuple[str, str]]:
    """Return the patterns of bodies that may touch at any time."""
    written = [contact.bodies for contact in scene.loaded.rules.intended_contact]
    patterns = [(_any_restraint(scene, a), _any_restraint(scene, b)) for a, b in written]
    for name, item in scene.loaded.hardware.items():
        for who in scene.loaded.crew:
            patterns += [(f"{name}/*", f"{who}/{touched}") for touched in item.document.touches]
    for name, restraint in scene.loaded.restraints.items():  # its mount meets the socket, hands hold it
        parent = tree.mounting(name).parent
        owner = parent.split("/", 1)[0]
        if owner in scene.loaded.crew:
            patterns += [(f"{name}/*", f"{owner}/{glove}") for glove in _gloves(scene, tree, owner)]
        elif owner != ARM:
            mount = [body.name for body in tree.bodies if body.link == f"{name}/{restraint.document.mount}"]
            patterns += [(body, f"{owner}/*") for body in mount]
    return patterns


def _any_restraint(scene: Scene, pattern: str) -> str:
    """Return a pattern of the rules with what it says of ``restraint`` said of every restraint."""
    words = pattern.split("|")
    own = [word.removeprefix(f"{RESTRAINT}/") for word in words if word.startswith(f"{RESTRAINT}/")]
    others = [name for name in scene.loaded.restraints if name != RESTRAINT]
    return "|".join([*words, *(f"{name}/{word}" for name in others for word in own)])


def _gloves(scene: Scene, tree: Tree, who: str) -> list[str]:
    links = {f"{who}/{glove}" for glove in scene.loaded.crew[who].document.gloves}
    return [body.name.split("/", 1)[1] for body in tree.bodies if body.link in links]


def seated_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are hardware that hangs from a seat of the platform and the platform itself.

    So too a restraint and what its socket is on, the arm apart, and hands that hold it.

    What sits in its seat, or on the rail, is as near to what stands around it as it was put there. So no
    distance is asked of it, but it must still not meet anything that it is not seated on.
    """
    document = scene.loaded.platform.document
    seats = {f"{PLATFORM}/{seat.frame}" for seat in document.seats.values()}
    seated = [name for name in scene.loaded.hardware if tree.mounting(name).parent in seats]
    rests, platform = tree.bodies_of(seated), tree.bodies_of((PLATFORM,))
    a, b = pairs.reshape(-1, 2).T
    result = np.asarray((rests[a] & platform[b]) | (platform[a] & rests[b]))
    for name in scene.loaded.restraints:
        on = tree.mounting(name).parent.split("/", 1)[0]
        if on != ARM:
            its, under = tree.bodies_of((name,)), tree.bodies_of((on,))
            result |= (its[a] & under[b]) | (under[a] & its[b])
    return result


def seating_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are hardware and a part of a seat that it touches when it sits there."""
    return _that_fit_any(tree, seating(scene), pairs)


def seating(scene: Scene) -> list[tuple[str, str]]:
    """Return the patterns of hardware and of the parts of a seat that it touches when it sits there."""
    return [
        (f"{name}/*", f"platform/{touched}")
        for seat in scene.loaded.platform.document.seats.values()
        for name, item in scene.loaded.hardware.items()
        if seat.takes(name, scene.loaded.scenario.hardware[name].model, item.path.stem)
        for touched in seat.touches
    ]


def _that_fit_any(tree: Tree, patterns: Iterable[tuple[str, str]], pairs: np.ndarray) -> np.ndarray:
    result = np.zeros(len(pairs), dtype=bool)
    for both in patterns:
        result |= pairs_that_fit(tree, both, *pairs.T)
    return result


def pairs_that_fit(tree: Tree, patterns: tuple[str, str], a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Tell which pairs of body rows (P,), (P,) fit two patterns, in either order."""
    first, second = (that_fit(tree, pattern) for pattern in patterns)
    return np.asarray((first[a] & second[b]) | (first[b] & second[a]))


def that_fit(tree: Tree, pattern: str) -> np.ndarray:
    """Tell which bodies (B,) of a tree fit a pattern."""
    return _that_fit(pattern, tree.body_names)


@lru_cache(maxsize=4096)
def _that_fit(pattern: str, names: tuple[str, ...]) -> np.ndarray:
    """Tell which names fit a pattern; of a day's many phases all have the same names."""
    found = np.zeros(len(names), dtype=bool)
    found[list(_named(names).fitting(pattern))] = True
    return found


@lru_cache(maxsize=16)
def _named(names: tuple[str, ...]) -> Named:
    return Named(names)
