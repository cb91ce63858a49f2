"""Which pairs questions of what if are asked of, and how far anything behind a joint can be from it."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.asked.pairs import arm_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.clearance.spheres import joint_levers_m
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere, bounding_radius_m
from armcarry.motion.braking import runaway
from armcarry.motion.forward import forward
from armcarry.record.record import PairRow
from armcarry.timeline.run import Phase
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.faults import (
    LONGEST_DETECTION_S,
    Side,
    apart_m,
    nearer_m,
    sides,
    windows,
    worst_excursion,
    worst_rates,
)

STEPS_M = (0.3, 0.4, 2.0, 2.0, 0.4, 0.3)  # from joint to joint of the arm in conftest
WALL = Body("wall", "yard", Sphere(0.1), poses.translation((3.0, 0.0, 0.0)))
RUNS_AWAY = {"runaway_rate": {"default": "6 deg/s"}}


def _side(record):
    return Side.of(record, record.phases[0])


def farthest_m(side):
    """Return the lever of each arm joint (n,) on the body for which it is longest."""
    travel = np.abs(side.record.motion.extremes()).max(axis=0)
    return joint_levers_m(side.phase.tree, travel)[:, side.record.scene.arm_columns].max(axis=0)


def test_nothing_behind_a_joint_is_ever_farther_from_its_axis(rider_scene, moving_record):
    scene = rider_scene({})
    levers = farthest_m(_side(moving_record(scene, {})))
    tree, draw = scene.tree, np.random.default_rng(3)
    q = np.repeat(scene.position[None], 300, axis=0)
    q[:, scene.arm_columns] = draw.uniform(-3.0, 3.0, (300, 6))
    at = forward(tree, q)
    for k, joint in enumerate(scene.arm_joints):
        row = next(row for row in range(len(tree.links)) if int(tree.columns[row]) == tree.column(joint))
        behind = [body for body in tree.bodies if row in tree.ancestry(body.link)]
        far = [np.linalg.norm((at[:, tree.index(b.link)] @ b.pose)[:, :3, 3] - at[:, row, :3, 3], axis=1)
               + bounding_radius_m(b.shape) for b in behind]  # fmt: skip
        assert np.max(far) <= levers[k] + 1e-9
    # as if all were stretched: from joint to joint the lever grows by the way between them
    assert levers[:-1] - levers[1:] == pytest.approx(STEPS_M[1:])
    # behind the last joint: plate, suit and its helmet, one after the other
    bodies = {body.name: body for body in tree.bodies}
    least = max(np.linalg.norm(bodies[n].pose[:3, 3]) + bounding_radius_m(bodies[n].shape) for n in ("ev1/helmet",))
    assert least + 0.9 < levers[-1] < 0.35 + 0.9 + 3.0


def test_a_joint_that_slides_has_a_lever_of_one_and_reaches_as_far_as_it_slides_in_the_run(rider_scene, moving_record):
    turns = farthest_m(_side(moving_record(rider_scene({}), {})))
    scene = rider_scene({}, slides=("j4",))
    home = scene.position[scene.tree.column("arm/j4")]
    slid = farthest_m(_side(moving_record(scene, {"arm/j4": [-0.03]})))  # 0.3 m back in the 10 s of the run
    assert slid[3] == 1.0 and slid[4:] == pytest.approx(turns[4:])
    assert slid[:3] - turns[:3] == pytest.approx(np.full(3, max(abs(home), abs(home - 0.3))))


def test_what_a_run_proves_of_a_pair_is_the_least_of_its_rows(rider_scene, moving_record):
    scene = rider_scene({}, (WALL,))

    def row(a, b, lower_m, start_s):
        return PairRow(a, b, "arm", "structure", start_s, start_s + 1.0, 0.3, "rule", "proven", lower_m, lower_m,
                       start_s, (0.0,) * 3, (0.0,) * 3)  # fmt: skip

    rows = (row("platform/wall", "arm/hand", 0.7, 0.0), row("platform/wall", "arm/hand", 0.4, 1.0),
            row("platform/wall", "arm/hand", 0.9, 2.0), row("platform/wall", "arm/boom_2", 5.0, 0.0))  # fmt: skip
    record = moving_record(scene, {}, pairs=rows)
    names = [body.name for body in scene.tree.bodies]
    pairs = np.array([(names.index(a), names.index("platform/wall")) for a in ("arm/hand", "arm/boom_2", "ev1/trunk")])
    for order in (pairs, pairs[:, ::-1]):
        assert apart_m(record, record.phases[0], order).tolist() == [0.4, 5.0, -np.inf]


@pytest.mark.parametrize("moving", [False, True])
def test_pairs_that_no_fault_brings_near_are_left_out(rider_scene, moving_record, moving):
    scene = rider_scene({}, (WALL,), arm=RUNS_AWAY, rules={"stop_remainder": "0.1 m"})
    plain = moving_record(scene, {"arm/j1": [0.02]} if moving else {})
    pairs = arm_pairs(scene, scene.tree)
    side, far = Side.of(plain, plain.phases[0], pairs), np.array([False])
    # on every pair act the joints that one of its bodies hangs from and the other does not
    levers = joint_levers_m(scene.tree, np.abs(plain.motion.extremes()).max(axis=0))[:, scene.arm_columns]
    a, b = (levers[row] for row in pairs.T)
    between = np.where((a > 0) & (b > 0), 0.0, a + b)
    # a joint that runs away may have been commanded the other way until that is seen
    rates = np.array([0.02 if moving else 0.0, 0.0, 0.0, 0.0, 0.0, 0.0])
    seen_s = (scene.loaded.arm.document.detection_time, LONGEST_DETECTION_S)
    most, longest = ((worst_excursion(side, far, time)[0] + rates * time) * between for time in seen_s)
    braking = between @ (rates**2 / (2 * side.brakes))
    nearer = np.maximum(most.max(axis=1), longest.max(axis=1) - ENOUGH_M) + braking
    np.testing.assert_allclose(nearer_m(side), nearer, rtol=1e-9)
    enough = ENOUGH_M + 0.1 + nearer
    bodies = scene.tree.bodies

    def row(pair, lower_m):
        return PairRow(bodies[pair[0]].name, bodies[pair[1]].name, "arm", "structure", 0.0, 10.0, 0.3, "rule", "proven",
                       lower_m, lower_m, 0.0, (0.0,) * 3, (0.0,) * 3)  # fmt: skip

    told = [enough[0] - 1e-6, enough[1] + 1e-6, enough[2] + 1e-9]
    record = replace(plain, pairs=tuple(row(pair, apart) for pair, apart in zip(pairs, told, strict=False)))
    (found,) = sides(record)
    left_out = {tuple(pair) for pair in pairs.tolist()} - {tuple(pair) for pair in found.pairs.tolist()}
    assert left_out == {tuple(pairs[1].tolist()), tuple(pairs[2].tolist())}
    assert sides(record)[0] is found  # worked out once
    assert sides(replace(record, phases=(Phase(0.0, 0.0, scene.tree),))) == ()


def test_an_excursion_is_that_of_the_worst_rate_and_the_time_until_it_is_seen(rider_scene, moving_record):
    scene = rider_scene({}, arm=RUNS_AWAY)
    side = _side(moving_record(scene, {}))
    rates = worst_rates(side, np.array([False]))
    assert rates == pytest.approx(np.full((1, 6), np.radians(6.0)))
    detection = scene.loaded.arm.document.detection_time
    for asked, time in ((None, detection), (2.0, 2.0)):
        by_hand = runaway(np.radians(6.0), time, side.brakes).distance
        assert worst_excursion(side, np.array([False]), asked)[0] == pytest.approx(by_hand)


def test_memory_that_can_be_had_again_is_given_back(rider_scene, moving_record):
    scene = rider_scene({}, (WALL,))
    record = moving_record(scene, {"arm/j1": [0.02]})
    side = Side.of(record, record.phases[0], arm_pairs(scene, scene.tree))
    side.let_go()  # nothing was worked out yet
    assert not {"prover", "beside_structure"} & set(side.__dict__)
    for name in ("prover", "beside_structure"):
        getattr(side, name).bounds(record.motion)
        assert getattr(side, name)._pools
    side.let_go()
    assert not side.prover._pools and not side.beside_structure._pools


def test_bodies_of_arm_rider_and_load_are_its_own(rider_scene, moving_record):
    scene = rider_scene({}, (WALL,), frames={"spot": poses.translation((9.0, 0.0, 0.0))}, worker_at="platform/spot")
    record = moving_record(scene, {})
    names = [body.name for body in scene.tree.bodies]
    named = [("arm/hand", "ev1/trunk"), ("restraint/slab", "arm/boom_2"), ("arm/hand", "platform/wall"),
             ("ev2/trunk", "ev1/trunk")]  # fmt: skip
    side = Side.of(record, record.phases[0], np.array([(names.index(a), names.index(b)) for a, b in named]))
    assert side.own.tolist() == [True, True, False, False]
    assert [side.names(k) for k in range(4)] == named


def test_a_phase_is_cut_where_what_is_granted_begins_and_ends(rider_scene, moving_record):
    rules = {"required": [{"between": ["arm", "structure"], "distance": "0.6 m"}], "stop_remainder": "0.3 m"}
    scene = rider_scene({}, (WALL,), rules=rules)
    granted = Relaxed("arm/*", "platform/wall", 0.2, 4.0, 6.0, "by eye")
    record = moving_record(scene, {}, relaxed=(granted,))
    side = Side.of(record, Phase(1.0, 9.0, scene.tree), arm_pairs(scene, scene.tree))
    names = [body.name for body in scene.tree.bodies]
    pair = np.flatnonzero((side.pairs == sorted((names.index("arm/hand"), names.index("platform/wall")))).all(axis=1))
    found = [(window.start_s, window.end_s, window.left_m[pair].item()) for window in windows(side)]
    assert found == [(1.0, 4.0, 0.3), (4.0, 6.0, 0.2), (6.0, 9.0, 0.3)]
    first = next(windows(side))
    assert first.side is side
    around, among = first.asked_m(False), first.asked_m(True)
    assert np.isnan(around[side.own]).all() and np.isnan(among[~side.own]).all()
    assert around[pair].item() == 0.3 and np.isnan(among[pair]).all()
