"""Which pairs a fault can bring near: counted is what both bodies do until the arm stands, not the arm's part alone."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance import distances
from armcarry.geometry.model import Body
from armcarry.geometry.poses import from_xyz_rpy, identity, inverse
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward
from armcarry.proving.proof import prove_run
from armcarry.timeline.run import Run
from armcarry.whatif import late_stop
from armcarry.whatif.cells import ENOUGH_M
from armcarry.whatif.faults import Side, sides, windows
from armcarry.whatif.late_stop import run_outs
from armcarry.whatif.runaway_joint import runaways

RATE, DETECTION_S, BRAKE = np.radians(4.0), 2.0, np.radians(4.0)
#: the arm goes round at RATE; when it is here, after so long, the worker is where it was UNTIL_S before
TIME_S, UNTIL_S, END_S = 12.0, DETECTION_S + RATE / BRAKE, 20.0


@pytest.fixture
def walking(rider_scene, turning_record):
    """A record in which a worker comes at 1 m/s to where the arm, going the other way, has been, and goes back."""
    def build(behind_rad, beyond_m=0.3):
        load = {"joint_rate": {"default": "4 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
                "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "1 m/s"}  # fmt: skip
        arm = {"detection_time": f"{DETECTION_S} s", "home": {"j2": "90 deg", "j3": "0 deg", "j4": "0 deg"},
               "loads": dict.fromkeys(("free", "rider", "rider_and_hardware"), load)}  # fmt: skip
        angle = -RATE * TIME_S + behind_rad
        where = from_xyz_rpy((0.0, 0.0, -0.2), (0.0, 0.0, angle))
        scene = rider_scene({}, arm=arm, worker_at="platform/gate", frames={"gate": where}, script={"crew": {
            "ev2": {"posture": "upright", "at": "platform/gate", "size": "plain"}}, "restraint": None})  # fmt: skip
        table = np.zeros((2, 2, len(scene.position)))
        table[:, 0] = scene.position
        turn, come = scene.tree.column("arm/j1"), scene.tree.column("ev2/free_x")
        table[:, 1, turn] = -RATE
        table[1, 0, turn] -= RATE * TIME_S
        tip = forward(scene.tree, scene.position, ("arm/tip",))[0, :3, 3]
        table[:, 0, come] = np.hypot(*tip[:2]) + beyond_m
        table[0, 0, come] += TIME_S
        table[:, 1, come] = -1.0, 1.0
        motion = Motion(scene.tree.joints, np.array([0.0, TIME_S, END_S]), table)
        record = replace(turning_record(scene), motion=motion)
        phase = replace(record.phases[0], start_s=0.0, end_s=END_S)
        record = replace(record, phases=(phase,))
        rows, _ = prove_run(scene, Run((phase,), motion, (), (), (), ()))
        return replace(record, pairs=rows)

    return build


def flown(record, pair):
    """Return the distance (N,) of a pair while the first joint runs away the other way, found in time and braked."""
    begun, lasts = TIME_S - UNTIL_S, np.linspace(0.0, UNTIL_S, 200)
    q = record.motion.at(begun + lasts)
    braked = np.maximum(lasts - DETECTION_S, 0.0)
    column = record.scene.tree.column("arm/j1")
    q[:, column] = record.motion.at(begun)[column] + RATE * lasts - BRAKE * braked**2 / 2
    tree = record.phases[0].tree
    bodies = [tree.bodies[row] for row in pair]
    placed = forward(tree, q, [body.link for body in bodies]) @ np.stack([body.pose for body in bodies])
    return distances([body.shape for body in bodies], placed, np.array([[0, 1]])).upper_m[:, 0]


@pytest.mark.parametrize("behind", [0.30, 0.36, 0.42, 0.48, 0.54, 0.60])
def test_a_worker_walking_into_the_arms_run_out_is_not_left_out(behind, walking):
    record = walking(behind)
    (side,) = sides(record)
    asked = {tuple(sorted(pair)) for pair in side.pairs.tolist()}
    names = [body.name for body in side.phase.tree.bodies]
    least = min(float(part.leaves.lower_m.min()) for part in runaways(record).parts if not part.own)
    for part in ("boots", "trunk", "helmet"):
        pair = tuple(sorted((names.index("arm/hand"), names.index(f"ev2/{part}"))))
        left = flown(record, pair).min() - record.scene.loaded.rules.stop_remainder
        assert left >= ENOUGH_M or pair in asked
        assert least <= left + 2e-4


@pytest.fixture
def handing(rider_scene, turning_record):
    """A record in which a ball goes from the rider's hands to a worker who walks on at once, towards the rider."""
    ball = Body("ball", "base", Sphere(0.05), identity())
    gate = {"gate": from_xyz_rpy((3.0, 3.0, 0.0), (0.0, 0.0, 0.0))}
    scene = rider_scene({}, held=(ball,), worker_at="platform/gate", frames=gate)
    turn = scene.tree.column("arm/j1")
    table = np.zeros((2, 2, len(scene.position)))
    table[:, 0] = scene.position
    table[:, 1, turn] = RATE / 2
    table[1, 0, turn] += RATE / 2 * TIME_S
    links = forward(scene.tree, table[1, 0], ("load/base", "ev2/hands", "ev1/trunk"))
    towards = links[2, :2, 3] - links[0, :2, 3]
    for axis, part in zip(("x", "y"), towards / np.linalg.norm(towards), strict=True):
        table[1, 1, scene.tree.column(f"ev2/free_{axis}")] = 0.5 * part
    motion = Motion(scene.tree.joints, np.array([0.0, TIME_S, END_S]), table)
    handed = scene.tree.attach("load", "ev2/hands", inverse(links[1]) @ links[0])
    record = replace(turning_record(scene), motion=motion)
    before = replace(record.phases[0], start_s=0.0, end_s=TIME_S)
    record = replace(record, phases=(before, replace(before, start_s=TIME_S, end_s=END_S, tree=handed)))
    rows, _ = prove_run(scene, Run(record.phases, motion, (), (), (), ()))
    return replace(record, pairs=rows)


def test_what_is_handed_to_somebody_who_starts_to_walk_is_covered_while_the_arm_brakes(handing, monkeypatch):
    begun, side, tree = TIME_S - 1e-3, sides(handing)[0], handing.phases[1].tree
    lasts, turn = np.linspace(0.0, RATE / 2 / side.brakes[0], 100), tree.column("arm/j1")
    q = handing.motion.at(begun + lasts)
    q[:, turn] = handing.motion.at(begun)[turn] + RATE / 2 * lasts - side.brakes[0] * lasts**2 / 2
    shapes = [body.shape for body in tree.bodies]
    placed = forward(tree, q, [body.link for body in tree.bodies]) @ np.stack([body.pose for body in tree.bodies])
    names = [body.name for body in tree.bodies]
    ball, trunk = names.index("load/ball"), names.index("ev1/trunk")
    gap = distances(shapes, placed, np.array([[trunk, ball]])).upper_m[:, 0]
    assert gap[0] - gap.min() > 0.1  # it nears the rider, beside whom it rested until then
    assert {ball, trunk} in [set(pair) for pair in side.pairs.tolist()]
    alone = Side.of(handing, side.phase, np.array([sorted((ball, trunk))]))  # nothing else may be what is tightest
    monkeypatch.setattr(late_stop, "sides", lambda record: (alone,))
    (left,) = list(windows(alone))[-1].left_m
    lower = min(part.leaves.lower_m[-1] for part in run_outs(handing).parts if part.window.end_s == TIME_S)
    assert -np.inf < lower <= gap.min() - left + 2e-4
    assert gap[0] - left > lower + 0.1


@pytest.mark.parametrize("sign", [1, -1])
def test_a_joint_that_runs_away_against_its_command_is_farther_off_than_its_own_way(rider_scene, turning_record, sign):
    """Both first joints are flown; the first one turns round, and a ball stands where that brings the hand."""
    load = {"joint_rate": {"default": "4 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
            "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "1 m/s"}  # fmt: skip
    arm = {"detection_time": f"{DETECTION_S} s", "home": {"j2": "70 deg", "j3": "20 deg", "j4": "0 deg"},
           "loads": dict.fromkeys(("free", "rider", "rider_and_hardware"), load)}  # fmt: skip
    plain = rider_scene({}, arm=arm)
    rates = {"arm/j1": -sign * RATE, "arm/j2": RATE}
    q = plain.position.copy()
    for joint, rate in rates.items():
        q[plain.tree.column(joint)] += rate * TIME_S
    begun = q.copy()
    q[plain.tree.column("arm/j2")] += rates["arm/j2"] * DETECTION_S
    q[plain.tree.column("arm/j1")] += sign * (RATE * DETECTION_S + RATE**2 / (2 * BRAKE))
    hand = next(body for body in plain.tree.bodies if body.name == "arm/hand")
    there = forward(plain.tree, q, (hand.link,))[0] @ hand.pose
    ball = Body("ball", "yard", Sphere(0.02), there)
    scene = rider_scene({}, (ball,), arm=arm)
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0] = scene.position
    for joint, rate in rates.items():
        table[0, 1, scene.tree.column(joint)] = rate
    motion = Motion(scene.tree.joints, np.array([0.0, END_S]), table)
    record = replace(turning_record(scene), motion=motion)
    record = replace(record, phases=(replace(record.phases[0], start_s=0.0, end_s=END_S),))
    rows, _ = prove_run(scene, Run(record.phases, motion, (), (), (), ()))
    found = runaways(replace(record, pairs=rows))
    number = next(k for k, fault in enumerate(found.faults) if fault == (0, sign))
    least = np.inf
    for part in (part for part in found.parts if not part.own):
        mine = part.leaves.take(np.flatnonzero(part.leaves.fault == number))
        during = (mine.start_s <= TIME_S + DETECTION_S) & (mine.end_s >= TIME_S)
        least = min(least, float(mine.lower_m[during].min()))
    assert np.all(begun[scene.arm_columns] == motion.at(TIME_S)[scene.arm_columns])
    assert least <= -0.1 + 2e-4  # the hand is in the ball when the first joint stands, and the second still turned
    assert found.safe_detection_s[number] < DETECTION_S
