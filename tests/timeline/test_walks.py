"""Where workers stand along handrails."""

import numpy as np

from armcarry.geometry import poses
from armcarry.timeline.walks import grip, place_pose


def test_a_rail_on_a_platform_without_bodies_leaves_room_on_every_side(rider_scene):
    ends = {"left": poses.translation((2.0, 0.0, 0.0)), "right": poses.translation((4.0, 0.0, 0.0))}
    rails = {"handrails": {"rail": {"start": "left", "end": "right"}}}
    scene = rider_scene({}, sites=0, frames=ends, platform=rails)
    assert not [body for body in scene.tree.bodies if body.link.startswith("platform/")]
    pose = place_pose(scene, "platform/left", "ev1")
    assert np.allclose(poses.apply(pose, grip(scene, "ev1")), (2.0, 0.0, 0.0))
