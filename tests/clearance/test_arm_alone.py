"""The proof for any arm from a URDF: as the reference shows it, and against pinocchio and coal on arms of others."""

import runpy
from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance import clearance_curve, prove_arm
from armcarry.errors import FrameError, InputError, MotionError
from armcarry.files.urdf import read_kinematics
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import from_xyz_rpy, identity, translation
from armcarry.geometry.shapes import Box, Capsule, Cylinder, Sphere

ROOT = Path(__file__).resolve().parents[2]
UR5_JOINTS = (
    "shoulder_pan_joint", "shoulder_lift_joint", "elbow_joint", "wrist_1_joint", "wrist_2_joint", "wrist_3_joint",
)
Z1_JOINTS = ("joint1", "joint2", "joint3", "joint4", "joint5", "joint6")
ON_UR5 = (
    Body("upper", "upper_arm_link", Capsule(0.06, 0.4), translation((0.0, 0.0, 0.2))),
    Body("fore", "forearm_link", Cylinder(0.05, 0.35), translation((0.0, 0.0, 0.2))),
    Body("tool", "tool0", Box((0.1, 0.1, 0.2)), translation((0.0, 0.0, 0.1))),
)
ON_Z1 = (
    Body("upper", "link02", Capsule(0.04, 0.3), from_xyz_rpy((-0.17, 0.0, 0.0), (0.0, np.pi / 2, 0.0))),
    Body("fore", "link03", Box((0.2, 0.08, 0.08)), translation((0.11, 0.0, 0.06))),
    Body("tool", "link06", Sphere(0.05), translation((0.1, 0.0, 0.0))),
)
AROUND = (
    Body("post", "world", Cylinder(0.08, 1.2), translation((0.75, 0.5, 0.6))),
    Body("table", "world", Box((0.6, 0.6, 0.1)), from_xyz_rpy((-0.7, 0.2, -0.35), (0.2, 0.1, 0.0))),
)


def shown_example() -> str:
    page = (ROOT / "shared" / "reference" / "python.md").read_text()
    section = page.split("\n## Any arm, without scenario files\n")[1].split("\n## ")[0]
    return "\n".join(line[4:] for line in section.splitlines() if line.startswith("    ") or not line.strip())


def test_the_example_of_the_reference_runs_as_it_stands(monkeypatch, capsys, tmp_path):
    monkeypatch.chdir(ROOT)
    (tmp_path / "example.py").write_text(shown_example())
    kept = runpy.run_path(str(tmp_path / "example.py"))
    rows = capsys.readouterr().out.split("\n")
    assert len(rows) == 4
    first = kept["found"].pairs[0]
    assert rows[0] == f"{first.body_a} {first.body_b} {first.status} {first.lower_m} {first.upper_m} {first.time_s}"
    assert any("mast" in (pair.body_a, pair.body_b) for pair in kept["found"].pairs)
    for pair in kept["found"].pairs:
        if pair.status == "proven":
            assert 0.0 < pair.lower_m <= pair.upper_m <= pair.lower_m + 1e-3


def robots() -> Path:
    pinocchio = pytest.importorskip("pinocchio")
    folder = Path(pinocchio.__file__).parents[4] / "share" / "example-robot-data" / "robots"
    if not folder.is_dir():
        pytest.skip("example-robot-data is not installed")
    return folder


def coal_shape(coal, shape):
    match shape:
        case Sphere(radius):
            return coal.Sphere(radius)
        case Capsule(radius, length):
            return coal.Capsule(radius, length)
        case Cylinder(radius, length):
            return coal.Cylinder(radius, length)
        case Box(size):
            return coal.Box(*size)


def sampled_least(urdf, joints, motion_at, bodies, pairs, times):
    """Return the least distance of named pairs over times, by pinocchio's own reading of the URDF and coal."""
    import pinocchio

    coal = pytest.importorskip("coal")
    model = pinocchio.buildModelFromUrdf(str(urdf))
    data = model.createData()
    columns = [model.joints[model.getJointId(name)].idx_q for name in joints]
    by_name = {body.name: body for body in bodies}
    least = dict.fromkeys(pairs, np.inf)
    request = coal.DistanceRequest()
    request.gjk_tolerance = 1e-9
    for time in times:
        q = pinocchio.neutral(model)
        q[columns] = motion_at(time)
        pinocchio.forwardKinematics(model, data, q)
        pinocchio.updateFramePlacements(model, data)
        placed = {}
        for name, body in by_name.items():
            world = identity() if body.link == "world" else data.oMf[model.getFrameId(body.link)].homogeneous
            at = world @ body.pose
            placed[name] = (coal_shape(coal, body.shape), coal.Transform3s(at[:3, :3], at[:3, 3]))
        for pair in pairs:
            (shape_a, at_a), (shape_b, at_b) = placed[pair[0]], placed[pair[1]]
            found = coal.distance(shape_a, at_a, shape_b, at_b, request, coal.DistanceResult())
            least[pair] = min(least[pair], found)
    return least


@pytest.mark.parametrize("pieces", ["linear", "cubic"])
@pytest.mark.parametrize(
    ("urdf", "joints", "on_arm", "held"),
    [
        ("ur_description/urdf/ur5_robot.urdf", UR5_JOINTS, ON_UR5, {}),
        ("z1_description/urdf/z1.urdf", Z1_JOINTS, ON_Z1, {"jointGripper": 0.0}),
    ],
)
def test_arms_of_others_agree_with_pinocchio_and_coal(urdf, joints, on_arm, held, pieces):
    path = robots() / urdf
    rng = np.random.default_rng(len(joints[0]) + len(pieces))
    times, table = np.linspace(0.0, 20.0, 6), np.clip(rng.normal(0.0, 0.7, (6, 6)).cumsum(axis=0), -2.5, 2.5)
    limits = read_kinematics(path).movable()
    travel = np.array([(joint.lower, joint.upper) for joint in limits if joint.name in joints])
    table = np.clip(table, *travel.T)
    bodies = (*on_arm, *AROUND)
    found = prove_arm(
        path, times, dict(zip(joints, table.T, strict=True)), bodies, own_bodies=False, held=held, pieces=pieces
    )
    names = {frozenset((pair.body_a, pair.body_b)) for pair in found.pairs}
    # next to each other, and left out where their joint settles it: upper and fore; what stands around does not move
    beside = {frozenset(pair) for pair in found.joined.open}
    assert beside <= {frozenset(("upper", "fore"))}
    assert names - beside == {frozenset(pair) for pair in (
        ("upper", "tool"), ("fore", "tool"), ("upper", "post"), ("fore", "post"), ("tool", "post"),
        ("upper", "table"), ("fore", "table"), ("tool", "table"),
    )}  # fmt: skip
    columns = found.motion.columns_of([f"arm/{name}" for name in joints])
    wanted = sampled_least(
        path, joints, lambda t: found.motion.at(t)[columns], bodies,
        [(pair.body_a, pair.body_b) for pair in found.pairs], np.linspace(0.0, 20.0, 1500),
    )  # fmt: skip
    at_times = {
        pair: sampled_least(
            path, joints, lambda t: found.motion.at(t)[columns], bodies, [(pair.body_a, pair.body_b)], [pair.time_s]
        )[pair.body_a, pair.body_b]
        for pair in found.pairs
    }
    for pair in found.pairs:
        least = wanted[pair.body_a, pair.body_b]
        if pair.status == "contact":
            assert least < 1e-2
            assert at_times[pair] < 1e-5
            continue
        assert pair.lower_m <= least + 1e-7
        assert pair.upper_m <= least + 1e-2  # samples are as far apart as that
        assert pair.upper_m == pytest.approx(at_times[pair], abs=2e-6)
        assert pair.upper_m - pair.lower_m <= 1e-3
    assert any(pair.status == "proven" for pair in found.pairs)


def swing() -> Model:
    """A post, a boom of 2 m that turns on it, and a hand that turns at its end."""
    joints = (
        Joint("turn", "revolute", "post", "boom", identity(), np.array([0.0, 0.0, 1.0]), -np.pi, np.pi),
        Joint("weld", "fixed", "boom", "end", translation((2.0, 0.0, 0.0))),
        Joint("wrist", "revolute", "end", "hand", identity(), np.array([0.0, 0.0, 1.0]), -np.pi, np.pi),
    )
    bodies = (
        Body("boom", "boom", Capsule(0.1, 1.6), from_xyz_rpy((1.0, 0.0, 0.0), (0.0, np.pi / 2, 0.0))),
        Body("hand", "hand", Sphere(0.1), translation((0.3, 0.0, 0.0))),
        Body("foot", "post", Box((0.1, 0.1, 0.1)), identity()),
    )
    return Model("swing", "post", ("post", "boom", "end", "hand"), joints, bodies)


BALL = Body("ball", "world", Sphere(0.2), translation((0.0, 2.8, 0.0)))
TURN = {"turn": [0.0, np.pi / 2]}


def test_a_model_made_in_python_in_closed_form():
    found = prove_arm(swing(), [0.0, 10.0], TURN, [BALL], held={"wrist": 0.0})
    by_pair = {(pair.body_a, pair.body_b): pair for pair in found.pairs}
    # foot and hand are two joints apart, boom and foot and boom and hand one
    assert set(by_pair) == {("hand", "ball"), ("boom", "ball"), ("hand", "foot")}
    hand = by_pair["hand", "ball"]
    # the hand's middle ends at (0, 2.3): 2.8 - 2.3 - 0.1 - 0.2
    assert hand.lower_m <= 0.2 <= hand.upper_m + 1e-9
    assert hand.upper_m - hand.lower_m <= 1e-3
    assert (hand.status, hand.contact_s, hand.time_s) == ("proven", None, pytest.approx(10.0, abs=0.05))
    assert found.pairs[0] == hand


def test_a_larger_ball_is_touched_and_the_time_is_told():
    ball = Body("ball", "world", Sphere(0.5), translation((0.0, 2.8, 0.0)))
    (first, *_) = prove_arm(swing(), [0.0, 10.0], TURN, [ball], held={"wrist": 0.0}).pairs
    assert (first.status, first.lower_m, first.upper_m) == ("contact", -np.inf, 0.0)
    # centres 0.6 apart: 2.3^2 + 2.8^2 - 2 * 2.3 * 2.8 sin(angle) = 0.36
    angle = np.arcsin((2.3**2 + 2.8**2 - 0.36) / (2 * 2.3 * 2.8))
    assert first.contact_s == pytest.approx((10 * angle / (np.pi / 2), 10.0), abs=2e-3)


def test_neighbours_and_what_is_ignored():
    positions = {"turn": [0.0, 1.0], "wrist": [0.0, 1.0]}
    near = prove_arm(swing(), [0.0, 10.0], positions, [BALL], neighbours=True)
    assert {(p.body_a, p.body_b) for p in near.pairs} == {
        ("boom", "hand"), ("boom", "foot"), ("hand", "foot"), ("hand", "ball"), ("boom", "ball"),
    }  # fmt: skip
    fewer = prove_arm(swing(), [0.0, 10.0], positions, [BALL], ignore=[("ball", "boom")])
    # boom and hand touch in some postures of the wrist: they are judged, unlike what touches in all or in none
    assert {(p.body_a, p.body_b) for p in fewer.pairs} == {("hand", "foot"), ("hand", "ball"), ("boom", "hand")}
    assert fewer.joined.open == (("boom", "hand"),)
    (apart,) = fewer.joined.apart
    assert (apart.body_a, apart.body_b, apart.beyond) == ("foot", "boom", True)
    assert apart.least_m == pytest.approx(0.1 - 0.05 * np.sqrt(2), abs=2e-3)


def test_a_base_elsewhere_moves_the_arm_and_not_what_stands_around():
    there = prove_arm(swing(), [0.0, 10.0], TURN, [BALL], held={"wrist": 0.0}, base=translation((0.0, -0.5, 0.0)))
    assert there.pairs[0].lower_m == pytest.approx(0.7, abs=1e-3)


def test_what_was_judged_serves_the_other_calls():
    found = prove_arm(swing(), [0.0, 10.0], TURN, [BALL], held={"wrist": 0.0})
    curve = clearance_curve(found.tree, found.motion, found.bounds.pairs)
    assert curve.lower_m.min() == pytest.approx(found.pairs[0].lower_m, abs=0.03)


def test_what_does_not_fit_is_named():
    with pytest.raises(FrameError, match="no joint named 'turm'; did you mean 'turn'"):
        prove_arm(swing(), [0.0, 1.0], {"turm": [0.0, 1.0]})
    with pytest.raises(MotionError, match="no positions for wrist; give them, or hold the joint at one position"):
        prove_arm(swing(), [0.0, 1.0], TURN)
    with pytest.raises(MotionError, match=r"joint 'turn' has positions of shape \(3,\) for 2 times"):
        prove_arm(swing(), [0.0, 1.0], {"turn": [0.0, 1.0, 2.0]}, held={"wrist": 0.0})
    with pytest.raises(MotionError, match="at least two strictly increasing times"):
        prove_arm(swing(), [1.0, 0.0], TURN, held={"wrist": 0.0})
    with pytest.raises(MotionError, match="must be finite"):
        prove_arm(swing(), [0.0, 1.0], {"turn": [0.0, np.nan]}, held={"wrist": 0.0})
    with pytest.raises(FrameError, match="no link named 'hamd'; did you mean 'hand'"):
        prove_arm(swing(), [0.0, 1.0], TURN, [Body("x", "hamd", Sphere(0.1), identity())], held={"wrist": 0.0})
    with pytest.raises(FrameError, match="no body named 'bal'; did you mean 'ball'"):
        prove_arm(swing(), [0.0, 1.0], TURN, [BALL], held={"wrist": 0.0}, ignore=[("bal", "boom")])
    with pytest.raises(InputError, match="two bodies are named 'ball'"):
        prove_arm(swing(), [0.0, 1.0], TURN, [BALL, BALL], held={"wrist": 0.0})


HELD = {"wrist": 0.0}


@pytest.mark.parametrize(
    ("change", "error", "words"),
    [
        ({"pieces": "quintic"}, InputError, "pieces of an unknown kind; found 'quintic'; accepted: linear, cubic"),
        ({"held": {"wrist": 0.0, "turn": 1.0}}, MotionError, "joint 'turn' is both moved and held"),
        ({"positions": {"turn": [0.0, 4.0]}}, MotionError,
         "joint 'turn' is at 4 at 1 s, beyond its travel of -3.14159 to 3.14159; correct the positions, or the "),
        ({"held": {"wrist": 4.0}}, MotionError, "joint 'wrist' is at 4 at 0 s, beyond its travel"),
        ({"held": {"wrist": np.nan}}, MotionError, "must be finite"),
        ({"held": {"wrist": [0.0, 0.0]}}, MotionError, r"shape \(2,\) for one position, for it is held"),
        ({"held": {"wrist": "zero"}}, InputError, "joint 'wrist': not numbers; found 'zero'"),
        ({"positions": {"turn": [[0.0], [1.0, 2.0]]}}, InputError, "joint 'turn': not numbers"),
        ({"positions": [0.0, 1.0]}, InputError, "positions: not a mapping"),
        ({"times_s": [0.0, 1e13]}, MotionError, r"a clock at 1e\+13 s is too coarse.*subtract its start"),
        ({"times_s": [0.0, np.nan]}, MotionError, "strictly increasing"),
        ({"times_s": "now"}, InputError, "times_s: not numbers"),
        ({"tolerance_m": np.inf}, InputError, "a tolerance that cannot be kept"),
        ({"report_distance_m": np.nan}, InputError, "report distances that mean nothing"),
        ({"base": np.diag([1.0, 1.0, 2.0, 1.0])}, InputError, "base: it stretches, mirrors or skews"),
        ({"bodies": ["ball"]}, InputError, "not a body; found 'ball'"),
        ({"bodies": 3.0}, InputError, "bodies: not a list; found 3.0"),
        ({"ignore": 7}, InputError, "ignore: not a list; found 7; accepted: pairs of names of bodies"),
        ({"ignore": ["ball"]}, InputError, "ignore: not two names of bodies; found 'ball'"),
        ({"ignore": [("ball", 3)]}, FrameError, "no body named '3'"),
        ({"arm": 7}, InputError, "not an arm; found 7; accepted: a URDF file, or a Model"),
    ],
)  # fmt: skip
def test_an_argument_that_means_nothing_is_refused_in_words(change, error, words):
    given = {"arm": swing(), "times_s": [0.0, 1.0], "positions": TURN, "bodies": [BALL], "held": HELD} | change
    arm, times_s, positions, bodies = (given.pop(name) for name in ("arm", "times_s", "positions", "bodies"))
    with pytest.raises(error, match=words):
        prove_arm(arm, times_s, positions, bodies, **given)


def test_a_mesh_that_is_not_there_matters_only_when_the_urdf_s_own_bodies_count(tmp_path):
    urdf = tmp_path / "one.urdf"
    urdf.write_text(
        "<robot name='one'><link name='a'><visual><material name='red'/></visual></link><link name='b'><collision>"
        "<geometry><mesh filename='b.stl'/></geometry></collision></link><joint name='j' type='continuous'>"
        "<parent link='a'/><child link='b'/><axis xyz='0 0 1'/></joint></robot>"
    )
    with pytest.raises(InputError, match=r"one.urdf:1: <mesh filename>: no such file"):
        prove_arm(urdf, [0.0, 1.0], {"j": [0.0, 1.0]})
    wing = Body("wing", "b", Sphere(0.1), translation((1.0, 0.0, 0.0)))
    wall = Body("wall", "world", Box((0.2, 4.0, 1.0)), translation((2.0, 0.0, 0.0)))
    found = prove_arm(urdf, [0.0, 1.0], {"j": [-0.5, 1.0]}, [wing, wall], own_bodies=False)
    assert found.pairs[0].lower_m == pytest.approx(0.8, abs=1e-3)
    urdf.write_text("<model/>")
    with pytest.raises(InputError, match="not a URDF"):
        prove_arm(urdf, [0.0, 1.0], {"j": [0.0, 1.0]}, own_bodies=False)
