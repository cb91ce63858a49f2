"""Arms as they are drawn of people who go along handrails: their hands on the rail, elbows bent as far as that takes.

What is proven of somebody on foot is one posture, whose gloves keep a little off the rail. Drawn are the same upper
arm, forearm and glove, turned about shoulder and elbow until the palm is on the nearest rail; who holds something, or
stands in a restraint, is drawn as proven. Marks, distances and the proven bodies (key ``k``) stay where they are.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from armcarry.geometry.poses import Array
from armcarry.ledger.state import Page
from armcarry.record.record import Record
from armcarry.scene.build import PLATFORM

#: a rail so near to a palm is taken hold of; from so far on a hand is on its way to it, m
_HOLDS_M, _TURNS_M = 0.45, 0.65
#: hands of a person keep so far apart along a rail, m
_APART_M = 0.28
#: an arm is never stretched out quite
_LONGEST = 0.995


@dataclass(frozen=True)
class Arm:
    """One arm of a person.

    Attributes:
        who: the person.
        side: ``left`` or ``right``.
        rows: upper arm, forearm and glove, rows into ``record.bodies``.
        links: those that shoulder, elbow and glove are the origins of.
    """

    who: str
    side: str
    rows: tuple[int, int, int]
    links: tuple[str, str, str]


def arms(record: Record) -> tuple[Arm, ...]:
    """Return the arms that are ever drawn with a hand on a rail: those of people on foot, in three parts."""
    return record.once(_arms)


def _arms(record: Record) -> tuple[Arm, ...]:
    if not record.scene.loaded.platform.document.handrails:
        return ()
    tree, found = record.phases[0].tree, []
    first = {body.link: row for row, body in reversed(list(enumerate(record.bodies)))}
    for who, member in record.scene.loaded.crew.items():
        for side, glove in zip(("left", "right"), member.document.gloves, strict=False):
            line = [tree.links[k] for k in tree.ancestry(f"{who}/{glove}")]
            links = [link for link in line if link in first and link.startswith(f"{who}/")][:3]
            free = any(value for _, _, value in _spans(record, who, side))
            if free and len(links) == 3 and links[0] == f"{who}/{glove}":
                upper, fore, hand = links[2], links[1], links[0]
                found.append(Arm(who, side, (first[upper], first[fore], first[hand]), (upper, fore, hand)))
    return tuple(found)


def _spans(record: Record, who: str, side: str) -> tuple[tuple[float, float, bool], ...]:
    if who not in record.ledger.start.people:
        return ()
    return record.ledger.spans(partial(_on_foot, who=who, side=side), record.duration_s)


def _on_foot(page: Page, who: str, side: str) -> bool:
    """Tell whether somebody is outside, in no restraint, and has a hand free for a rail."""
    person = page.people[who]
    return not (person.inside or person.away or person.restraint or person.climbing or getattr(person, side))


def reached(record: Record, arm: Arm, times_s: Array) -> Array:
    """Return T_world_body (T, 3, 4, 4) of upper arm, forearm and glove at instants times_s (T,), as they are drawn."""
    joints = record.link_paths(arm.links, times_s)
    drawn = joints @ np.stack([record.bodies[row].pose for row in arm.rows])
    spans = [(start, end) for start, end, free in _spans(record, arm.who, arm.side) if free]
    free = np.flatnonzero(np.any([(times_s >= start) & (times_s < end) for start, end in spans], axis=0))
    if free.size:
        palms = drawn[free, 2, :3, 3]
        near, targets = _holds(record, arm, times_s[free], palms)
        held = free[near]
        shoulders, elbows = joints[held, 0, :3, 3], joints[held, 1, :3, 3]
        drawn[held] = _bent(drawn[held], shoulders, elbows, palms[near], targets[near])
    return np.asarray(drawn)


def _holds(record: Record, arm: Arm, times_s: Array, palms: Array) -> tuple[NDArray[np.bool_], Array]:
    """Tell when (T,) a rail is near a palm (T, 3), and return where the hand is then (T, 3), on it or on its way."""
    rails = [(rail.start, rail.end) for rail in record.scene.loaded.platform.document.handrails.values()]
    chest = f"{arm.who}/{record.scene.loaded.crew[arm.who].document.chest}"
    links = record.link_paths((*(f"{PLATFORM}/{frame}" for pair in rails for frame in pair), chest), times_s)
    ends = links[:, :-1, :3, 3].reshape(len(times_s), len(rails), 2, 3)
    start, along = ends[:, :, 0], ends[:, :, 1] - ends[:, :, 0]
    long_m = np.maximum(np.linalg.norm(along, axis=-1), 1e-9)
    share = np.einsum("tri,tri->tr", palms[:, None] - start, along) / long_m**2
    far_m = np.linalg.norm(start + np.clip(share, 0.0, 1.0)[..., None] * along - palms[:, None], axis=-1)
    row, best = np.arange(len(times_s)), np.argmin(far_m, axis=1)
    way, start, long_m, far_m = along[row, best] / long_m[row, best, None], start[row, best], long_m[row, best], \
        far_m[row, best]
    # the left hand ahead: towards where the chest's own z axis points along the rail
    ahead = np.where(np.einsum("ti,ti->t", way, links[:, -1, :3, 2]) < 0, -1.0, 1.0)
    apart_m = ahead * (_APART_M / 2 if arm.side == "left" else -_APART_M / 2)
    held = start + np.clip(share[row, best] * long_m + apart_m, 0.0, long_m)[:, None] * way
    part = np.clip((_TURNS_M - far_m) / (_TURNS_M - _HOLDS_M), 0.0, 1.0)
    return far_m < _TURNS_M, palms + part[:, None] * (held - palms)


def _bent(parts: Array, shoulder: Array, elbow: Array, palm: Array, target: Array) -> Array:
    """Return poses (T, 3, 4, 4) of an arm's parts turned about shoulder and elbow so that the palm comes to a target.

    Points are (T, 3). The elbow stays in the plane of shoulder, target and where it was; a target out of reach is
    pointed at.
    """
    upper_m, lower_m = _long(elbow - shoulder), _long(palm - elbow)
    way = target - shoulder
    far_m = np.clip(_long(way), np.abs(upper_m - lower_m) + 1e-3, _LONGEST * (upper_m + lower_m))
    ahead = way / np.maximum(_long(way), 1e-9)
    out = (elbow - shoulder) - np.einsum("ti,ti->t", elbow - shoulder, ahead)[:, None] * ahead
    out /= np.maximum(_long(out), 1e-9)
    along_m = (upper_m**2 + far_m**2 - lower_m**2) / (2 * far_m)
    off_m = np.sqrt(np.maximum(upper_m**2 - along_m**2, 0.0))
    new_elbow, new_palm = shoulder + along_m * ahead + off_m * out, shoulder + far_m * ahead
    first = _turned(shoulder, shoulder, elbow - shoulder, new_elbow - shoulder)
    second = _turned(elbow, new_elbow, palm - elbow, new_palm - new_elbow)
    return np.stack([first @ parts[:, 0], second @ parts[:, 1], second @ parts[:, 2]], axis=1)


def _long(way: Array) -> Array:
    """Return lengths (T, 1) of vectors (T, 3)."""
    return np.asarray(np.linalg.norm(way, axis=1, keepdims=True))


def _turned(about: Array, to: Array, before: Array, after: Array) -> Array:
    """Return the motions (T, 4, 4) that bring points to others and directions to others, the short way round."""
    one, other = before / _long(before), after / _long(after)
    axis = np.cross(one, other)
    cosine, cross = np.einsum("ti,ti->t", one, other), np.zeros((len(one), 3, 3))
    for k, (i, j) in enumerate(((2, 1), (0, 2), (1, 0))):
        cross[:, i, j], cross[:, j, i] = axis[:, k], -axis[:, k]
    # Rodrigues' formula with sine and cosine of the angle as they are: exact unless one is the other turned round
    turn = np.eye(3) + cross + cross @ cross / np.maximum(1.0 + cosine, 1e-9)[:, None, None]
    move = np.tile(np.eye(4), (len(one), 1, 1))
    move[:, :3, :3] = turn
    move[:, :3, 3] = to - np.einsum("tij,tj->ti", turn, about)
    return move
