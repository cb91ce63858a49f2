"""Arms of other people: read, carried, and compared with pinocchio (frames) and coal (distances to the meshes)."""

import importlib.util
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pytest

from armcarry.clearance import distance, prove_arm
from armcarry.files.import_model import Inspection, home_of, inspect_file
from armcarry.files.load import validate_files
from armcarry.geometry.model import Body
from armcarry.geometry.poses import translation
from armcarry.geometry.shapes import Box, ConvexMesh
from armcarry.motion.forward import forward
from armcarry.rehearsal import judge, rehearse
from armcarry.scene.tree import Tree

pinocchio = pytest.importorskip("pinocchio")
coal = pytest.importorskip("coal")

# name -> (package, folder of robots in it, URDF, joints, tip)
ARMS = {
    "panda": ("example-robot-data", "panda_description/urdf/panda.urdf", 7, "panda_hand_tcp"),
    "ur5": ("example-robot-data", "ur_description/urdf/ur5_robot.urdf", 6, "ee_link"),
    "irb140": ("rtbdata", "abb_irb140_description/urdf/irb140.urdf", 6, "tool0"),
    "xarm7": ("example-robot-data", "xarm_description/urdf/xarm7.urdf", 7, "link_eef"),
}


@dataclass(frozen=True, eq=False)
class Known:
    """An arm: what we understood, and the file and folder it came from."""

    name: str
    seen: Inspection
    urdf: Path
    root: Path
    packages: Path


def _place(package: str, urdf: str) -> tuple[Path, Path]:
    """Return a URDF of a package of data, and the folder that holds all its meshes."""
    if package == "rtbdata":
        found = importlib.util.find_spec("rtbdata")
        if found is None or found.origin is None:
            pytest.skip("rtb-data is not installed")
        root = Path(found.origin).parent / "xacro"
        return root / urdf, root
    cmeel = importlib.util.find_spec("cmeel")
    share = Path(str(cmeel.origin)).parents[1] / "cmeel.prefix" / "share" if cmeel is not None else Path("absent")
    if not (share / "example-robot-data").is_dir():
        pytest.skip("example-robot-data is not installed")
    return share / "example-robot-data" / "robots" / urdf, share


_OTHERS = [pytest.param(name, marks=pytest.mark.long) for name in ARMS if name != "panda"]


@pytest.fixture(scope="module", params=["panda", *_OTHERS])
def arm(request, tmp_path_factory):
    package, urdf, _, _ = ARMS[request.param]
    path, root = _place(package, urdf)
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("ARMCARRY_CACHE", str(tmp_path_factory.mktemp("cache")))
        # few and coarse pieces, to be quick: what is tested here holds of any number
        seen = inspect_file(path, root=root, tolerance_m=0.04, most=2 if request.param == "ur5" else 1)
    packages = tmp_path_factory.mktemp("packages")
    # pinocchio wants a folder by the package's name, which that of the ABB arm has not
    (packages / "abb_irb140_support").symlink_to(path.parents[1], target_is_directory=True)
    return Known(request.param, seen, path, root, packages)


def _random(seen: Inspection, count: int, seed: int) -> np.ndarray:
    low = np.array([max(joint.lower, -3.0) for joint in seen.model.movable()])
    high = np.array([min(joint.upper, 3.0) for joint in seen.model.movable()])
    return np.random.default_rng(seed).uniform(low, high, (count, len(low)))


def _q(model, seen: Inspection, row: np.ndarray) -> np.ndarray:
    """Return pinocchio's joint vector: angles, and cosine and sine of a continuous joint."""
    q = pinocchio.neutral(model)
    for joint, value in zip(seen.model.movable(), row, strict=True):
        found = model.joints[model.getJointId(joint.name)]
        q[found.idx_q : found.idx_q + found.nq] = [value] if found.nq == 1 else [np.cos(value), np.sin(value)]
    return q


def test_the_chain_is_that_of_the_arm_and_not_of_its_gripper(arm):
    _, _, joints, tip = ARMS[arm.name]
    assert len(arm.seen.chain) == joints
    assert arm.seen.tip == tip
    assert arm.seen.is_arm


def test_a_gripper_that_follows_another_does_so_and_is_told(arm):
    told = [note for note in arm.seen.imported.notes if "follows" in note]
    assert len(told) == (1 if arm.name == "panda" else 0)
    if told:
        assert told[0] == (
            "panda.urdf:342: joint 'panda_finger_joint2' follows 'panda_finger_joint1'; no move of a rehearsal "
            "moves either, both stand as at home"
        )


def test_every_frame_is_where_pinocchio_has_it(arm):
    model = pinocchio.buildModelFromUrdf(str(arm.urdf))
    data = model.createData()
    tree = Tree().place("it", arm.seen.model)
    rows = _random(arm.seen, 20, 1)
    poses = forward(tree, rows)
    for row, ours in zip(rows, poses, strict=True):
        pinocchio.framesForwardKinematics(model, data, _q(model, arm.seen, row))
        for link in arm.seen.model.links:
            theirs = data.oMf[model.getFrameId(link)].homogeneous
            assert np.abs(ours[tree.index(f"it/{link}")] - theirs).max() < 1e-9, link


def _mesh_distances(arm: Known, rows: np.ndarray, box: Body) -> list[dict[str, float]]:
    """Return, for each row, link -> distance in metres of the original meshes to a box, by coal."""
    model = pinocchio.buildModelFromUrdf(str(arm.urdf))
    folders = [str(arm.root), str(arm.packages)]
    kind = pinocchio.GeometryType.COLLISION
    meshes = pinocchio.buildGeomFromUrdf(model, str(arm.urdf), kind, package_dirs=folders)
    data, geometry = model.createData(), meshes.createData()
    obstacle, there = coal.Box(*box.shape.size_m), coal.Transform3s(np.eye(3), box.pose[:3, 3])
    found = []
    for row in rows:
        pinocchio.updateGeometryPlacements(model, data, meshes, geometry, _q(model, arm.seen, row))
        nearest: dict[str, float] = {}
        for place, item in zip(geometry.oMg, meshes.geometryObjects, strict=True):
            link = model.frames[item.parentFrame].name
            pose = coal.Transform3s(place.rotation, place.translation)
            args = (item.geometry, pose, obstacle, there, coal.DistanceRequest(), coal.DistanceResult())
            nearest[link] = min(nearest.get(link, np.inf), coal.distance(*args))
        found.append(nearest)
    return found


def test_clearances_are_below_those_of_the_meshes_by_no_more_than_the_stated_error(arm):
    size, rows = (0.1, 0.2, 0.3), _random(arm.seen, 8, 2)
    box = Body("box", "world", Box(size), translation((0.45, 0.5, 0.3)))
    tree, compared = Tree().place("it", arm.seen.model), 0
    for row, theirs in zip(rows, _mesh_distances(arm, rows, box), strict=True):
        poses = forward(tree, row)
        ours: dict[str, float] = {}
        for body in arm.seen.model.bodies:
            apart = distance(body.shape, poses[tree.index(f"it/{body.link}")] @ body.pose, box.shape, box.pose).lower_m
            ours[body.link] = min(ours.get(body.link, np.inf), apart)
        for link, far in theirs.items():
            if far > 0 and np.isfinite(ours[link]):
                compared += 1
                assert ours[link] <= far + 1e-6, link
                assert ours[link] >= far - arm.seen.error_m - 1e-6, link
    assert compared >= 30


def test_clearance_proven_of_a_motion_holds_for_the_meshes_at_every_instant(arm):
    ends = _random(arm.seen, 2, 3)
    joints = arm.seen.model.movable()
    names = [joint.name for joint in joints]
    for k, joint in enumerate(joints):
        if joint.follows is not None:  # as it follows; pinocchio takes it for a joint of its own
            ends[:, k] = joint.follows.factor * ends[:, names.index(joint.follows.joint)] + joint.follows.offset
    box = Body("box", "world", Box((0.1, 0.2, 0.3)), translation((0.0, 0.9, 0.9)))
    moved = {joint.name: ends[:, k] for k, joint in enumerate(joints) if joint.follows is None}
    found = prove_arm(arm.seen.model, [0.0, 10.0], moved, [box], report_distance_m=9.0)
    links = {body.name: body.link for body in arm.seen.model.bodies}
    proven: dict[str, float] = {}
    for pair in found.pairs:
        if "box" in (pair.body_a, pair.body_b):
            link = links[pair.body_b if pair.body_a == "box" else pair.body_a]
            proven[link] = min(proven.get(link, np.inf), pair.lower_m)
    share = np.linspace(0.0, 1.0, 41)[:, None]
    sampled = _mesh_distances(arm, (1 - share) * ends[0] + share * ends[1], box)
    assert len(proven) >= 5
    for link, lower in proven.items():
        assert lower <= min(instant[link] for instant in sampled) + 1e-6, link


SCENARIO = """\
format: armcarry scenario 1
title: Over the bench
purpose: An arm of other people is carried over a bench that was a mesh
platform: bench/bench.yaml
arm: own/own.yaml
rules: tern_yard
base: {{mount: main}}
start: {start}
carries:
  - name: over
    moves:
      - {{hold: 2 s}}
      - {{to_joints: {{{joint}: 20 deg}}, name: turn}}
      - {{one_joint: {{{second}: {angle:.3f} rad}}, name: bend}}
"""


def test_a_carry_of_the_arm_over_a_bench_from_a_mesh(arm, tmp_path):
    (tmp_path / "bench.stl").write_text(_bench())
    inspect_file(tmp_path / "bench.stl", unit="mm").write(tmp_path / "bench")
    written = arm.seen.write(tmp_path / "own")
    first, second = arm.seen.chain[0], arm.seen.chain[1]
    start = {second.name: f"{home_of(second) - 0.2:.3f} rad"}
    spelled = "{" + ", ".join(f"{name}: {value}" for name, value in start.items()) + "}"
    script = tmp_path / "carry.yaml"
    script.write_text(
        SCENARIO.format(start=spelled, joint=first.name, second=second.name, angle=home_of(second) + 0.1)
    )
    assert validate_files([written, tmp_path / "bench" / "bench.yaml", script]) == []
    record = rehearse(script)
    assert [move.name for move in record.moves][1:] == ["turn", "bend"]
    assert record.shortfalls == ()
    of_bench = [pair for pair in record.pairs if "platform/" in pair.body_a + pair.body_b]
    assert of_bench and any(pair.status == "proven" for pair in of_bench)
    verdicts = {finding.check: finding.verdict for finding in judge(record) if finding.verdict != "not_assessed"}
    assert verdicts["reach"] == verdicts["joint_rate"] == verdicts["tip_speed"] == "pass"


def _bench() -> str:
    """Return a box of 500 x 1000 x 50 mm in front of the arm as text STL."""
    corners = [(x, y, z) for x in (700, 1200) for y in (-500, 500) for z in (-100, -50)]
    hull = ConvexMesh.hull_of(np.array(corners, dtype=float))
    point = "vertex {:g} {:g} {:g}\n"
    triangles = ["".join(point.format(*hull.vertices_m[k]) for k in face) for face in hull.faces]
    facets = "".join(f"facet normal 0 0 0\nouter loop\n{points}endloop\nendfacet\n" for points in triangles)
    return f"solid bench\n{facets}endsolid bench\n"
