"""What is said of other branches of the arm is true of them, and nothing is said where there is none."""

import re

import numpy as np
import pytest

from armcarry.asked.pairs import arm_pairs
from armcarry.checks import clearance
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.motion.chain import Chain
from armcarry.motion.curve import Motion
from armcarry.motion.inverse import solutions
from armcarry.proving.proof import prove_run
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.scene.tree import WORLD
from armcarry.timeline.run import Phase, Run
from armcarry.whatif import branches
from armcarry.whatif.branches import least_left_m, other_branch


@pytest.fixture(scope="module")
def scene():
    return build_scene(load_scenario(scenarios_folder() / "pump_box_to_bay_7.yaml"))


@pytest.fixture(scope="module")
def ways(scene):
    """The demo arm's ways to hold its rider before rack A, as joint vectors of the whole scene."""
    tool = scene.tool(scene.tree)
    chain = Chain.of(scene.tree, WORLD, tool, joints=scene.arm_joints, held=scene.position)
    found = solutions(chain, scene.tree.pose_of(tool, scene.position))
    positions = np.repeat(scene.position[None], len(found), axis=0)
    positions[:, scene.arm_columns] = found
    return positions


def standing(scene, position):
    """A run in which the arm all but stands for a second, proven: every joint turns by a hundredth of a degree."""
    table = np.zeros((1, 2, len(position)))
    table[0, 0] = position
    table[0, 1, scene.arm_columns] = 2e-4
    motion, phase = Motion(scene.tree.joints, np.array([0.0, 1.0]), table), Phase(0.0, 1.0, scene.tree)
    pairs, curves = prove_run(scene, Run((phase,), motion, (), (), (), ()))
    return Record(scene, (phase,), motion, (), pairs=pairs, curves=curves)


@pytest.fixture(scope="module")
def blocked(scene, ways):
    """The arm on a branch on which a body of it falls short."""
    good = standing(scene, scene.position)
    left = least_left_m(good, 0.5, ways)
    assert (left >= 0).any() and (left < 0).any()
    return standing(scene, ways[int(np.argmin(left))]), left


def test_what_is_left_on_a_branch_is_what_a_proof_of_it_gives(scene, ways, blocked):
    record, _ = blocked
    asked = [row for row in record.pairs if row.required_m is not None and row.status != "intended"]
    (left,) = least_left_m(record, 0.5, record.motion.at(0.5)[None])
    assert left <= min(row.margin_m for row in asked) + 2e-3
    good = standing(scene, scene.position)
    (left,) = least_left_m(good, 0.5, scene.position[None])
    arm = {tuple(scene.tree.bodies[k].name for k in pair) for pair in arm_pairs(scene, scene.tree).tolist()}
    rows = [row.margin_m for row in good.pairs
            if row.required_m is not None and row.status == "proven" and (row.body_a, row.body_b) in arm]  # fmt: skip
    assert left == pytest.approx(min(rows), abs=2e-3)


def test_a_gap_beside_the_arm_names_a_branch_that_is_proven_to_have_room(scene, ways, blocked):
    record, _ = blocked
    failed = [f for f in clearance.check(record) if str(f.verdict) == "fail"]
    beside = [f for f in failed if "arm/" in f.subject + f.other]
    assert beside
    words = re.search(r"; another branch, (.+), holds the tool the same at 0:0", beside[0].remedy)
    assert words, beside[0].remedy
    named = {name: float(value) for name, value in re.findall(r"([a-z ]+?) (-?\d+) deg", words[1])}
    now = record.motion.at(0.5)
    joints = [name.split("/")[1].replace("_", " ") for name in scene.arm_joints]

    def fits(way):
        for joint, column in zip(joints, scene.arm_columns, strict=True):
            value = named.get(joint.strip(), np.degrees(now[column]))
            off = (np.degrees(way[column]) - value + 180.0) % 360.0 - 180.0
            if abs(off) > (0.51 if joint in named else 5.1):
                return False
        return True

    named = {name.strip(", "): value for name, value in named.items()}
    chosen = [way for way in ways if fits(way)]
    assert chosen
    assert all(str(f.verdict) == "pass" for f in clearance.check(standing(scene, chosen[0])))


def test_without_a_branch_that_has_room_that_is_said(blocked, monkeypatch):
    record, _ = blocked
    monkeypatch.setattr(branches, "_roomy", lambda *_: False)
    assert other_branch(record, 0.5) == ""
    failed = [f for f in clearance.check(record) if str(f.verdict) == "fail" and "arm/" in f.subject + f.other]
    assert failed[0].remedy.partition("; ")[2].startswith("no other branch of the arm that was tried has room at 0:0")
