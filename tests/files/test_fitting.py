"""Where the bare tip goes: where the restraint's mount is when its plate stands there."""

import numpy as np
import pytest

from armcarry.files.fitting import mount_in_plate, stood
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.geometry import poses
from armcarry.quantities import parse
from armcarry.scene.build import RESTRAINT, build_scene


@pytest.mark.parametrize("settings", [{}, {"pitch": 0.5}, {"pitch": -0.25, "yaw": 0.75, "roll": 0.5}])
def test_the_mount_is_where_the_tree_has_it(settings):
    scene = build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))
    document, q = scene.loaded.restraints[RESTRAINT].document, scene.position.copy()
    for name, one in document.settings.items():
        q[scene.tree.column(f"{RESTRAINT}/{one.joint}")] = settings.get(name, 0.0)
    links = (f"{RESTRAINT}/{document.mount}", f"{RESTRAINT}/{document.plate}")
    mount = scene.tree.pose_of(links[0], q, relative_to=links[1])
    bare = mount_in_plate(document, scene.loaded.restraints[RESTRAINT].model, settings)
    np.testing.assert_allclose(np.array(bare), mount, atol=1e-12)
    assert np.linalg.norm(mount[:3, 3]) > 0.1
    said = stood((1.0, 2.0, 3.0), bare)
    turned = [parse(value, "angle") for value in said["rotation"]]
    there = poses.from_xyz_rpy([parse(value, "length") for value in said["position"]], turned)
    np.testing.assert_allclose(there, poses.translation((1.0, 2.0, 3.0)) @ mount, atol=1e-5)
