"""Whoever goes along handrails is told where the arm stands; who waits, and what joints that run away leave them."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.planning import beside_faults, left_open
from armcarry.planning.beside_faults import FAULT_M, BesideFaults
from armcarry.planning.choice import bases_of
from armcarry.planning.clock import Clock, Met
from armcarry.planning.past_arm import goes_past
from armcarry.planning.stops import stops_of
from armcarry.planning.waits import Waits
from armcarry.scene.build import build_scene

DAY = """format: armcarry scenario 1
title: t
purpose: p
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 2 m}
carts: {cart_1: 4 m, cart_2: -14 m}
restraint: {settings: {pitch: 90 deg}}
crew: {ev1: {posture: carry, at: inside}, ev2: {posture: carry, at: inside}}
hardware: {rail_cart_1: {model: rail_cart, at: platform/cart_1_seat}}
day:
  steps:
    - go_out: [ev1, ev2]
    - board: {who: ev1, at: porch}
    - take_along: {cart: cart_1, to: 10 m, by: ev2}
    - ride: {to: bay_7}
"""


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    path = tmp_path_factory.mktemp("day") / "day.yaml"
    path.write_text(DAY)
    return build_scene(load_scenario(path))


def test_places_of_the_base_are_those_that_carts_leave_free_by_then(scene):
    left = scene.loaded.beside.open
    stops = stops_of(scene, left.visits)
    free = {stop.carry: (stop.travel.lower_m, stop.travel.upper_m) for stop in stops}
    # a cart reaches 0.65 m and the base 0.9 m to either side; nothing sits on the other cart
    assert free["to_porch"] == pytest.approx((-16.4, 4.0 - 1.55))
    assert free["to_bay_7"] == pytest.approx((-16.4, 10.0 - 1.55))
    stations = [base.station_m for base in bases_of(scene, left, stops)]
    assert max(stations) == pytest.approx(8.45) and any(abs(one - 2.45) < 1e-9 for one in stations)


GOES = {"look": None, "met": object(), "clear": object(), "left_out": object(), "beside_ev1": object()}
STEPS = [SimpleNamespace(name=name, translate=going) for name, going in GOES.items()]


def _clock(scene, still):
    met = {"met": Met(0.4), "clear": Met(0.01), "left_out": Met(0.9), "beside_ev1": Met(0.5, "ev1")}
    position = scene.position.copy()
    position[scene.tree.column("arm/shoulder_turn")] = np.radians(30.0)
    position[scene.tree.column("platform/trolley_slide")] = -3.25
    return SimpleNamespace(
        scene=scene, met=lambda plan, step: met[step.name], stands=lambda plan, step: (position, still)
    )


PLAN = SimpleNamespace(day=SimpleNamespace(steps=STEPS),
                       schedule=SimpleNamespace(tasks_done=lambda: {"look", "met", "clear", "beside_ev1"}))  # fmt: skip


def test_who_comes_too_near_the_standing_arm_is_told_where_it_stands(scene):
    (one,) = goes_past(_clock(scene, True), PLAN)
    assert one["step"] == "met" and one["station"] == "-3.25 m"
    assert one["joints"]["shoulder_turn"] == "30.0000 deg" and set(one["joints"]) == {*scene.loaded.arm.document.joints}
    assert goes_past(_clock(scene, False), PLAN) == []
    assert [one["step"] for one in goes_past(_clock(scene, False), PLAN, waits=True)] == ["met"]  # it will wait


def test_the_arm_stands_while_its_joints_and_base_do(scene):
    clock, times = Clock.__new__(Clock), np.array([0.0, 10.0, 20.0])
    clock.scene, clock.met = scene, lambda plan, step: Met()
    moved = {"arm": 0.0, "ev2": 0.0}

    def at(time):
        found = scene.position.copy()
        found[scene.tree.column("arm/elbow_bend")] += moved["arm"] * time
        found[scene.tree.column("ev2/free_x")] += moved["ev2"] * time
        return found

    plan = SimpleNamespace(schedule=SimpleNamespace(slot=lambda name: SimpleNamespace(start_s=2.0, end_s=18.0)))
    clock._known = {id(plan): (plan, (), SimpleNamespace(breaks_s=times, at=at))}
    for moved["ev2"], moved["arm"], still in ((0.0, 0.0, True), (0.1, 0.0, True), (0.0, 0.1, False)):
        assert clock.stands(plan, STEPS[1])[1] is still


def test_faults_are_asked_of_people_beside_the_arm_alone_and_only_while_it_moves(monkeypatch):
    asked = []

    class AtRest:
        def __init__(self, scene, tree, among):
            self.among = among

        def least(self, places):
            asked.append((self.among, float(places[0, 0])))
            return (-0.03 if places[0, 0] > 10.0 else 0.1), "a and b"

    monkeypatch.setattr(beside_faults, "AtRest", AtRest)
    tree = SimpleNamespace(hung_as=("t",), bodies_of=lambda names: tuple(sorted(names)))
    scene = SimpleNamespace(arm_columns=np.array([0]))
    moves = lambda time, order=0: np.array([float(time > 8.0) if order else time, 0.0])  # noqa: E731
    part, motion = SimpleNamespace(tree=tree, start_s=0.0, end_s=20.0), SimpleNamespace(at=moves)
    lacking = BesideFaults(scene).lacking_m(part, motion, ["arm", "box"], ["ev2"])
    assert lacking == pytest.approx(FAULT_M + 0.03)
    assert [time for _, time in asked] == [12.5, 17.5]  # every 5 s, once it moves
    assert asked[0][0] == (("arm", "box"), ("ev2",))
    assert BesideFaults(scene).lacking_m(part, motion, ["arm"], []) == 0.0


def test_bodies_are_turned_clear_before_people_wait_and_once_more_if_that_leaves_less(monkeypatch, scene):
    read = []

    class Fake:
        def __init__(self, scene, walk, plan, since_s):
            self.scene = scene

        def lacking_m(self, plan):
            return plan.lacking

    past = {0: [{"step": "one"}], 1: [{"step": "two"}]}
    monkeypatch.setattr(left_open, "Clock", Fake)
    plans = [SimpleNamespace(lacking=lacking) for lacking in (2.0, 1.5, 0.2, 0.1)]
    walk = SimpleNamespace(shortfall=None)
    monkeypatch.setattr(left_open, "settled_day", lambda scene, tell: (walk, plans[len(read) - 1]))
    monkeypatch.setattr(left_open, "goes_past", lambda clock, plan, waits=False: past[0 if waits else 1])
    monkeypatch.setattr(left_open, "waits_of", lambda clock, plan, tell: Waits(
        [{"step": "a", "after": f"b{len(read)}"}], ["no way to keep clear", "a waits"], plan))  # fmt: skip

    def reads(data):
        read.append(data)
        return scene

    found = left_open._afoot(reads, lambda words, share: None)
    assert [sorted(data) for data in read] == [[], ["past"], ["past", "waits"]]
    assert [one["step"] for one in found["past"]] == ["one", "two"]
    assert found["waits"] == [{"step": "a", "after": "b2"}, {"step": "a", "after": "b3"}]
    assert found["told"] == ["a waits", "no way to keep clear", "a waits"]  # what was lacking before is told anew
    read.clear()
    plans[2].lacking = 1.48  # no better than without
    found = left_open._afoot(reads, lambda words, share: None)
    assert [one["step"] for one in found["past"]] == ["one"] and len(found["waits"]) == 1
    read.clear()
    plans[1].lacking = 2.5  # worse than as it was
    found = left_open._afoot(reads, lambda words, share: None)
    assert [one["step"] for one in found["past"]] == ["two"]
