"""The one tree of frames: every thing of a rehearsal under ``world``; attach and detach give a new tree.

A link is named ``instance/link``, a joint ``instance/joint`` and a body ``instance/body``. The joint
vector of a tree holds the movable joints of all things in the order they were placed; attaching and
detaching change who is whose parent, never the joint vector, so that one Motion serves every tree of a run.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from armcarry.errors import FrameError, InputError
from armcarry.geometry import checked, poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import Array

WORLD = "world"
#: properties that trees of the same things have alike, however these hang
_SHARED = ("joints", "joint_limits", "revolute", "bodies", "body_names", "body_owners")


@dataclass(frozen=True, eq=False)
class Mounting:
    """Where the root link of one thing hangs: ``pose`` is T_parent_root (4, 4)."""

    instance: str
    model: Model
    parent: str
    pose: Array


@dataclass(frozen=True, eq=False)
class Tree:
    """All things of a scene, each mounted on ``world`` or on a link of another thing."""

    mountings: tuple[Mounting, ...] = ()

    @cached_property
    def hung_as(self) -> tuple[tuple[str, str, bytes], ...]:
        """What two trees of the same things share in which everything hangs alike."""
        return tuple((one.instance, one.parent, one.pose.tobytes()) for one in self.mountings)

    # -- building -----------------------------------------------------------------------------

    def place(self, instance: str, model: Model, parent: str = WORLD, pose: Array | None = None) -> Tree:
        """Return a tree with one more thing, its root at T_parent_root ``pose``.

        Raises:
            FrameError: the parent link is not in the tree.
            InputError: a name that is taken or holds a stroke, no model, or no pose.
        """
        given: object = model
        if not isinstance(given, Model):
            raise InputError("not a model", found=checked.told(given), accepted="Model")
        if "/" in checked.name("name of a thing", instance):
            raise InputError("name of a thing", found=instance, accepted="text without a stroke")
        if any(mounting.instance == instance for mounting in self.mountings):
            raise InputError(f"'{instance}' is placed already", accepted="every thing once")
        self.index(parent)
        where = poses.identity() if pose is None else checked.pose(f"pose of '{instance}'", pose)
        return Tree((*self.mountings, Mounting(instance, model, parent, where)))

    def attach(self, instance: str, parent: str, pose: Array) -> Tree:
        """Return a tree in which the thing hangs from link ``parent`` at T_parent_root ``pose``.

        Raises:
            FrameError: no such thing or link, or the link belongs to the thing or hangs from it.
            InputError: no pose.
        """
        self.mounting(instance)
        pose = checked.pose(f"pose of '{instance}'", pose)
        if parent != WORLD and instance in self._line_of(parent):
            raise FrameError("link outside the attached thing", parent, [])
        self.index(parent)
        other = Tree(
            tuple(
                replace(mounting, parent=parent, pose=pose) if mounting.instance == instance else mounting
                for mounting in self.mountings
            )
        )
        # what does not depend on who hangs where is worked out once for all trees of a run
        other.__dict__.update({name: self.__dict__[name] for name in _SHARED if name in self.__dict__})
        return other

    def mounting(self, instance: str) -> Mounting:
        """Return where a thing hangs. Raises FrameError when there is no such thing."""
        for mounting in self.mountings:
            if mounting.instance == instance:
                return mounting
        raise FrameError("thing", instance, (m.instance for m in self.mountings))

    def _line_of(self, link: str) -> tuple[str, ...]:
        """Return the things from the one that owns ``link`` down to the world."""
        line: list[str] = []
        while link != WORLD:
            instance = link.split("/", 1)[0]
            line.append(instance)
            link = self.mounting(instance).parent
        return tuple(line)

    # -- names --------------------------------------------------------------------------------

    @cached_property
    def joints(self) -> tuple[str, ...]:
        """Names of the movable joints, in the order of the joint vector."""
        return tuple(f"{m.instance}/{joint.name}" for m in self.mountings for joint in m.model.movable())

    @cached_property
    def joint_limits(self) -> Array:
        """Travel (n, 2) of the joint vector, lower and upper, rad or m."""
        rows = [(joint.lower, joint.upper) for m in self.mountings for joint in m.model.movable()]
        return np.array(rows, dtype=float).reshape(-1, 2)

    @cached_property
    def revolute(self) -> np.ndarray:
        """Which entries of the joint vector (n,) turn; the others slide."""
        return np.array([j.kind == "revolute" for m in self.mountings for j in m.model.movable()], dtype=bool)

    @cached_property
    def bodies(self) -> tuple[Body, ...]:
        """All bodies, with full names of body and link, in the order things were placed."""
        return tuple(
            body.inside(m.instance)
            for m in self.mountings
            for body in m.model.bodies
        )

    @cached_property
    def body_names(self) -> tuple[str, ...]:
        """Full names of all bodies."""
        return tuple(body.name for body in self.bodies)

    @cached_property
    def body_owners(self) -> np.ndarray:
        """For every body (B,) the row in ``mountings`` of the thing that it is part of."""
        return np.repeat(np.arange(len(self.mountings)), [len(m.model.bodies) for m in self.mountings])

    def bodies_of(self, instances: Collection[str]) -> np.ndarray:
        """Tell which bodies (B,) are part of some things."""
        flags = np.array([m.instance in instances for m in self.mountings], dtype=bool)
        return np.asarray(flags[self.body_owners])

    @cached_property
    def links(self) -> tuple[str, ...]:
        """All link names, ``world`` first, every parent before its children."""
        return tuple(link for link, *_ in self._rows)

    @cached_property
    def _index(self) -> dict[str, int]:
        return {link: k for k, link in enumerate(self.links)}

    def index(self, link: str) -> int:
        """Return the row of a link. Raises FrameError with the nearest name."""
        try:
            return self._index[link]
        except KeyError:
            raise FrameError("frame", link, self.links) from None

    def column(self, joint: str) -> int:
        """Return the column of a joint in the joint vector. Raises FrameError with the nearest name."""
        try:
            return self.joints.index(joint)
        except ValueError:
            raise FrameError("joint", joint, self.joints) from None

    # -- arrays, for motion and clearance ----------------------------------------------------------

    @cached_property
    def _rows(self) -> list[tuple[str, int, Array, Joint | None, int]]:
        """One row a link: name, parent row, T_parent_joint, its movable joint or None, joint column or -1."""
        rows: list[tuple[str, int, Array, Joint | None, int]] = [(WORLD, -1, poses.identity(), None, -1)]
        where = {WORLD: 0}
        first_column: dict[str, int] = {}
        count = 0
        for m in self.mountings:
            first_column[m.instance] = count
            count += len(m.model.movable())
        waiting = list(self.mountings)
        while waiting:
            ready = [m for m in waiting if m.parent in where]
            if not ready:
                raise FrameError("frame", waiting[0].parent, where)
            for m in ready:
                waiting.remove(m)
                root = f"{m.instance}/{m.model.root}"
                where[root] = len(rows)
                rows.append((root, where[m.parent], m.pose, None, -1))
                column = first_column[m.instance]
                for joint in m.model.joints:
                    child = f"{m.instance}/{joint.child}"
                    where[child] = len(rows)
                    movable = joint if joint.kind != "fixed" else None
                    rows.append(
                        (child, where[f"{m.instance}/{joint.parent}"], joint.origin, movable,
                         column if movable is not None else -1)
                    )
                    column += movable is not None
        return rows

    @cached_property
    def parents(self) -> np.ndarray:
        """Parent row of every link (L,), -1 for the world."""
        return np.array([row[1] for row in self._rows], dtype=np.int64)

    @cached_property
    def origins(self) -> Array:
        """T_parent_joint of every link (L, 4, 4)."""
        return np.stack([row[2] for row in self._rows])

    @cached_property
    def kinds(self) -> np.ndarray:
        """Joint kind of every link (L,): 0 fixed, 1 revolute, 2 prismatic."""
        code = {"revolute": 1, "prismatic": 2}
        return np.array([0 if row[3] is None else code[row[3].kind] for row in self._rows], dtype=np.int64)

    @cached_property
    def axes(self) -> Array:
        """Unit joint axis of every link (L, 3), zero where fixed."""
        return np.stack([np.zeros(3) if row[3] is None else row[3].axis for row in self._rows])

    @cached_property
    def columns(self) -> np.ndarray:
        """Column of every link's joint in the joint vector (L,), -1 where fixed."""
        return np.array([row[4] for row in self._rows], dtype=np.int64)

    def ancestry(self, link: str) -> tuple[int, ...]:
        """Return the rows from ``link`` up to the world, both included."""
        row, line = self.index(link), []
        while row >= 0:
            line.append(row)
            row = int(self.parents[row])
        return tuple(line)

    def pose_of(self, link: str, position: Array, relative_to: str = WORLD) -> Array:
        """Return T_reference_link (4, 4) at one joint vector (n,); many vectors at once: motion.forward.

        Raises:
            FrameError: a link is not in the tree.
        """
        pose = poses.identity()
        for row in self.ancestry(link):
            column = int(self.columns[row])
            if column >= 0 and self.kinds[row] == 1:
                pose = poses.rotation_about(self.axes[row], position[column]) @ pose
            elif column >= 0:
                pose = poses.translation(self.axes[row] * position[column]) @ pose
            pose = self.origins[row] @ pose
        return pose if relative_to == WORLD else poses.inverse(self.pose_of(relative_to, position)) @ pose

    def hangs_from(self, instance: str, other: str) -> bool:
        """Tell whether a thing hangs from another, directly or through further things, or is it."""
        mounting = self.mounting(instance)
        return instance == other or (mounting.parent != WORLD and other in self._line_of(mounting.parent))
