"""A crewmember's body on six free joints, so that a free worker moves like any other chain."""

from __future__ import annotations

import numpy as np

from armcarry.geometry import poses
from armcarry.geometry.model import Joint, Model
from armcarry.geometry.poses import Array

#: free joints in order: position along x, y, z, then yaw, pitch, roll (so roll-pitch-yaw about fixed axes)
FREE_JOINTS = ("free_x", "free_y", "free_z", "free_yaw", "free_pitch", "free_roll")
_AXES = ((1, 0, 0), (0, 1, 0), (0, 0, 1), (0, 0, 1), (0, 1, 0), (1, 0, 0))


def with_free_base(model: Model, boots: str) -> Model:
    """Return the model hung from a new root ``free`` by six joints that place its boots frame.

    At zero the boots frame coincides with ``free``. When a crewmember stands in a restraint the free
    joints are zero and ``free`` is the plate; when they move on their own ``free`` is the world frame
    and the joints are the position and roll-pitch-yaw of the boots in it.

    Args:
        model: the body, any root link.
        boots: the link between the soles.
    """
    links = ["free", *FREE_JOINTS[:-1], "free_body"]
    joints = [
        Joint(
            name=name,
            kind="prismatic" if k < 3 else "revolute",
            parent=links[k],
            child=links[k + 1],
            axis=np.array(_AXES[k], dtype=float),
            lower=-np.inf,
            upper=np.inf,
        )
        for k, name in enumerate(FREE_JOINTS)
    ]
    joints.append(Joint("free_root", "fixed", "free_body", model.root, poses.inverse(_rest_pose(model, boots))))
    return Model(model.name, "free", (*links, *model.links), (*joints, *model.joints), model.bodies)


def _rest_pose(model: Model, link: str) -> Array:
    """Return T_root_link with all joints at zero; boots must not hang from a movable joint."""
    pose = poses.identity()
    by_child = {joint.child: joint for joint in model.joints}
    while link != model.root:
        joint = by_child[link]
        if joint.kind != "fixed":
            raise ValueError(f"the boots of '{model.name}' hang from the movable joint '{joint.name}'")
        pose = joint.origin @ pose
        link = joint.parent
    return pose
