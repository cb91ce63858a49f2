"""Bodies beside a joint of the arm in a runaway: asked by the angles of their joint alone."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.checks.runaway import bad_stretches
from armcarry.clearance.many import Lists
from armcarry.files.loaded import Loaded
from armcarry.geometry.model import Body
from armcarry.geometry.poses import translation
from armcarry.geometry.shapes import Capsule, Cylinder
from armcarry.scene.build import build_scene
from armcarry.whatif.beside import beside, per_fault
from armcarry.whatif.faults import sides
from armcarry.whatif.runaway_joint import runaways

NECK, TUBE = "arm/neck", "arm/tube"
RATE = np.radians(4.0)
LASTS_S = 12.0


@pytest.fixture
def folding(rider_scene, moving_record):
    """An arm whose second joint folds a long tube beside the neck it turns on, ending at some angle."""
    def build(until_deg, rate=RATE):
        load = {"joint_rate": {"default": "4 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
                "brake_deceleration": {"default": "1.5 deg/s^2"}, "tip_speed": "9 m/s"}  # fmt: skip
        home = {"j2": f"{until_deg - np.degrees(rate) * LASTS_S} deg", "j3": "0 deg", "j4": "0 deg"}
        arm = {"loads": dict.fromkeys(("free", "rider", "rider_and_hardware"), load), "home": home,
               "runaway_rate": {"default": "4 deg/s"}, "detection_time": "0.5 s"}  # fmt: skip
        loaded = rider_scene({}, arm=arm).loaded
        bodies = (Body("neck", "l1", Capsule(0.17, 0.1), translation((0.0, 0.0, 0.12))),
                  Body("tube", "l2", Cylinder(0.165, 1.6), translation((0.0, 0.32, 0.95))))  # fmt: skip
        model = replace(loaded.arm.model, bodies=bodies)
        scene = build_scene(replace(loaded, arm=Loaded(loaded.arm.document, model, loaded.arm.path)))
        return moving_record(scene, {"arm/j2": (rate,)}, LASTS_S, load="free")

    return build


def failed(record):
    found = runaways(record)
    stretches = bad_stretches(found)
    names = {found.name(fault) for one in stretches for fault in one.faults}
    pairs = {one.part.window.side.names(int(one.part.leaves.pair[one.leaf])) for one in stretches}
    return found, names, pairs


def meets_deg(record):
    """Return the least angle at which nothing is proven of the two."""
    (one,) = beside(sides(record)[0])
    return float(np.flatnonzero(~one.travel.free)[0] / 2)


def test_a_tube_that_brakes_beside_its_neck_is_no_failure_of_every_joint(folding):
    record = folding(105.0)
    (side,) = sides(record)
    assert [side.names(one.pair) for one in beside(side)] == [(NECK, TUBE)]
    assert record.scene.arm_joints[beside(side)[0].joint] == "arm/j2"
    found, names, _ = failed(record)
    assert names == set()
    others = [k for k, fault in enumerate(found.faults) if record.scene.arm_joints[fault.joint] != "arm/j2"]
    assert (found.safe_detection_s[others] == 3.0).all()


def test_a_joint_that_folds_its_tube_onto_the_neck_is_found_and_that_joint_alone(folding):
    end = meets_deg(folding(105.0))
    # undetected it goes on for 2 deg more, and brakes in 5.3 deg
    found, names, pairs = failed(folding(end - 7.0))
    assert (names, pairs) == ({"arm/j2 +"}, {(NECK, TUBE)})
    assert found.name(int(np.argmin(found.safe_detection_s))) == "arm/j2 +"
    assert 0.0 < found.safe_detection_s.min() < 0.5
    assert failed(folding(end - 10.0))[1] == set()


def test_others_that_cannot_stop_the_fold_in_time_fail_with_it(folding):
    _, names, pairs = failed(folding(meets_deg(folding(105.0)) - 4.0))
    assert len(names) == 11 and "arm/j2 -" not in names and pairs == {(NECK, TUBE)}


def test_a_fold_the_other_way_is_told_apart_in_the_same_way(folding):
    end = meets_deg(folding(105.0))
    assert failed(folding(-105.0, -RATE))[1] == set()
    assert failed(folding(7.0 - end, -RATE))[1:] == ({"arm/j2 -"}, {(NECK, TUBE)})


class Still:
    """One cell of time: every joint at nought but the second, which is at an angle with some slack."""

    def __init__(self, record, angle_rad, slack_rad):
        self.base, self.slack = np.zeros((2, 1, len(record.scene.tree.joints)))
        self.base[0, record.scene.tree.column("arm/j2")] = angle_rad
        self.slack[0, record.scene.tree.column("arm/j2")] = slack_rad

    def __len__(self):
        return 1


@pytest.mark.parametrize("way", [1.0, -1.0])
def test_a_joint_that_may_be_where_they_meet_leaves_them_to_every_joint(folding, way):
    record = folding(105.0)
    (side,) = sides(record)
    (one,) = beside(side)
    every = Lists(np.arange(len(side.pairs)), np.array([0, len(side.pairs)]))
    meets = np.radians(meets_deg(record))
    for slack, asked in ((0.0, {1}), (0.05, set(range(6)))):
        still = Still(record, way * (meets - 0.03), slack)
        found = per_fault(side, still, np.full((1, 6), 0.3), every)
        lists = [found.lists.rows[slice(*found.lists.offsets[k : k + 2])] for k in found.which[:, 0]]
        assert {j for j, rows in enumerate(lists) if one.pair in side.prover.layout.order[rows]} == asked


def test_an_arm_of_which_no_neighbours_are_open_is_asked_as_it_is(rider_scene, moving_record):
    (side,) = sides(moving_record(rider_scene({}), {"arm/j2": (RATE,)}, 2.0, load="free"))
    assert beside(side) == ()
    every = Lists(np.arange(4), np.arange(5))
    found = per_fault(side, np.zeros(4), np.zeros((4, 6)), every)
    assert found.lists is every
    assert found.which.tolist() == [[0, 1, 2, 3]] * len(side.record.scene.arm_joints)
