"""Which pairs of bodies are judged, which rest on each other, and which are meant to touch."""

from __future__ import annotations

import numpy as np

from armcarry.clearance import pairs_that_move
from armcarry.files.names import matches
from armcarry.motion.curve import Motion
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.tree import Tree

#: bodies of these classes carry no clearance of their own
UNJUDGED = ("inside",)


def judged_pairs(scene: Scene, tree: Tree, motion: Motion) -> tuple[np.ndarray, np.ndarray]:
    """Return the pairs (P, 2) of body rows to measure over a motion, and those that are meant to touch (Q, 2).

    Left out: pairs without relative motion, bodies of links joined directly, pairs the arm's document
    ignores, bodies of one crewmember or one piece of hardware among themselves, and anyone inside.
    """
    bodies = tree.bodies
    a, b = pairs_that_move(tree, motion).T
    inside = np.isin(scene.body_classes(tree), UNJUDGED)
    owners = [body.name.split("/", 1)[0] for body in bodies]
    _, owner = np.unique(owners, return_inverse=True)
    whole = np.isin(owners, [*scene.loaded.crew, *scene.loaded.hardware])
    link = np.array([tree.index(body.link) for body in bodies])
    above = tree.parents[link]
    same = owner[a] == owner[b]
    neighbours = (above[a] == link[b]) | (above[b] == link[a])
    left_out = inside[a] | inside[b] | (same & (whole[a] | neighbours))
    for one, two in scene.loaded.arm.document.ignore_pairs:
        left_out |= pairs_that_fit(tree, (f"arm/{one}", f"arm/{two}"), a, b)
    pairs = np.stack([a, b], axis=1)
    touching = touching_pairs(scene, tree, pairs)
    return pairs[~left_out & ~touching], pairs[~left_out & touching]


def arm_pairs(scene: Scene, tree: Tree) -> np.ndarray:
    """Return the pairs (P, 2) that are judged and that any joint of the arm can move, however far apart they are."""
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 1, scene.arm_columns] = 1.0
    return judged_pairs(scene, tree, Motion(tree.joints, np.array([0.0, 1.0]), table))[0]


def touching_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) may touch at any time: by the rules, and hardware in its holder's hands."""
    patterns = [contact.bodies for contact in scene.loaded.rules.intended_contact]
    for name, item in scene.loaded.hardware.items():
        for who in scene.loaded.crew:
            patterns += [(f"{name}/*", f"{who}/{touched}") for touched in item.document.touches]
    result = np.zeros(len(pairs), dtype=bool)
    for both in patterns:
        result |= pairs_that_fit(tree, both, *pairs.T)
    return result


def resting_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are hardware that hangs from a seat of the platform and the platform itself.

    What sits in its seat, or on the rail, is as near to what stands around it as it was put there. So no
    distance is asked of it, but it must still not meet anything that it is not seated on.
    """
    document = scene.loaded.platform.document
    seats = {f"{PLATFORM}/{seat.frame}" for seat in document.seats.values()}
    seated = [name for name in scene.loaded.hardware if tree.mounting(name).parent in seats]
    owner = np.array([body.name.split("/", 1)[0] for body in tree.bodies])
    rests, platform = np.isin(owner, seated), owner == PLATFORM
    a, b = pairs.reshape(-1, 2).T
    return np.asarray((rests[a] & platform[b]) | (platform[a] & rests[b]))


def seating_pairs(scene: Scene, tree: Tree, pairs: np.ndarray) -> np.ndarray:
    """Tell which pairs (P,) are hardware and a part of a seat that it touches when it sits there."""
    result = np.zeros(len(pairs), dtype=bool)
    for seat in scene.loaded.platform.document.seats.values():
        for name, item in scene.loaded.hardware.items():
            if {name, scene.loaded.scenario.hardware[name].model, item.path.stem} & set(seat.accepts):
                for touched in seat.touches:
                    result |= pairs_that_fit(tree, (f"{name}/*", f"platform/{touched}"), *pairs.T)
    return result


def pairs_that_fit(tree: Tree, patterns: tuple[str, str], a: np.ndarray, b: np.ndarray) -> np.ndarray:
    """Tell which pairs of body rows (P,), (P,) fit two patterns, in either order."""
    first, second = (np.array([matches(pattern, body.name) for body in tree.bodies]) for pattern in patterns)
    return np.asarray((first[a] & second[b]) | (first[b] & second[a]))
