"""Ways of the arm keep out of the platform's rooms, unless what makes them one is switched off all through."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from armcarry.asked.pairs import TOUCH_M
from armcarry.asked.rooms import arm_rooms
from armcarry.files.documents.rooms import Room, SwitchedOff
from armcarry.files.load import load_scenario
from armcarry.planning.space import ArmSpace
from armcarry.planning.trial import Base, Trial
from armcarry.planning.ways import standing
from armcarry.scene.build import build_scene

CARRY = Path(__file__).resolve().parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(CARRY))


def _with_room(scene, off=None, **says):
    """Return the scene with a ball about the arm's tip, 0.4 m wide."""
    tip = scene.tree.pose_of(scene.arm_tip, scene.position, relative_to="platform/trolley_mount")[:3, 3]
    position = [f"{value} m" for value in tip]
    room = Room.model_validate({"kind": "thruster", "frame": "trolley_mount", "position": position, "radius": "0.2 m",
                                **says})  # fmt: skip
    loaded = scene.loaded
    document = loaded.platform.document.model_copy(update={"rooms": {"plume": room}})
    script = loaded.scenario.model_copy(update={"switched_off": {} if off is None else {"jets": off}})
    return replace(scene, loaded=replace(loaded, scenario=script, platform=replace(loaded.platform, document=document)))


def _margin(scene):
    space = ArmSpace(scene, scene.tree, scene.position)
    found = space.margins(standing(scene.position[None, scene.arm_columns]))
    return float(found.lower_m[0]), int(found.pair[0]), space


def test_a_posture_in_a_room_lacks_room_and_the_room_is_named(scene):
    bare, _, space = _margin(scene)
    assert bare >= 0.0 and len(space.tree.bodies) == len(scene.tree.bodies)
    inside, pair, space = _margin(_with_room(scene))
    assert inside < 0.0
    assert space.pair_names(pair)[1] == "room plume/part_0"


def test_what_is_switched_off_all_through_is_no_room_and_what_is_on_for_a_while_is(scene):
    bare = _margin(scene)[0]
    jets = {"while_on": "jets"}
    assert _margin(_with_room(scene, SwitchedOff(), **jets))[0] == bare
    assert _margin(_with_room(scene, SwitchedOff(after="fold"), **jets))[0] < 0.0


def test_a_base_from_which_the_arm_is_in_a_room_does_not_do(scene):
    """Over the trolley there is a room in which the arm's first boom is, however it goes on."""
    over, base = {"position": ["0 m", "0 m", "1.2 m"], "radius": "0.3 m"}, Base("trolley", 11.0)
    assert Trial(scene, base).reach("rack_a").good
    shut = Trial(_with_room(scene, **over), base)
    found = shut.reach("rack_a")
    assert not found.good and found.blocked_by == "clearance" and found.why.endswith(" and room plume/part_0")
    again = Trial(shut.scene, Base("trolley", 10.0), like=shut)  # what is asked is not worked out anew
    assert not again.reach("rack_a").good
    off = _with_room(scene, SwitchedOff(), while_on="jets", **over)
    assert Trial(off, base).reach("rack_a") == Trial(scene, base).reach("rack_a")


def test_a_room_asks_for_its_distance_of_those_alone_whom_it_names(scene):
    shy = _margin(_with_room(scene, radius="0.01 m", at_least="1 m"))[0]
    assert shy < -0.3
    assert np.isclose(_margin(_with_room(scene, who="worker"))[0], _margin(scene)[0])


def test_a_room_that_asks_for_no_distance_must_not_be_touched_all_the_same(scene):
    for says, required_m in (({}, TOUCH_M), ({"at_least": "1 m"}, 1.0)):
        with_room = _with_room(scene, **says)
        asked = arm_rooms(with_room, with_room.tree)
        assert len(asked.required_m) and np.all(asked.required_m == required_m)
