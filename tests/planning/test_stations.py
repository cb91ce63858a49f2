"""Stations of the base: what is reached from where, and the fewest moves."""

from __future__ import annotations

import itertools
import json
from pathlib import Path

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.planning.stations import StationMap, fewest_moves, station_map
from armcarry.planning.trial import Base, Reached, Trial
from armcarry.scene.build import build_scene

SCENARIO = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(SCENARIO))


def test_the_demo_station_reaches_both_worksites_of_its_carry(scene):
    trial = Trial(scene, Base("trolley", 11.0))
    for name in ("rack_a", "bay_7"):
        found = trial.reach(name)
        assert found.good, found.why
        assert found.joint_rad >= scene.loaded.rules.margins.joint_position
    assert trial.reach("rail_stern").blocked_by == "reach"


def test_another_mount_takes_the_arm_with_it(scene):
    quay = Trial(scene, Base("quay", float("nan")))
    mount = quay.tree.pose_of(scene.arm_base, quay.position)
    assert np.allclose(mount, quay.tree.pose_of("platform/quay_mount", quay.position))
    assert quay.reach("den_top").good
    assert not quay.reach("rack_a").good


def one(good, clearance=0.3):
    return Reached(good, clearance if good else -np.inf, 1.0, "" if good else "out of reach", "" if good else "reach")


@pytest.mark.parametrize("seed", range(30))
def test_no_order_of_stays_has_fewer_moves(seed):
    rng = np.random.default_rng(seed)
    bases = tuple(Base("rail", float(k)) for k in range(4))
    names = tuple(f"site_{k}" for k in range(6))
    table = rng.random((6, 4)) < 0.5
    reached = tuple(tuple(one(bool(v), float(rng.random())) for v in row) for row in table)
    plan, lost = fewest_moves(names, bases, reached)
    assert set(lost) == {name for name, row in zip(names, table, strict=True) if not row.any()}
    able = [row for row in table if row.any()]
    moves = min(
        (
            sum(a != b for a, b in itertools.pairwise(way))
            for way in itertools.product(range(4), repeat=len(able))
            if all(row[k] for row, k in zip(able, way, strict=True))
        ),
        default=-1,
    )  # fmt: skip
    assert len(plan) - 1 == moves
    assert [name for stay in plan for name in stay.worksites] == [name for name in names if name not in lost]
    for stay in plan:
        assert all(table[names.index(name), bases.index(stay.base)] for name in stay.worksites)


def test_ranges_are_written_as_people_read_them():
    bases = (*(Base("rail", float(k)) for k in range(4)), Base("quay", float("nan")))
    row = tuple(one(k != 2) for k in range(5))
    found = StationMap(("a",), bases, (row,), (), ())
    assert found.rows()[0][1] == "rail 0.00 to 1.00 m, rail 3.00 m, quay"


def test_a_wrong_worksite_is_named_with_the_nearest():
    with pytest.raises(InputError, match=r"no worksite 'rack_c'.*rack_a"):
        station_map(SCENARIO, ["rack_c"])
    with pytest.raises(InputError, match="stations need a step of more than zero"):
        station_map(SCENARIO, ["rack_a"], step_m=0.0)


def test_the_command_writes_json_and_a_map(tmp_path):
    picture = tmp_path / "map.png"
    done = CliRunner().invoke(
        app, ["stations", str(SCENARIO), "rack_a", "rail_stern", "--step", "12 m", "--picture", str(picture), "--json"]
    )
    told = json.loads(done.stdout)
    assert done.exit_code == (1 if told["unreached"] else 0)
    assert told["worksites"] == ["rack_a", "rail_stern"]
    assert len(told["reached"][0]) == len(told["bases"])
    assert picture.stat().st_size > 5000
