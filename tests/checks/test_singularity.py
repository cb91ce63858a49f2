"""The smallest singular value over the moves, against dense sampling; 0.1 is asked for in conftest."""

import numpy as np
import pytest

from armcarry.checks import singularity
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import smallest_singular_value
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.timeline.run import Phase

#: with the wrist turned the arm has all directions
HOME = {"home": {"j2": "40 deg", "j3": "60 deg", "j4": "50 deg", "j5": "60 deg"}}
#: the elbow opens from 60 deg to straight and bends the other way
STRETCH = {"arm/j3": [np.radians(-12.0)]}


def _values(record, times_s):
    scene = record.scene
    chain = Chain.of(scene.tree, "world", scene.tool(scene.tree), joints=scene.arm_joints, held=scene.position)
    return smallest_singular_value(chain, record.motion.at(times_s)[:, scene.arm_columns], length_m=2.0)


def test_the_least_over_the_run_is_told_with_its_instant(rider_scene, moving_record):
    record = moving_record(rider_scene({}, arm=HOME), STRETCH)
    (found,) = singularity.check(record)
    times = np.linspace(0.0, 10.0, 20001)
    values = _values(record, times)
    assert found.verdict is Verdict.FAIL
    assert found.value == pytest.approx(values.min(), abs=1e-4)
    assert found.start_s == found.end_s == pytest.approx(times[values.argmin()], abs=0.01)
    assert values.max() > 0.1  # most of the run is far from it
    assert found.message == (
        f"the smallest singular value is {rounded_down(found.value, 4):.4f} in swing (characteristic length 2 m, "
        "sampled); 0.1000 is required"
    )
    assert found.remedy == "start from another branch of the arm, or pin a joint so that it stretches less"


@pytest.mark.parametrize(("off", "verdict"), [(-1e-4, Verdict.PASS), (1e-4, Verdict.FAIL)])
def test_just_inside_and_just_outside(rider_scene, moving_record, off, verdict):
    record = moving_record(rider_scene({}, arm=HOME), {"arm/j3": [np.radians(-3.0)]})
    (least,) = singularity.check(record)
    assert least.value == pytest.approx(_values(record, np.linspace(0.0, 10.0, 2001)).min(), abs=1e-6)
    assert least.value > 0.01
    margins = {"joint_position": "5 deg", "smallest_singular_value": least.value + off}
    (found,) = singularity.check(
        moving_record(rider_scene({}, arm=HOME, rules={"margins": margins}), {"arm/j3": [np.radians(-3.0)]})
    )
    assert (found.verdict, found.subject) == (verdict, "arm")
    assert (found.value, found.limit) == (least.value, least.value + off)
    assert (found.remedy == "") is (verdict is Verdict.PASS)


@pytest.mark.parametrize("turned", [False, True])
def test_the_worst_move_is_told_wherever_it_stands(rider_scene, moving_record, turned):
    moves = (
        MoveSpan("round", 1, "bent", "to_joints", 0.0, 2.0, "rider"),
        MoveSpan("round", 2, "straight", "to_joints", 2.0, 6.0, "rider"),
        MoveSpan("round", 3, "at once", "attach", 5.0, 5.0, "rider"),
    )
    record = moving_record(rider_scene({}, arm=HOME), STRETCH, moves=moves[::-1] if turned else moves)
    (found,) = singularity.check(record)
    assert " in straight (" in found.message


def test_a_run_without_a_move_is_not_assessed(rider_scene, moving_record):
    (found,) = singularity.check(moving_record(rider_scene({}, arm=HOME), {}, moves=()))
    assert found.verdict is Verdict.NOT_ASSESSED
    assert found.message == "the arm does not move in this run"


def test_what_is_not_assessed_is_the_arms(rider_scene, moving_record):
    (found,) = singularity.check(moving_record(rider_scene({}, arm=HOME), {}, moves=()))
    assert (found.subject, found.remedy) == ("arm", "rehearse a script in which the arm moves")


@pytest.mark.parametrize(("first", "second"), [(0.0, 1.0), (1.0, 0.0)])
def test_the_tool_of_a_move_is_that_of_its_own_phase(rider_scene, moving_record, first, second):
    """The restraint is left in another phase: the tool is the bare tip there, and a lever shorter."""
    scene = rider_scene({}, arm=HOME)
    bare = scene.tree.attach("restraint", "world", np.eye(4))
    trees = {0.0: scene.tree, 1.0: bare}
    record = moving_record(scene, {}, moves=(MoveSpan("round", 1, "still", "hold", 1.0, 9.0, "rider"),))
    phases = (Phase(0.0, 1.0, trees[second]), Phase(1.0, 9.0, trees[first]), Phase(9.0, 30.0, trees[second]))
    (found,) = singularity.check(Record(scene, phases, record.motion, record.moves))
    tool = scene.tool(trees[first])
    chain = Chain.of(trees[first], "world", tool, joints=scene.arm_joints, held=scene.position)
    exact = smallest_singular_value(chain, scene.position[None, scene.arm_columns], length_m=2.0)[0]
    assert found.value == pytest.approx(exact, abs=1e-12)
