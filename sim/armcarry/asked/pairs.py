"""Which pairs of bodies are judged, which of them rest against each other, and which are meant to touch."""

from __future__ import annotations

from functools import lru_cache
from typing import NamedTuple

import numpy as np

from armcarry.clearance import all_pairs, pairs_that_move
from armcarry.files.names import matches
from armcarry.motion.curve import Motion
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene
from armcarry.scene.tree import Tree

#: bodies of these classes carry no clearance of their own
UNJUDGED = ("inside",)


class Judged(NamedTuple):
    """Pairs (P, 2) of body rows, and which of them (P,) a motion moves against each other."""

    pairs: np.ndarray
    moves: np.ndarray


def judged_pairs(scene: Scene, tree: Tree, motion: Motion | None) -> Judged:
    """Return every pair of bodies that is judged in a tree, lower row first, those meant to touch among them.

    Left out: bodies of links joined directly, pairs the arm's document ignores, bodies of one crewmember, one restraint
    or one piece of hardware among themselves, and anyone inside. Bodies of one instance that rest against each other
    are as they were built or set up, and left out too, save the arm's own that a joint can move: it may start folded.

    Args:
        scene: classes and documents.
        tree: what hangs from what.
        motion: of all joints; None where nothing moves.
    """
    bodies = tree.bodies
    a, b = np.triu_indices(len(bodies), 1)
    inside = np.isin(scene.body_classes(tree), UNJUDGED)
    owners = [body.name.split("/", 1)[0] for body in bodies]
    _, owner = np.unique(owners, return_inverse=True)
    whole = np.isin(owners, [*scene.loaded.crew, *scene.loaded.hardware, *scene.loaded.restraints])
    link = np.array([tree.index(body.link) for body in bodies])
    above = tree.parents[link]
    neighbours = (above[a] == link[b]) | (above[b] == link[a])
    moves = np.zeros(len(a), dtype=bool) if motion is None else _among(pairs_that_move(tree, motion), a, b)
    ours = np.array([name == ARM for name in owners])
    built = ~moves & ~(ours[a] & _among(all_pairs(tree), a, b))
    left_out = inside[a] | inside[b] | ((owner[a] == owner[b]) & (whole[a] | neighbours | built))
    for one, two in scene.loaded.arm.document.ignore_pairs:
        left_out |= pairs_that_fit(tree, (f"{ARM}/{one}", f"{ARM}/{two}"), a, b)
    return Judged(np.stack([a, b], axis=1)[~left_out], moves[~left_out])


def _among(some: np.ndarray, a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Tell which pairs of body rows (P,), (P,) are among some (Q, 2), lower row first."""
    count = int(b.max(initial=0)) + 1
    return np.asarray(np.isin(a * count + b, some[:, 0] * count + some[:, 1]))


def arm_pairs(scene: Scene, tree: Tree) -> np.ndarray:
    """Return the pairs (P, 2) that any joint of the arm can move and that are not meant to touch, however far apart."""
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 1, scene.arm_columns] = 1.0
    pairs, moves = judged_pairs(scene, tree, Motion(tree.joints, np.array([0.0, 1.0]), table))
    return np.asarray(pairs[moves & ~touching_pairs(scene, tree, pairs)])


def touching_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) may touch at any time: by the rules, and hardware in its holder's hands."""
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
    result = np.zeros(len(pairs), dtype=bool)
    for both in patterns:
        result |= pairs_that_fit(tree, both, *pairs.T)
    return result


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
    owner = np.array([body.name.split("/", 1)[0] for body in tree.bodies])
    rests, platform = np.isin(owner, seated), owner == PLATFORM
    a, b = pairs.reshape(-1, 2).T
    result = np.asarray((rests[a] & platform[b]) | (platform[a] & rests[b]))
    for name in scene.loaded.restraints:
        on = tree.mounting(name).parent.split("/", 1)[0]
        if on != ARM:
            its, under = owner == name, owner == on
            result |= (its[a] & under[b]) | (under[a] & its[b])
    return result


def seating_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are hardware and a part of a seat that it touches when it sits there."""
    result = np.zeros(len(pairs), dtype=bool)
    for seat in scene.loaded.platform.document.seats.values():
        for name, item in scene.loaded.hardware.items():
            if seat.takes(name, scene.loaded.scenario.hardware[name].model, item.path.stem):
                for touched in seat.touches:
                    result |= pairs_that_fit(tree, (f"{name}/*", f"platform/{touched}"), *pairs.T)
    return result


def pairs_that_fit(tree: Tree, patterns: tuple[str, str], a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Tell which pairs of body rows (P,), (P,) fit two patterns, in either order."""
    names = tuple(body.name for body in tree.bodies)
    first, second = (_that_fit(pattern, names) for pattern in patterns)
    return np.asarray((first[a] & second[b]) | (first[b] & second[a]))


@lru_cache(maxsize=4096)
def _that_fit(pattern: str, names: tuple[str, ...]) -> np.ndarray:
    """Tell which names fit a pattern; of a day's many phases all have the same names."""
    return np.array([matches(pattern, name) for name in names], dtype=bool)
