"""Limits of an arm's joints by load, near structure and away from it."""

import numpy as np
import pytest

from armcarry.files.documents.arm import LoadClass
from armcarry.scene.limits import brake_decelerations, joint_accelerations, joint_rates, runaway_rates

DEG = np.pi / 180


@pytest.fixture
def arm(rider_scene):
    return rider_scene({}).loaded.arm.document


def _load(**more):
    return LoadClass.model_validate({
        "joint_rate": {"default": "4 deg/s", "j3": "1 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
        "brake_deceleration": {"j1": "3 deg/s^2", "default": "5 deg/s^2"}, "tip_speed": "0.2 m/s",
    } | more)  # fmt: skip


def test_a_joint_has_its_own_limit_else_the_default(arm):
    assert joint_rates(arm, _load()) == pytest.approx(np.array([4, 4, 1, 4, 4, 4]) * DEG)
    assert joint_accelerations(arm, _load()) == pytest.approx(np.full(6, 2 * DEG))
    assert brake_decelerations(arm, _load()) == pytest.approx(np.array([3, 5, 5, 5, 5, 5]) * DEG)
    assert joint_rates(arm, _load(joint_rate={"j2": "1 deg/s"}))[0] == np.inf


def test_drives_are_slower_near_structure_than_away_from_it(arm):
    load = _load(runaway_rate={"default": "6 deg/s"}, runaway_near=0.5, near_structure=0.25)
    assert runaway_rates(arm, load) == pytest.approx(np.full(6, 6 * DEG))
    assert runaway_rates(arm, load, near=True) == pytest.approx(np.full(6, 3 * DEG))


def test_a_runaway_is_never_slower_than_what_is_commanded(arm):
    load = _load(runaway_rate={"default": "2 deg/s"}, near_structure=0.75)
    assert runaway_rates(arm, load) == pytest.approx(np.array([4, 4, 2, 4, 4, 4]) * DEG)
    assert runaway_rates(arm, load, near=True) == pytest.approx(np.array([3, 3, 2, 3, 3, 3]) * DEG)


def test_a_load_without_a_rate_of_its_own_takes_the_arms(arm):
    told = arm.model_copy(update={"runaway_rate": {"default": 9 * DEG}})
    assert runaway_rates(told, _load()) == pytest.approx(np.full(6, 9 * DEG))
    assert runaway_rates(told, _load(runaway_rate={"default": "8 deg/s"})) == pytest.approx(np.full(6, 8 * DEG))
    assert runaway_rates(arm, _load()) == pytest.approx(joint_rates(arm, _load()))
