"""The terms of a campaign in one scene: every number that is drawn, and what a draw does to tree and motion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from armcarry.errors import InputError
from armcarry.files.documents.dispersion import (
    Bending,
    BodyOffset,
    Dispersion,
    JointOffset,
    Lag,
    MountOffset,
    Term,
)
from armcarry.files.names import matches
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.merge import cut
from armcarry.scene.build import Scene
from armcarry.scene.crew import FREE_JOINTS
from armcarry.scene.displaced import Displaced

_AXES = "xyz"


@dataclass(frozen=True)
class Drawn:
    """One number that is drawn for every run.

    Attributes:
        term: name of the term it belongs to.
        kind: of that term.
        target: full name of joint or link, or the instance; ``together`` lags name their patterns.
        part: ``x y z`` along and ``roll pitch yaw`` about an axis, or ``value``.
        amount: standard deviation or half-width, m, rad or s.
        most: no draw is larger than this.
        normal: shape; uniform otherwise.
        targets: all joints that a lag moves.
        held: of a mount offset.
    """

    term: str
    kind: str
    target: str
    part: str
    amount: float
    most: float
    normal: bool
    targets: tuple[str, ...] = ()
    held: bool = False

    @property
    def name(self) -> str:
        """Name for tables: term, target and part."""
        return f"{self.term}: {self.target}" + ("" if self.part == "value" else f" {self.part}")


def drawn_numbers(scene: Scene) -> tuple[Drawn, ...]:
    """List every number that is drawn for a run of a scene, in an order that depends on the files alone.

    Raises:
        InputError: the rules declare no dispersion.
    """
    rules = scene.loaded.rules
    if rules.dispersion is None:
        raise InputError(
            "the rules declare no dispersion, so it is not known how runs differ",
            accepted="a section dispersion with its terms in the rules document",
        )
    found: list[Drawn] = []
    for name, term in sorted(rules.dispersion.terms.items()):
        found.extend(_numbers(scene, rules.dispersion, name, term))
    return tuple(found)


def _numbers(scene: Scene, rules: Dispersion, name: str, term: Term) -> list[Drawn]:
    normal = term.shape == "normal"

    def one(target: str, part: str, amount: float, targets: tuple[str, ...] = (), held: bool = False) -> Drawn:
        return Drawn(name, term.kind, target, part, amount, amount * (rules.cut if normal else 1.0), normal, targets,
                     held)  # fmt: skip

    if isinstance(term, JointOffset | Lag):
        joints = tuple(joint for joint in _fitting(scene, term.of, scene.tree.joints) if not _free(joint))
        if isinstance(term, Lag) and term.together:
            return [one(", ".join(term.of), "value", term.amount, joints)] if joints else []
        return [one(joint, "value", term.amount, (joint,)) for joint in joints]
    held = False
    if isinstance(term, MountOffset):
        names = [m.instance for m in scene.tree.mountings if m.instance != "platform"]
        targets, held = _fitting(scene, term.of, names), term.held
    elif isinstance(term, BodyOffset):
        with_bodies = {body.link for body in scene.tree.bodies}
        targets = _fitting(scene, term.of, [link for link in scene.tree.links if link in with_bodies])
    else:
        targets = _fitting(scene, term.of, scene.tree.joints)
    return [one(target, part, amount, held=held) for target in targets for part, amount in _parts(term) if amount]


def _parts(term: MountOffset | BodyOffset | Bending) -> list[tuple[str, float]]:
    """Return the six parts of a displacement with their amounts."""
    return [(axis, term.position) for axis in _AXES] + [(word, term.rotation) for word in ("roll", "pitch", "yaw")]


def _free(joint: str) -> bool:
    return joint.split("/", 1)[1] in FREE_JOINTS


def _fitting(scene: Scene, patterns: list[str], names: tuple[str, ...] | list[str]) -> list[str]:
    """Return the names that fit a pattern; an instance ``crew`` or ``hardware`` stands for each of its kind."""
    every: list[str] = []
    for pattern in patterns:
        instance, slash, rest = pattern.partition("/")
        known = {"crew": list(scene.loaded.crew), "hardware": list(scene.loaded.hardware)}.get(instance, [instance])
        every += [f"{one}{slash}{rest}" for one in known]
    return [name for name in names if any(matches(pattern, name) for pattern in every)]


# -- drawing -----------------------------------------------------------------------------------------------


def draw(numbers: tuple[Drawn, ...], seed: int, run: int) -> Array:
    """Draw the numbers (n,) of one run; the same for a seed and run whatever is drawn before or beside it.

    Philox with the key of (seed, run). Normal amounts are cut off, by the inverse of the distribution.
    """
    from scipy.special import ndtr, ndtri

    source = np.random.Generator(np.random.Philox(np.random.SeedSequence(seed, spawn_key=(run,))))
    share = source.random(len(numbers))
    amount = np.array([number.amount for number in numbers])
    most = np.array([number.most for number in numbers])
    normal = np.array([number.normal for number in numbers], dtype=bool)
    cuts = np.where(normal, most / np.where(amount > 0, amount, 1.0), 1.0)
    low = ndtr(-cuts)
    values = np.where(normal, amount * ndtri(low + share * (1.0 - 2.0 * low)), amount * (2.0 * share - 1.0))
    return np.asarray(np.clip(values, -most, most))


# -- what a draw does --------------------------------------------------------------------------------------


def displacement(numbers: tuple[Drawn, ...], values: Array) -> Displaced:
    """Return what a draw (n,) displaces in the tree.

    Bending moves and tilts the joint at the end of a link, and with it all that hangs there. The link's own bodies stay
    where they were drawn: a bent boom is a straight one whose end does not meet the next link.
    """
    twists: dict[str, dict[str, Array]] = {"mounts": {}, "held": {}, "joints": {}, "bodies": {}}
    part_of = {"x": 0, "y": 1, "z": 2, "roll": 3, "pitch": 4, "yaw": 5}
    for number, value in zip(numbers, values.tolist(), strict=True):
        key = {"mount_offset": "held" if number.held else "mounts", "bending": "joints", "body_offset": "bodies"}.get(
            number.kind
        )
        if key is not None:
            twists[key].setdefault(number.target, np.zeros(6))[part_of[number.part]] += value
    return Displaced(
        **{
            key: {name: poses.from_xyz_rpy(twist[:3], twist[3:]) for name, twist in part.items()}
            for key, part in twists.items()
        }
    )


def moved(numbers: tuple[Drawn, ...], values: Array, motion: Motion) -> Motion:
    """Return the motion with the offsets and lags of a draw (n,), over the same time.

    A joint that runs late by s is at time t where the script has it at t - s; before its start and after its
    end it is held.
    """
    offset, lag = np.zeros(len(motion.joints)), np.zeros(len(motion.joints))
    where = {name: k for k, name in enumerate(motion.joints)}
    for number, value in zip(numbers, values.tolist(), strict=True):
        if number.kind in ("joint_offset", "lag"):
            table = offset if number.kind == "joint_offset" else lag
            for joint in number.targets:
                table[where[joint]] += value
    result = motion
    if np.any(lag):
        result = _late(motion, lag)
    table = result.coefficients.copy()
    table[:, 0] += offset
    return Motion(motion.joints, result.breaks_s, table)


def _late(motion: Motion, lag_s: Array) -> Motion:
    start, end = motion.start_s, motion.end_s
    lags, which = np.unique(lag_s, return_inverse=True)
    moving = motion.moving
    # joints that never move need no cuts of their own
    cuts = [motion.breaks_s + by for k, by in enumerate(lags) if np.any(moving & (which == k))]
    inner = np.concatenate([*cuts, np.zeros(0)])
    breaks = np.unique(np.concatenate([motion.breaks_s[[0, -1]], inner[(inner > start) & (inner < end)]]))
    powers = motion.coefficients.shape[1]
    table = np.zeros((len(breaks) - 1, powers, len(motion.joints)))
    middle = 0.5 * (breaks[1:] + breaks[:-1])
    for k, by in enumerate(lags.tolist()):
        columns = np.flatnonzero(which == k)
        one = Motion(tuple(motion.joints[c] for c in columns), motion.breaks_s, motion.coefficients[:, :, columns])
        if np.any(moving[columns]):
            table[:, :, columns] = _shifted_cut(one, breaks, middle, by, powers)
        else:
            table[:, 0, columns] = motion.coefficients[0, 0, columns]
    return Motion(motion.joints, breaks, table)


def _shifted_cut(motion: Motion, breaks_s: Array, middle_s: Array, by_s: float, powers: int) -> Array:
    """Return coefficients (K, powers, n) on given pieces of a motion run late, held beyond its ends."""
    first, last = motion.start_s + by_s, motion.end_s + by_s
    before, after = middle_s < first, middle_s > last
    inside = ~(before | after)
    table = np.zeros((len(middle_s), powers, len(motion.joints)))
    table[before, 0], table[after, 0] = motion.at(motion.start_s), motion.at(motion.end_s, side="left")
    rows = np.flatnonzero(inside)
    if len(rows):
        edges = np.append(breaks_s[rows], breaks_s[rows[-1] + 1])
        table[rows] = cut(motion.shifted(by_s), edges, powers)
    return table
