"""Which pairs of bodies are worth judging."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from armcarry.clearance.frames import body_frames, line_to
from armcarry.errors import FrameError, InputError
from armcarry.geometry import checked
from armcarry.motion.curve import Motion
from armcarry.scene.tree import Tree

NamePair = tuple[str, str]


def all_pairs(tree: Tree, exclude: Iterable[NamePair] = ()) -> np.ndarray:
    """List pairs (P, 2) of bodies that some joint can move against each other, lower row first.

    Args:
        tree: the bodies and joints.
        exclude: pairs of body names to leave out, in either order: neighbours on a joint, a held thing.

    Raises:
        FrameError: an excluded body is not in the tree.
    """
    return _pairs(tree, np.ones(len(tree.joints), dtype=bool), exclude)


def pairs_that_move(tree: Tree, motion: Motion, exclude: Iterable[NamePair] = ()) -> np.ndarray:
    """List pairs (P, 2) of bodies that the motion moves against each other, lower row first.

    A pair counts when any joint between the two bodies is not constant over the whole motion, whatever
    the joints common to both do.

    Raises:
        FrameError: an excluded body is not in the tree.
    """
    moving = {name for name, flag in zip(motion.joints, motion.moving, strict=True) if flag}
    return _pairs(tree, np.array([name in moving for name in tree.joints], dtype=bool), exclude)


def two_names(what: str, given: Iterable[NamePair]) -> Iterable[NamePair]:
    """Return pairs of names. Raises InputError for one that is none."""
    for pair in checked.listed(what, given, "pairs of names of bodies"):
        if isinstance(pair, str) or not isinstance(pair, Sequence) or len(pair) != 2:
            raise InputError(f"{what}: not two names of bodies", found=checked.told(pair), accepted="(name, name)")
        yield pair[0], pair[1]


def _pairs(tree: Tree, moves: np.ndarray, exclude: Iterable[NamePair]) -> np.ndarray:
    frame_of, _, frames = body_frames(tree)
    columns = tree.columns[tree.columns >= 0]
    at = np.array([frame_of[tree.index(body.link)] for body in tree.bodies], dtype=np.int64)
    count = len(frames.parent)
    behind = np.zeros((count + 1, count), dtype=bool)  # moving joints from the world to a frame; last: world
    for frame in range(count):
        behind[frame, line_to(frames.parent, frame)] = True
    behind &= moves[columns]
    apart = np.any(behind[:, None] != behind[None, :], axis=2)
    first, second = np.triu_indices(len(at), 1)
    keep = apart[at[first], at[second]]
    pairs = np.stack([first[keep], second[keep]], axis=1)
    return _without(tree, pairs, exclude)


def _without(tree: Tree, pairs: np.ndarray, exclude: Iterable[NamePair]) -> np.ndarray:
    row = {body.name: k for k, body in enumerate(tree.bodies)}
    dropped = []
    for names in two_names("exclude", exclude):
        for name in names:
            if name not in row:
                raise FrameError("body", name, row)
        dropped.append(sorted(row[name] for name in names))
    if not dropped:
        return pairs
    key = pairs[:, 0] * len(row) + pairs[:, 1]
    gone = np.array([a * len(row) + b for a, b in dropped])
    return np.asarray(pairs[~np.isin(key, gone)])
