"""Which pairs of bodies are judged, and what the rules ask of them."""

from __future__ import annotations

import numpy as np

from armcarry.clearance import pairs_that_move
from armcarry.files.names import matches
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.rules import required_clearance_m
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
    touching = np.zeros(len(a), dtype=bool)
    for patterns in _intended(scene):
        touching |= pairs_that_fit(tree, patterns, a, b)
    pairs = np.stack([a, b], axis=1)
    return pairs[~left_out & ~touching], pairs[~left_out & touching]


def arm_pairs(scene: Scene, tree: Tree) -> np.ndarray:
    """Return the pairs (P, 2) that are judged and that any joint of the arm can move, however far apart they are."""
    table = np.zeros((1, 2, len(tree.joints)))
    table[0, 1, scene.arm_columns] = 1.0
    return judged_pairs(scene, tree, Motion(tree.joints, np.array([0.0, 1.0]), table))[0]


def _intended(scene: Scene) -> list[tuple[str, str]]:
    """Return the patterns of bodies that may touch at any time: by the rules, and hardware in its holder's hands."""
    patterns = [contact.bodies for contact in scene.loaded.rules.intended_contact]
    for name, item in scene.loaded.hardware.items():
        for who in scene.loaded.crew:
            patterns += [(f"{name}/*", f"{who}/{touched}") for touched in item.document.touches]
    return patterns


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


def required_of(scene: Scene, tree: Tree, pairs: np.ndarray) -> Array:
    """Return the required clearance of each pair (P,) in metres, nan where no rule covers the two classes.

    Hardware in its seat is asked for no distance from the platform.
    """
    classes = np.array(scene.body_classes(tree))
    names, code = np.unique(classes, return_inverse=True)
    table = np.array(
        [
            [np.nan if (value := required_clearance_m(scene.loaded.rules, a, b)) is None else value for b in names]
            for a in names
        ]
    )
    required = table[code[pairs[:, 0]], code[pairs[:, 1]]]
    return np.where((required > 0.0) & resting_pairs(scene, tree, pairs), 0.0, required)
