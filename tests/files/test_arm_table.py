"""Arms by parameters: the model that is written moves as the table says, and what is wrong is told by its line."""

from __future__ import annotations

import math

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.errors import InputError
from armcarry.files.arm_table import read_table
from armcarry.files.documents.arm import ArmDocument
from armcarry.files.load import validate_files
from armcarry.files.loaded import Loaded
from armcarry.files.model_files import open_model
from armcarry.files.places import models_folder
from armcarry.files.validate import read_source
from armcarry.motion.chain import Chain
from armcarry.motion.toolbox import toolbox
from armcarry.scene.tree import Tree

TABLE = """joint,a,alpha,d,theta,lower,upper
# the shoulder
turn,0.1 m,90 deg,0.6 m,q,-170 deg,170 deg
lift,4 m,10 deg,0 m,q + 10 deg,-100 deg,100 deg
slide,0 m,-90 deg,q + 0.5 m,20 deg,0 m,2 m
bend,3.5 m,0 deg,0.1 m,q,-150 deg,150 deg
swing,0 m,90 deg,0 m,q-90 deg,-100 deg,100 deg
roll,0 m,0 deg,0.4 m,q,-170 deg,170 deg
"""
#: a, alpha, d, theta of each row; the variable is added
ROWS = [(0.1, 90, 0.6, 0), (4, 10, 0, 10), (0, -90, 0.5, 20), (3.5, 0, 0.1, 0), (0, 90, 0, -90), (0, 0, 0.4, 0)]
SEQUENCE = """# an arm of six
tz(0.6 m) Rz(turn, -160 deg, 160 deg)
Ry(lift, -90 deg, 90 deg) tx(4 m)
-Ry(bend, -150 deg, 150 deg), tx(400 cm)
tz(slide, 0 m, 1 m) * Rz(swing, -100 deg, 100 deg) -tx(0.2 m)
Rx(roll, -170 deg, 170 deg) Ry(90 deg)
"""


def _about(axis, angle):
    c, s, pose = math.cos(angle), math.sin(angle), np.eye(4)
    a, b = [k for k in range(3) if k != axis]
    sign = -1.0 if axis == 1 else 1.0
    pose[a, a] = pose[b, b] = c
    pose[a, b], pose[b, a] = -sign * s, sign * s
    return pose


def _along(axis, by):
    pose = np.eye(4)
    pose[axis, 3] = by
    return pose


def _by_hand(q, modified):
    """Multiply the rows of the table out, as textbooks have them."""
    pose = np.eye(4)
    for k, (a, alpha, d, theta) in enumerate(ROWS):
        d, theta = (d + q[k], math.radians(theta)) if k == 2 else (d, math.radians(theta) + q[k])
        joint, link = _about(2, theta) @ _along(2, d), _along(0, a) @ _about(0, math.radians(alpha))
        pose = pose @ (link @ joint if modified else joint @ link)
    return pose


def _written(path, tmp_path, *options):
    folder = tmp_path / "model"
    said = CliRunner().invoke(app, ["inspect", str(path), "--no-draw", "--write-model", str(folder), *options])
    assert said.exit_code == 0, said.exception
    return _arm(folder / "model.yaml")


def _arm(path):
    assert validate_files([path]) == []
    file = open_model(read_source(path, ArmDocument))
    return Loaded(file.document, file.model(), path)


def _chain(arm):
    tree = Tree().place("arm", arm.model)
    return Chain.of(tree, f"arm/{arm.document.base}", f"arm/{arm.document.tip}")


def _postures(count=40):
    return np.random.default_rng(5).uniform(-1.4, 1.4, (count, 6)) * np.array([1, 1, 0.5, 1, 1, 1])


@pytest.mark.parametrize("modified", [False, True], ids=["standard", "modified"])
def test_a_table_moves_as_its_rows_say(tmp_path, modified):
    path = tmp_path / "six.csv"
    path.write_text(TABLE)
    arm = _written(path, tmp_path, *(["--modified"] if modified else []))
    assert arm.document.joints == ["turn", "lift", "slide", "bend", "swing", "roll"]
    for q in _postures():
        np.testing.assert_allclose(_chain(arm).forward(q), _by_hand(q, modified), atol=1e-12)
    joint = next(joint for joint in arm.model.joints if joint.name == "slide")
    assert (joint.kind, joint.lower, joint.upper) == ("prismatic", 0.0, 2.0)


def test_a_sequence_moves_as_its_steps_say(tmp_path):
    path = tmp_path / "six.ets"
    path.write_text(SEQUENCE)
    arm = _written(path, tmp_path)
    assert arm.document.joints == ["turn", "lift", "bend", "slide", "swing", "roll"]
    for q in _postures():
        turn, lift, bend, slide, swing, roll = q
        wanted = _along(2, 0.6) @ _about(2, turn) @ _about(1, lift) @ _along(0, 4) @ _about(1, -bend) @ _along(0, 4)
        wanted = wanted @ _along(2, slide) @ _about(2, swing) @ _along(0, -0.2) @ _about(0, roll)
        wanted = wanted @ _about(1, math.pi / 2)
        np.testing.assert_allclose(_chain(arm).forward(q), wanted, atol=1e-12)


@pytest.mark.parametrize("name", ["heron", "standard", "modified", "sequence"])
def test_the_toolbox_s_robot_of_an_arm_moves_alike(name, tmp_path):
    if name == "heron":
        arm = _arm(models_folder() / "arms" / "heron" / "heron.yaml")
    else:
        path = tmp_path / ("six.ets" if name == "sequence" else "six.csv")
        path.write_text(SEQUENCE if name == "sequence" else TABLE)
        arm = _written(path, tmp_path, *(["--modified"] if name == "modified" else []))
    robot, chain = toolbox("heron" if name == "heron" else arm.path), _chain(arm)
    assert str(toolbox(arm).ets()) == str(robot.ets())
    assert robot.n == len(arm.document.joints)
    np.testing.assert_allclose(robot.qlim.T, chain.limits, atol=1e-12)
    for q in np.random.default_rng(3).uniform(-3, 3, (50, robot.n)):
        np.testing.assert_allclose(robot.fkine(q).A, chain.forward(q), atol=1e-9)


MISTAKES = [
    ("joint,a,alpha", "joint,b,alpha", "six.csv:1: not a table of an arm; found 'joint,b,alpha,d,theta,lower,upper'; "
     "accepted: joint,a,alpha,d,theta,lower,upper"),
    ("lift,4 m", "lift,4", "six.csv:4: a: a bare number, the unit is missing; found '4'; accepted: a length with"),
    ("0 m,q + 10 deg", "0 m,10 deg", "six.csv:4: not one variable in a row; found 'lift, 4 m, 10 deg, 0 m, 10 deg"),
    ("0.6 m,q,", "q,q,", "six.csv:3: not one variable in a row"),
    ("q + 10 deg", "q + 10 kg", "six.csv:4: theta: not an accepted unit; found '+10 kg'; accepted: an angle with"),
    ("-100 deg,100 deg\nslide", "100 deg,-100 deg\nslide",
     "six.csv:4: lower is not below upper; found '100 deg, -100 deg'"),
    ("0 m,2 m", "0 deg,2 m", "six.csv:5: lower: not an accepted unit; found '0 deg'; accepted: a length with"),
    ("turn,0.1 m", "a turn,0.1 m", "six.csv:3: not a joint's name; found 'a turn'; accepted: letters, digits, _"),
    ("roll,0 m,", "turn,0 m,", "six.csv: two joints are named 'turn'; accepted: each name once"),
    ("roll,0 m,", "roll,0 m,0 m,", "six.csv:8: a row of another length; found 8; accepted: 7 cells: joint, a"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), MISTAKES, ids=[new[:24] for _, new, _ in MISTAKES])
def test_a_mistake_in_a_table_is_told_by_its_line(old, new, words, tmp_path):
    path = tmp_path / "six.csv"
    assert TABLE.count(old) == 1
    path.write_text(TABLE.replace(old, new))
    with pytest.raises(InputError) as caught:
        read_table(path)
    assert str(caught.value).removeprefix(f"{tmp_path}/").startswith(words)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "six.ets:1: a sequence without a joint; accepted: Rz(turn, -160 deg, 160 deg) for a joint"),
        ("Rz(turn, 0 deg, 9 deg)\nRq(3 m)", "six.ets:2: not an elementary transform; found 'Rq(3 m)'"),
        ("Rz(turn, 0 deg)", "six.ets:1: neither a joint nor a constant transform; found 'turn, 0 deg'"),
        ("tx(3 deg)", "six.ets:1: tx: not an accepted unit; found '3 deg'; accepted: a length with its unit"),
        ("Rz(turn, 0 deg, 9 deg)\ntz(turn, 0 m, 1 m)", "six.ets: two joints are named 'turn'"),
    ],
)
def test_a_mistake_in_a_sequence_is_told_by_its_line(text, words, tmp_path):
    path = tmp_path / "six.ets"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_table(path)
    assert str(caught.value).removeprefix(f"{tmp_path}/").startswith(words)


def test_an_empty_table_is_refused(tmp_path):
    path = tmp_path / "six.csv"
    path.write_text("")
    with pytest.raises(InputError, match=r"six\.csv:1: not a table of an arm"):
        read_table(path)
    path.write_text(TABLE.splitlines()[0])
    with pytest.raises(InputError, match=r"six\.csv: a table without a joint; accepted: a row a joint"):
        read_table(path)
