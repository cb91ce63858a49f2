"""Which pairs of bodies are worth judging."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from armcarry.clearance.frames import body_frames
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
    return _pairs(tree, moving_joints(tree, motion), exclude)


def two_names(what: str, given: Iterable[NamePair]) -> Iterable[NamePair]:
    """Return pairs of names. Raises InputError for one that is none."""
    for pair in checked.listed(what, given, "pairs of names of bodies"):
        if isinstance(pair, str) or not isinstance(pair, Sequence) or len(pair) != 2:
            raise InputError(f"{what}: not two names of bodies", found=checked.told(pair), accepted="(name, name)")
        yield pair[0], pair[1]


def islands(tree: Tree, moves: np.ndarray) -> np.ndarray:
    """Number bodies (B,) so that two have the same number where no moving joint lies between them.

    Args:
        tree: bodies and joints.
        moves: (n,) which joints move.
    """
    frame_of, _, frames = body_frames(tree)
    columns = tree.columns[tree.columns >= 0]
    island = np.zeros(len(columns) + 1, dtype=np.int64)  # of every frame; last: world
    for frame, above in enumerate(frames.parent.tolist()):
        island[frame] = frame + 1 if moves[columns[frame]] else island[above]
    return island[[frame_of[tree.index(body.link)] for body in tree.bodies]]


def moving_joints(tree: Tree, motion: Motion) -> np.ndarray:
    """Tell which joints of a tree (n,) are not constant over a motion."""
    moving = {name for name, flag in zip(motion.joints, motion.moving, strict=True) if flag}
    return np.array([name in moving for name in tree.joints], dtype=bool)


def unlike(code: np.ndarray) -> np.ndarray:
    """Return the pairs (P, 2) of rows with different codes (B,), lower row first, in order.

    The most frequent code is paired with the others alone and never with itself, so that what stands all about, however
    much, costs what it is asked.
    """
    _, code = np.unique(code, return_inverse=True)
    rare = np.ones(len(code), dtype=bool)
    if len(code):
        rare = code != np.argmax(np.bincount(code))
    few = np.flatnonzero(rare)
    apart = code[few][:, None] != code
    apart &= ~(rare & (np.arange(len(code)) < few[:, None]))  # two rare ones once
    row, other = np.nonzero(apart)
    lower, upper = np.minimum(few[row], other), np.maximum(few[row], other)
    return np.stack(np.divmod(np.sort(lower * len(code) + upper), max(len(code), 1)), axis=1)


def _pairs(tree: Tree, moves: np.ndarray, exclude: Iterable[NamePair]) -> np.ndarray:
    return _without(tree, unlike(islands(tree, moves)), exclude)


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
