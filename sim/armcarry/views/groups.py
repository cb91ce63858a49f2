"""Which bodies move as one: the pieces that every 3-D view moves, and where each is at a time."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.scene.tree import WORLD, Tree
from armcarry.views.reach import Arm, arms, reached

#: so much before a switch things are as they were before it, s
_JUST_S = 1e-6
#: name of the group of everything that never moves
STATIC = "static"


@dataclass(frozen=True, eq=False)
class Group:
    """Bodies that keep their places relative to one another over the whole run.

    Attributes:
        name: full name of the link that leads them, or STATIC.
        link: that link; ``world`` for the static group.
        bodies: rows into ``record.bodies``.
        local: T_link_body of each (b, 4, 4).
        drawn_arm: the arm that is drawn with its hand on a rail, and which of its parts this is; its pose is that of
            the body as it is drawn.
    """

    name: str
    link: str
    bodies: tuple[int, ...]
    local: Array
    drawn_arm: tuple[Arm, int] | None = None

    @property
    def moves(self) -> bool:
        """Whether it ever moves."""
        return self.link != WORLD


def rigid_groups(record: Record, also: Iterable[str] = ()) -> tuple[Group, ...]:
    """Sort the bodies of a run into rigid groups: the static one first, then one a moving link or thing.

    Args:
        record: the run.
        also: links whose group is wanted though it may hold no body.
    """
    leader = record.leaders
    tree, links = record.link_poses(record.motion.start_s)
    members: dict[str, list[int]] = {WORLD: [], **{leader[link]: [] for link in also}}
    for k, body in enumerate(record.bodies):
        members.setdefault(leader[body.link], []).append(k)
    groups = []
    for link, rows in members.items():
        pose = np.stack([links[tree.index(record.bodies[k].link)] @ record.bodies[k].pose for k in rows] or [np.eye(4)])
        local = poses.inverse(links[tree.index(link)]) @ pose
        groups.append(Group(STATIC if link == WORLD else link, link, tuple(rows), local[: len(rows)]))
    return tuple(groups)


def arm_groups(record: Record) -> tuple[Group, ...]:
    """Return a group for each part of an arm that is drawn with its hand on a rail, where it is not proven to be."""
    return tuple(
        Group(f"arm {record.bodies[row].name}", record.bodies[row].link, (row,), np.eye(4)[None], (arm, k))
        for arm in arms(record) for k, row in enumerate(arm.rows)
    )


def group_poses(record: Record, groups: Iterable[Group], times_s: ArrayLike, side: str = "right") -> Array:
    """Return T_world_link (T, G, 4, 4) of the groups' leading links at times_s (T,).

    At a switch between phases the later phase counts, or the earlier with ``side='left'``.
    """
    times, groups = np.atleast_1d(np.asarray(times_s, dtype=float)), tuple(groups)
    links = [group.link for group in groups]
    result = np.empty((len(times), len(links), 4, 4))
    starts = np.array([phase.start_s for phase in record.phases])
    which = np.maximum(np.searchsorted(starts, times, side="right" if side == "right" else "left") - 1, 0)
    for k in np.unique(which):
        pick = which == k
        result[pick] = forward(record.phases[k].tree, record.motion.at(times[pick], side=side), links)
    drawn: dict[Arm, Array] = {}
    for column, group in enumerate(groups):
        if group.drawn_arm is not None:
            arm, part = group.drawn_arm
            if arm not in drawn:
                drawn[arm] = reached(record, arm, times if side == "right" else times - _JUST_S)
            result[:, column] = drawn[arm][:, part]
    return result


def body_kinds(record: Record) -> tuple[str, ...]:
    """Return what each body is drawn as: its class, hardware even on its seat, a rider even off the arm."""
    scene = record.scene
    by_phase = [set(seen) for seen in zip(*map(scene.body_classes, _trees(record)), strict=True)]
    kinds = []
    for body, seen in zip(record.bodies, by_phase, strict=True):
        instance = body.name.split("/", 1)[0]
        if instance in scene.loaded.hardware:
            kinds.append("hardware")
        elif instance in scene.loaded.crew:
            kinds.append("rider" if "rider" in seen else "worker")
        elif instance in scene.loaded.restraints:
            kinds.append("arm")
        else:
            kinds.append(sorted(seen)[0])
    return tuple(kinds)


def _trees(record: Record) -> list[Tree]:
    return [phase.tree for phase in record.phases]
