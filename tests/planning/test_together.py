"""Places of the base and postures of a day are chosen together, and what is proven is what is chosen."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.planning import together
from armcarry.planning.space import ArmSpace, Spaces
from armcarry.planning.stops import stops_of
from armcarry.planning.taking import Taken, Taking
from armcarry.planning.together import Leg, Search
from armcarry.planning.trial import Base
from armcarry.planning.ways import standing
from armcarry.scene.build import build_scene

DAY = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: -6 m}
vehicle: docked
appendages: {radiator_port: deployed, radiator_star: stowed, solar_wing: sloped}
carts: {cart_1: 16.2 m, cart_2: -14.2 m}
restraint: {settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
hardware: {pump_box: {model: pump_box, at: platform/rack_a_seat, fasteners: {cover: closed}}}
day:
  others: [operator]
  steps:
    - {actors: [operator], move_appendage: {appendage: radiator_port, state: stowed}, takes: 5 min}
    - go_out: [ev1, ev2]
    - board: {who: ev1, at: porch}
    - bring: {what: pump_box, to: bay_7}
    - {go: {who: ev2, to: bay_5}}
    - leave: {at: porch}
"""
HERE, THERE = Base("trolley", 0.0), Base("trolley", 8.0)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("together") / "own.yaml"
    path.write_text(DAY)
    return build_scene(load_scenario(path))


@pytest.fixture(scope="module")
def stops(scene):
    return stops_of(scene, scene.loaded.beside.open.visits)


def test_the_stops_of_a_day_know_what_hangs_from_what_and_how_all_stands_by_then(scene, stops):
    assert [(stop.carry, stop.visit) for stop in stops] == [
        ("", None), ("to_porch", 0), ("to_rack_a", 1), ("to_bay_7", 2), ("to_porch_2", 3)
    ]  # fmt: skip
    rack, bay = stops[2], stops[3]
    assert [piece.tree.hangs_from("pump_box", "ev1") for piece in rack.tail] == [False, True]
    assert [piece.tree.hangs_from("pump_box", "ev1") for piece in bay.tail] == [True, False]
    assert not stops[1].piece.tree.hangs_from("ev1", "arm") and rack.piece.tree.hangs_from("ev1", "arm")
    hinge = scene.tree.column("platform/radiator_port_hinge_1")  # the operator folds it before anything else
    assert scene.position[hinge] == pytest.approx(np.pi / 2) and stops[1].piece.position[hinge] == 0.0


def test_a_place_where_the_rider_comes_too_near_is_told_from_one_with_room(scene, stops):
    taking = Taking(scene, {"pitch": np.pi / 2})
    near, far = (taking.taken(2, stops[2], Base("trolley", station)) for station in (8.0, -6.0))
    assert near[0].lacking_m == 0.0 and near[0].spare_m > 0.0 and far == ()
    folded = taking.taken(1, stops[1], Base("trolley", 6.0))  # over the keel, the boom has to pass beside the rails
    assert folded[0].lacking_m > 0.3 and folded[0].why


def test_a_posture_from_which_a_joint_could_run_away_into_something_lacks_what_that_leaves_too_little(scene, stops):
    taking = Taking(scene, {"pitch": np.pi / 2})
    left = {"m": (-0.07, "arm/j running away: a and b")}
    taking.faults = lambda tree, granted: SimpleNamespace(least=lambda places: left["m"])
    bad = taking.ways_to_take(stops[2], Base("trolley", 8.0))
    assert (bad[0].lacking_m, bad[0].why) == (0.07, "arm/j running away: a and b")
    left["m"] = (0.0, "")
    assert taking.ways_to_take(stops[2], Base("trolley", 8.0))[0].lacking_m == 0.0


class Told(Search):
    """A search over what a table says that postures lack, or have to spare (below 0); straight motions are free."""

    def __init__(self, scene, stops, table, rolls=True):
        bases, taking = [[HERE, THERE]] * len(stops), Taking(scene, {})
        super().__init__(taking, stops, bases, [True] * len(stops), [rolls] * len(stops), lambda words: None)
        self.table, self.looked_at = table, []

    def _expand(self, layer, node):
        self.looked_at.append((layer, node.base))
        q = np.full(7, 0.1 * layer)
        value = self.table[layer][node.base == THERE]
        new = Taken(node.base, q, q, max(value, 0.0), 0.3 if value >= 0.0 else -value, 1.0)
        self.layers[layer] = [*(one for one in self.layers[layer] if one is not node), new]

    def _leg(self, piece, base, here, there):
        return Leg(np.stack([here, there]), 0.0)

    def _gather(self, layer, here, there, end):
        return np.zeros(7), 0.0


def _chosen(search):
    return [step.taken.base for step in search.best().steps]


def test_the_base_stands_where_the_whole_day_lacks_least_not_where_its_first_stop_does(scene, stops):
    # the first stop has a little more room here, but the others are far too tight from here
    table = [(0.0, -0.1), (0.5, 0.0), (0.5, 0.0)]
    assert _chosen(Told(scene, stops[:3], table)) == [THERE] * 3


def test_it_rolls_where_what_is_lacking_outweighs_the_time(scene, stops, monkeypatch):
    table = [(0.0, 0.5), (0.5, 0.0), (0.5, 0.0)]
    assert _chosen(Told(scene, stops[:3], table)) == [HERE, THERE, THERE]
    assert len(set(_chosen(Told(scene, stops[:3], table, rolls=False)))) == 1
    monkeypatch.setattr(together, "ROLL_S", 1e6)
    assert len(set(_chosen(Told(scene, stops[:3], table)))) == 1


def test_it_rolls_rather_than_lack_a_little_that_need_not_be_lacking(scene, stops, monkeypatch):
    table = [(0.0, 0.05), (0.05, 0.0), (0.05, 0.0)]
    assert _chosen(Told(scene, stops[:3], table)) == [HERE, THERE, THERE]
    monkeypatch.setattr(together, "FAILS_S", 0.0)
    assert len(set(_chosen(Told(scene, stops[:3], table)))) == 1


def test_what_another_place_would_cost_is_told(scene, stops):
    found = Told(scene, stops[:3], [(0.0, 0.05), (0.5, 0.0), (0.0, 0.05)]).best()
    assert found.steps[1].taken.base == THERE
    assert found.others[1][THERE] == pytest.approx(0.0, abs=1e-6) and found.others[1].get(HERE, 1.0) > 0.0


def test_a_motion_without_a_way_is_left_for_another(scene, stops):
    search = Told(scene, stops[:3], [(0.0, -0.1), (0.0, -0.1), (0.0, -0.1)])
    first = search.best()
    (taken,) = {step.taken.base for step in first.steps}
    for before, step in zip(first.steps, first.steps[1:], strict=False):
        search.block(before.taken, step.taken)
    assert set(_chosen(search)) == {HERE, THERE} - {taken}


def test_a_stop_that_nothing_reaches_is_left_and_told(scene, stops):
    far = replace(stops[2], piece=stops[2].piece)
    search = Search(Taking(scene, {}), [stops[0], far], [[Base("trolley", -6.0)]] * 2, [True] * 2, [True] * 2, print)
    last = search.best().steps[-1].taken
    assert last.q is None and last.why == "out of reach"


def test_a_space_moved_elsewhere_is_the_space_made_there(scene, stops):
    piece, taking = stops[2].piece, Taking(scene, {"pitch": np.pi / 2})
    (tree, _), (_, there) = taking.at(piece, Base("trolley", 6.0)), taking.at(piece, Base("trolley", -4.0))
    spaces = Spaces(scene)
    spaces.space(tree, taking.at(piece, Base("trolley", 6.0))[1], budget=True)
    points = standing(np.random.default_rng(1).uniform(-0.8, 0.8, (6, 7)))
    moved, made = (one.margins(points) for one in (spaces.space(tree, there, budget=True),
                                                    ArmSpace(scene, tree, there, budget=True)))  # fmt: skip
    assert moved.lower_m == pytest.approx(made.lower_m, abs=1e-9) and len(set(made.lower_m)) > 3


def test_of_two_places_as_good_the_base_rolls_to_the_nearer(scene, stops):
    far = Base("trolley", 16.0)
    search = Told(scene, stops[:3], [(0.0, 0.5), (0.5, 0.0), (0.5, 0.0)])
    search.layers = [[replace(search.layers[0][0], base=base) for base in some]
                     for some in ([HERE], [far, THERE], [far, THERE])]  # fmt: skip
    search.table = [(0.0, 0.0)] * 3
    assert _chosen(search) == [HERE, THERE, THERE]
