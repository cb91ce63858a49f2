"""What every test shares: pictures are drawn off screen, also where there is no display."""

import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

os.environ.setdefault("MPLBACKEND", "Agg")
if sys.platform == "linux" and not os.environ.get("DISPLAY"):
    # without it VTK first tries an X server and warns
    os.environ.setdefault("VTK_DEFAULT_OPENGL_WINDOW", "vtkEGLRenderWindow")


def pytest_configure(config):
    """Compile the kernels once, on all cores, before there are processes that would each compile them."""
    if getattr(config.option, "numprocesses", None) and not hasattr(config, "workerinput"):
        from armcarry.clearance.ready import make_ready

        make_ready()


#: what takes longest is begun first, so that the processes end together; the rest follows in its order
LONGEST = (
    "tests/views/test_brief_demo.py", "tests/test_docs_commands.py", "tests/golden", "tests/scheduling", "tests/files",
    "tests/record", "tests/handfly", "tests/views",
)  # fmt: skip


def _room(nodeid):
    """Return the file or folder below tests/ whose tests share what is costly."""
    path = nodeid.split("::")[0]
    return path if path in LONGEST else "/".join(path.split("/")[:2])


def pytest_collection_modifyitems(items):
    items.sort(key=lambda item: LONGEST.index(_room(item.nodeid)) if _room(item.nodeid) in LONGEST else len(LONGEST))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Give each process whole rooms, so that what the tests of a room share is made once."""
    from xdist.scheduler import LoadScopeScheduling

    class Rooms(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return _room(nodeid)

    config.option.loadscopereorder = False
    return Rooms(config, log)


@pytest.fixture
def display():
    """The name of a virtual display that nobody else uses."""
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", "1", "-screen", "0", "1600x900x24", "-nolisten", "tcp"],
        stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )
    number = server.stdout.readline().strip()
    yield f":{number}"
    server.terminate()
    server.communicate(timeout=20)


@pytest.fixture
def rider_scene():
    """A plain rider in a foot restraint on a six-joint arm, before a few boxes: see the arguments of ``build``."""
    return _rider_scene


def _rider_scene(
    points, bodies=(), *, hands="two", stand=None, socket=None, at="arm", held=(), sites=1, frames=None, platform=None,
    rules=None, script=None, worker_at=None, arm=None, load=None, slides=(),
):
    """Build a scene.

    Args:
        points: name -> T_world_point of the work points of ``site``.
        bodies: bodies of the platform, on its root link ``yard``.
        hands, stand, socket: of the worksite; poses (4, 4) in the world.
        at: where the restraint starts.
        held: bodies of a thing called ``load`` in the rider's hands, on its root link ``base``.
        sites: how many of no, one worksite.
        frames: name -> pose (4, 4) of more frames of the platform.
        platform, rules, script, arm, load: more keys of those documents, the last of the thing in the hands.
        worker_at: frame at which a second crewmember ``ev2`` has the boots.
        slides: joints of the arm that slide instead of turning, a metre either way.
    """
    from armcarry.files.documents.bodies import CrewDocument, HardwareDocument
    from armcarry.files.documents.platform import PlatformDocument
    from armcarry.files.documents.rules import RulesDocument
    from armcarry.files.documents.scenario import ScenarioDocument
    from armcarry.files.loaded import Loaded, LoadedCrew, LoadedScenario
    from armcarry.scene.build import build_scene

    restraint, crew = _restraint(), _suit()
    more, more_rules, more_script = platform or {}, rules or {}, script or {}
    frames = {"stand": _at() if stand is None else stand, **points, **(frames or {})}
    if socket is not None:
        frames["socket"] = socket
    work = {"title": "site", "stand": "stand", "socket": "socket" if socket is not None else None,
            "work_points": {name: name for name in points}, "hands": hands}
    platform = {"format": "armcarry platform 1", "title": "yard", "urdf": "none", "mounts": {"post": {"frame": "yard"}},
                "worksites": {"site": work} if sites else {}} | more
    script = {"format": "armcarry scenario 1", "title": "t", "purpose": "t", "platform": "yard", "arm": "arm",
              "rules": "rules", "base": {"mount": "post"}, "restraint": {"at": at},
              "crew": {"ev1": {"posture": "upright", "at": "arm", "size": "plain"}},
              "hardware": {"load": {"model": "load", "at": "ev1/hands"}} if held else {}} | more_script
    if worker_at is not None:
        script["crew"]["ev2"] = {"posture": "upright", "at": worker_at, "size": "plain"}
    rules = {"format": "armcarry rules 1", "title": "r", "report_distance": "3 m", "required": [],
             "intended_contact": [{"bodies": ["ev1/boots", "restraint/*"], "why": "stands"}],
             "relaxation": {"longest": "1 min", "least": "0 m", "reach": "1 m"}, "slow_within": "1 m",
             "margins": {"joint_position": "5 deg", "smallest_singular_value": 0.1}, "stop_remainder": "0.1 m",
             "rider_tip_speed": "0.1 m/s", "safe_return": "30 min"} | more_rules
    load = {"format": "armcarry hardware 1", "title": "l", "urdf": "none", "mass": "9 kg", "base": "base",
            "handhold": "base"} | (load or {})
    suit = CrewDocument.model_validate(crew[0])
    nowhere = Path("none")
    return build_scene(LoadedScenario(
        scenario=ScenarioDocument.model_validate(script), path=nowhere,
        platform=Loaded(PlatformDocument.model_validate(platform), _model("yard", "yard", frames, bodies), nowhere),
        vehicle_model=None, arm=Loaded(*_arm(arm or {}, slides), nowhere), restraint=Loaded(*restraint, nowhere),
        crew={name: LoadedCrew(suit, "plain", suit.sizes["plain"], crew[1], nowhere) for name in script["crew"]},
        hardware={"load": Loaded(HardwareDocument.model_validate(load), _model("load", "base", {}, held), nowhere)}
        if held else {},
        rules=RulesDocument.model_validate(rules),
    ))


def _at(x=0.0, y=0.0, z=0.0, roll=0.0, pitch=0.0, yaw=0.0):
    from armcarry.geometry.poses import from_xyz_rpy

    return from_xyz_rpy((x, y, z), (roll, pitch, yaw))


def _model(name, root, frames, bodies=(), joints=(), links=()):
    from armcarry.geometry.model import Joint, Model

    fixed = [Joint(f"{frame}_at", "fixed", root, frame, pose) for frame, pose in frames.items()]
    return Model(name, root, (root, *links, *frames), (*joints, *fixed), tuple(bodies))


def _turning(name, parent, child, pose, axis, travel=3.0):
    import numpy as np

    from armcarry.geometry.model import Joint

    return Joint(name, "revolute", parent, child, pose, np.array(axis, dtype=float), -travel, travel)


def _arm(more, slides):
    from armcarry.files.documents.arm import ArmDocument
    from armcarry.geometry.model import Body
    from armcarry.geometry.shapes import Capsule

    steps = [(0.3, (0, 0, 1)), (0.4, (0, 1, 0)), (2.0, (0, 1, 0)), (2.0, (0, 1, 0)), (0.4, (0, 0, 1)), (0.3, (0, 1, 0))]
    links = ["base", *(f"l{k}" for k in range(1, 6)), "tip"]
    joints = [_turning(f"j{k + 1}", links[k], links[k + 1], _at(z=up), axis) for k, (up, axis) in enumerate(steps)]
    joints = [replace(one, kind="prismatic", lower=-1.0, upper=1.0) if one.name in slides else one for one in joints]
    bodies = [Body(f"boom_{k}", f"l{k}", Capsule(0.08, 1.84), _at(z=1.0)) for k in (2, 3)]
    bodies.append(Body("hand", "tip", Capsule(0.1, 0.1), _at(z=-0.05)))
    load = {"joint_rate": {"default": "4 deg/s"}, "joint_acceleration": {"default": "2 deg/s^2"},
            "brake_deceleration": {"default": "4 deg/s^2"}, "tip_speed": "0.2 m/s"}
    document = {"format": "armcarry arm 1", "title": "arm", "urdf": "none", "base": "base", "tip": "tip",
                "joints": [joint.name for joint in joints], "home": {"j2": "40 deg", "j3": "60 deg", "j4": "50 deg"},
                "loads": dict.fromkeys(("free", "rider", "rider_and_hardware"), load), "reaction_time": "0.5 s",
                "detection_time": "0.2 s", "characteristic_length": "2 m", "tip_positioning": "0.02 m"} | more
    return ArmDocument.model_validate(document), _model("arm", "base", {}, bodies, joints, links[1:])


def _restraint():
    from armcarry.files.documents.bodies import RestraintDocument
    from armcarry.geometry.model import Body
    from armcarry.geometry.shapes import Box

    joints = [_turning("roll", "mount", "a", _at(z=0.2), (1, 0, 0)), _turning("pitch", "a", "b", _at(), (0, 1, 0)),
              _turning("yaw", "b", "c", _at(z=0.1), (0, 0, 1))]
    joints.append(replace(_turning("plate_at", "c", "plate", _at(z=0.05), (0, 0, 1)), kind="fixed"))
    step = {"step": "15 deg", "lowest": "-30 deg", "highest": "30 deg"}
    document = {"format": "armcarry restraint 1", "title": "r", "urdf": "none", "mount": "mount", "plate": "plate",
                "settings": {name: {"joint": name, **step} for name in ("roll", "pitch", "yaw")}}
    body = Body("slab", "c", Box((0.4, 0.4, 0.04)), _at(z=0.03))
    links = ("a", "b", "c", "plate")
    return RestraintDocument.model_validate(document), _model("r", "mount", {}, [body], joints, links)


def _suit():
    """A trunk that leans at the hips, on boots; nothing else moves."""
    from armcarry.geometry.model import Body
    from armcarry.geometry.shapes import Box, Sphere

    frames = {"chest": _at(z=0.5), "visor": _at(0.2, z=0.75), "left_shoulder": _at(y=0.2, z=0.5),
              "right_shoulder": _at(y=-0.2, z=0.5), "left_glove": _at(0.45, 0.15, 0.4),
              "right_glove": _at(0.45, -0.15, 0.4), "hands": _at(0.45, z=0.4)}
    hips = _turning("hips", "boots", "trunk", _at(z=0.9), (0, 1, 0), 1.5)
    fixed = [
        replace(_turning(f"{name}_at", "trunk", name, pose, (0, 0, 1)), kind="fixed") for name, pose in frames.items()
    ]
    bodies = [Body("boots", "boots", Box((0.3, 0.3, 0.9)), _at(z=0.45)),
              Body("trunk", "trunk", Box((0.3, 0.5, 0.6)), _at(z=0.3)),
              Body("helmet", "trunk", Sphere(0.16), _at(z=0.75)), Body("glove", "left_glove", Sphere(0.06), _at())]
    document = {"format": "armcarry crew 1", "title": "suit", "boots": "boots", "chest": "chest", "visor": "visor",
                "sizes": {"plain": {"urdf": "none", "mass": "190 kg", "reach": {
                    "one_hand": "0.75 m", "two_hand": "0.70 m", "nearest": "0.25 m", "half_angle": "70 deg"}}},
                "postures": {"upright": {}, "leaning": {"hips": "20 deg"}},
                "shoulders": ["left_shoulder", "right_shoulder"], "gloves": ["left_glove", "right_glove"],
                "hands": "hands", "view_half_angle": "60 deg", "corridor": "1.1 m", "translation_speed": "0.1 m/s"}
    return document, _model("suit", "boots", {}, bodies, [hips, *fixed], ("trunk", *frames))


@pytest.fixture
def moving_record():
    """Build a record of one move from the coefficients of joints: each {joint: (c1, c2, ...)}, powers of seconds."""
    import numpy as np

    from armcarry.motion.curve import Motion
    from armcarry.record.record import MoveSpan, Record
    from armcarry.timeline.run import Phase

    def build(scene, joints, lasts_s=10.0, *, moves=None, load="rider", **more):
        table = np.zeros((1, 1 + max((len(powers) for powers in joints.values()), default=0), len(scene.position)))
        table[0, 0] = scene.position
        for joint, powers in joints.items():
            table[0, 1 : 1 + len(powers), scene.tree.column(joint)] = powers
        motion = Motion(scene.tree.joints, np.array([0.0, lasts_s]), table)
        swing = (MoveSpan("round", 1, "swing", "to_joints", 0.0, lasts_s, load),)
        return Record(scene, (Phase(0.0, lasts_s, scene.tree),), motion, swing if moves is None else moves, **more)

    return build


@pytest.fixture
def turning_record():
    """Build a record: the first joint turns at rate_rad_s for turning_s, then all stands for standing_s."""
    import numpy as np

    from armcarry.motion.curve import Motion
    from armcarry.record.record import MoveSpan, Record
    from armcarry.timeline.run import Phase

    def build(scene, rate_rad_s=0.02, turning_s=40.0, standing_s=20.0, pairs=(), relaxed=()):
        table = np.zeros((2, 2, len(scene.position)))
        table[:, 0] = scene.position
        column = scene.tree.column("arm/j1")
        table[0, 1, column] = rate_rad_s
        table[1, 0, column] += rate_rad_s * turning_s
        end = turning_s + standing_s
        motion = Motion(scene.tree.joints, np.array([0.0, turning_s, end]), table)
        moves = (
            MoveSpan("round", 1, "swing", "to_joints", 0.0, turning_s, "rider"),
            MoveSpan("round", 2, "wait", "hold", turning_s, end, "rider"),
        )
        return Record(scene, (Phase(0.0, end, scene.tree),), motion, moves, pairs=pairs, relaxed=relaxed)

    return build


@pytest.fixture(scope="session")
def pinocchio_engine():
    """Build an independent engine (kinematics by pinocchio, distances by coal) of a tree: see ``PinocchioEngine``."""
    pytest.importorskip("pinocchio")
    return PinocchioEngine


class PinocchioEngine:
    """A tree and pairs of its bodies in pinocchio and coal; shares no code with the package's own clearance."""

    def __init__(self, tree, pairs, tolerance=1e-9):
        import pinocchio as pin

        from armcarry.clearance.second_opinion import _coal_geometry

        self.pin, self.model, self.geometry = pin, pin.Model(), pin.GeometryModel()
        place = lambda T: pin.SE3(T[:3, :3], T[:3, 3])  # noqa: E731
        joint_of, offset_of, column_of = [], [], {}
        for row, up in enumerate(tree.parents):
            joint, offset = (0, pin.SE3.Identity()) if up < 0 else (joint_of[up], offset_of[up])
            offset = offset * place(tree.origins[row])
            if tree.kinds[row]:
                kind = pin.JointModelRevoluteUnaligned if tree.kinds[row] == 1 else pin.JointModelPrismaticUnaligned
                joint = self.model.addJoint(joint, kind(tree.axes[row]), offset, str(row))
                column_of[joint], offset = int(tree.columns[row]), pin.SE3.Identity()
            joint_of.append(joint)
            offset_of.append(offset)
        for body in tree.bodies:
            row = tree.index(body.link)
            at = offset_of[row] * place(body.pose)
            self.geometry.addGeometryObject(
                pin.GeometryObject(body.name, joint_of[row], at, _coal_geometry(body.shape))
            )
        for a, b in pairs:
            self.geometry.addCollisionPair(pin.CollisionPair(int(a), int(b)))
        self.data, self.results = self.model.createData(), pin.GeometryData(self.geometry)
        for request in self.results.distanceRequests:
            request.gjk_tolerance, request.gjk_max_iterations = tolerance, 1000
        ordered = sorted(column_of, key=lambda joint: self.model.joints[joint].idx_q)
        self.columns = [column_of[joint] for joint in ordered]

    def measure(self, q):
        """Compute all pairs at one joint vector in the order of tree.joints; read nothing out."""
        self.pin.computeDistances(self.model, self.data, self.geometry, self.results, q[self.columns])

    def some_distances(self, q, rows):
        """Return the distances of some pairs at one joint vector, asked one by one."""
        q = q[self.columns]
        self.pin.updateGeometryPlacements(self.model, self.data, self.geometry, self.results, q)
        ask = self.pin.computeDistance
        return [ask(self.geometry, self.results, row).min_distance for row in rows]

    def distances(self, q):
        """Return the distances of all pairs (P,) at one joint vector."""
        self.measure(q)
        return [result.min_distance for result in self.results.distanceResults]


#: a short run with every kind of move
SHORT = """
format: armcarry scenario 1
title: Short
purpose: every kind of move once
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
appendages: {radiator_port: stowed, radiator_star: stowed, solar_wing: edge_on}
restraint: {model: foot_restraint, at: arm, settings: {roll: 0 deg, pitch: 90 deg, yaw: 0 deg}}
crew:
  ev1: {posture: carry, at: arm}
hardware:
  pump_box: {model: pump_box, at: ev1/hands}
carries:
  - name: short
    moves:
      - {hold: 2 s, say: Ready}
      - {one_joint: {elbow_bend: 120 deg}, say: Elbow}
      - {posture: {who: ev1, posture: neutral, over: 4 s}}
      - {line: {frame: platform/keel, by: [0 m, 0 m, 0.2 m]}, name: up}
      - {appendage: {solar_wing: level}, name: wing}
      - name: leave
        detach: {what: pump_box, to: platform/keel}
      - {hold: 3 s}
"""


@pytest.fixture(scope="session")
def short_path(tmp_path_factory):
    path = tmp_path_factory.mktemp("short") / "short.yaml"
    path.write_text(SHORT)
    return path


@pytest.fixture(scope="session")
def short_run(short_path):
    from armcarry.rehearsal import judge, rehearse

    record = rehearse(short_path)
    return record, judge(record)


@pytest.fixture(scope="session")
def day_record(tmp_path_factory):
    """A short day with own words, flown but not proven."""
    from short_days import flown, short_day

    return flown(short_day(tmp_path_factory.mktemp("words")))
