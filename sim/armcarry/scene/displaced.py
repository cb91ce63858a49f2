"""Small displacements of a tree: what is mounted, jointed or drawn a little beside its place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np

from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import Array
from armcarry.scene.tree import Mounting, Tree


@dataclass(frozen=True, eq=False)
class Displaced:
    """Displacements (4, 4) near the identity, each applied in the frame of the thing it displaces.

    Attributes:
        mounts: instance -> T_nominal_root_true_root; ``held`` the same, only while it hangs from something
            other than the platform or the world.
        joints: full joint name -> T_nominal_joint_true_joint.
        bodies: full link name -> displacement of all bodies of that link, in the link's frame.
    """

    mounts: Mapping[str, Array] = field(default_factory=dict)
    held: Mapping[str, Array] = field(default_factory=dict)
    joints: Mapping[str, Array] = field(default_factory=dict)
    bodies: Mapping[str, Array] = field(default_factory=dict)

    def of(self, tree: Tree) -> Tree:
        """Return a tree with everything where it truly is; joints, links and bodies keep their order."""
        return Tree(tuple(self._mounting(mounting) for mounting in tree.mountings))

    def _mounting(self, mounting: Mounting) -> Mounting:
        pose = mounting.pose
        for known, holds in ((self.mounts, True), (self.held, is_held(mounting))):
            if holds and mounting.instance in known:
                pose = pose @ known[mounting.instance]
        return replace(mounting, pose=pose, model=self._model(mounting.instance, mounting.model))

    def _model(self, instance: str, model: Model) -> Model:
        def joint_of(joint: Joint) -> Joint:
            by = self.joints.get(f"{instance}/{joint.name}")
            return joint if by is None else replace(joint, origin=joint.origin @ by)

        def body_of(body: Body) -> Body:
            by = self.bodies.get(f"{instance}/{body.link}")
            return body if by is None else replace(body, pose=by @ body.pose)

        return replace(model, joints=tuple(map(joint_of, model.joints)), bodies=tuple(map(body_of, model.bodies)))

    def as_dict(self) -> dict[str, Any]:
        """Return plain numbers, exactly."""
        parts = {"mounts": self.mounts, "held": self.held, "joints": self.joints, "bodies": self.bodies}
        return {key: {name: pose.ravel().tolist() for name, pose in part.items()} for key, part in parts.items()}

    @staticmethod
    def from_dict(value: Mapping[str, Any]) -> Displaced:
        """Read what ``as_dict`` wrote."""
        return Displaced(
            **{
                key: {name: np.array(pose, dtype=float).reshape(4, 4) for name, pose in part.items()}
                for key, part in value.items()
            }
        )


def is_held(mounting: Mounting) -> bool:
    """Tell whether a thing hangs from hands or the arm: from anything but the platform and the world."""
    return mounting.parent.split("/", 1)[0] not in ("world", "platform")


__all__ = ["Displaced", "is_held"]
