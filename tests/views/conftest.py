"""A small made-up carry, complete enough for every view: truss, arm, restraint, rider, pump box, clearances by coal."""

from __future__ import annotations

import itertools
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.files.documents.arm import ArmDocument
from armcarry.files.documents.bodies import CrewDocument, HardwareDocument, RestraintDocument
from armcarry.files.documents.platform import PlatformDocument
from armcarry.files.documents.rules import RulesDocument
from armcarry.files.documents.scenario import ScenarioDocument
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere
from armcarry.motion.curve import Motion
from armcarry.record.finding import ClearanceDetail, Finding, Verdict
from armcarry.record.record import Curve, Event, MoveSpan, PairRow, Phase, Record
from armcarry.scene.build import build_scene, hang
from short_days import flown

_RATES = {
    "joint_rate": {"default": "2 deg/s"},
    "joint_acceleration": {"default": "0.3 deg/s^2"},
    "brake_deceleration": {"default": "1 deg/s^2"},
    "tip_speed": "0.3 m/s",
}
_UP = (0.0, np.pi / 2, 0.0)


def _platform() -> Model:
    bodies, joints, links = [], [], ["hull"]

    def frame(name, xyz, rpy=(0, 0, 0), parent="hull"):
        links.append(name)
        joints.append(Joint(name + "_fix", "fixed", parent, name, poses.from_xyz_rpy(xyz, rpy)))

    for bay in range(8):
        x = -12 + 3.0 * bay
        for y, z in itertools.product((-1, 1), (-1, 1)):
            name = f"bay_{bay}_longeron_{y}_{z}".replace("-", "m")
            bodies.append(Body(name, "hull", Capsule(0.06, 3.0), poses.from_xyz_rpy((x + 1.5, y, z), _UP)))
        bodies.append(Body(f"bay_{bay}_batten", "hull", Capsule(0.05, 2.0), poses.from_xyz_rpy((x, 1, 0), (0, 0, 0))))
        bodies.append(Body(f"bay_{bay}_panel", "hull", Box((2.6, 0.1, 1.8)), poses.translation((x + 1.5, -1.0, 0))))
    bodies.append(Body("module", "hull", Cylinder(2.0, 7.0), poses.from_xyz_rpy((-16, 0, 0), _UP)))
    cone = np.array([[np.cos(a) * r, np.sin(a) * r, z] for a in np.arange(0, 6.2, 0.5) for r, z in ((2, 0), (1, 1))])
    bodies.append(Body("module_cone", "hull", ConvexMesh.hull_of(cone), poses.from_xyz_rpy((-12.5, 0, 0), _UP)))
    links.append("wing")
    joints.append(
        Joint("wing_turn", "revolute", "hull", "wing", poses.translation((4, 1.2, 0)), np.array([0, 1.0, 0]), -3, 3)
    )
    bodies.append(Body("wing_blanket", "wing", Box((2.5, 6.0, 0.05)), poses.translation((0, 3.4, 0))))
    frame("mount", (0, 0, 1.1))
    frame("bay_1_stand", (-7, 0.2, 3.2))
    frame("bay_6_stand", (8, 0.0, 3.3), (0, 0, 0))
    frame("bay_6_work", (9.1, 0, 2.6))
    frame("rack_seat", (-6.1, 0.2, 3.6))
    frame("mast_eye", (-10, 0, 6), (0, 0.3, 0))
    frame("rail_a", (5, -0.9, 1.1))
    frame("rail_b", (9, -0.9, 1.1))
    return Model("yard", "hull", tuple(links), tuple(joints), tuple(bodies))


def _arm() -> Model:
    y, z, x = np.eye(3)[1], np.eye(3)[2], np.eye(3)[0]
    turn = np.radians(270)
    rows = [
        ("shoulder_yaw", z, (0, 0, 0.3)),
        ("shoulder_pitch", y, (0, 0.4, 0.4)),
        ("shoulder_roll", x, (0.4, 0, 0)),
        ("elbow", y, (6.6, -0.4, 0)),
        ("wrist_pitch", y, (7.0, 0.3, 0)),
        ("wrist_yaw", z, (0.4, 0, 0)),
        ("wrist_roll", x, (0.4, 0, 0)),
    ]
    links, joints, parent = ["base"], [], "base"
    for name, axis, xyz in rows:
        links.append(name + "_link")
        joints.append(Joint(name, "revolute", parent, name + "_link", poses.translation(xyz), axis, -turn, turn, 0.1))
        parent = name + "_link"
    links.append("tip")
    joints.append(Joint("tip_fix", "fixed", parent, "tip", poses.from_xyz_rpy((0.5, 0, 0), (0, np.pi / 2, 0))))
    bodies = [
        Body("shoulder", "base", Cylinder(0.3, 0.6), poses.translation((0, 0, 0.3)), "arm"),
        Body("boom_1", "shoulder_roll_link", Capsule(0.2, 6.2), poses.from_xyz_rpy((3.2, 0, 0), _UP), "arm"),
        Body("elbow_hub", "elbow_link", Sphere(0.32), poses.identity(), "arm"),
        Body("boom_2", "elbow_link", Capsule(0.18, 6.4), poses.from_xyz_rpy((3.4, 0.3, 0), _UP), "arm"),
        Body("wrist", "wrist_yaw_link", Cylinder(0.2, 0.8), poses.from_xyz_rpy((0.1, 0, 0), _UP), "arm"),
    ]
    return Model("crane", "base", tuple(links), tuple(joints), tuple(bodies))


def _crew() -> Model:
    names = ["boots", "chest", "visor", "shoulder_left", "shoulder_right", "glove_left", "glove_right", "hands"]
    at = [
        (0, 0, 0),
        (0, 0, 1.2),
        (0.2, 0, 1.65),
        (0, 0.25, 1.4),
        (0, -0.25, 1.4),
        (0.6, 0.2, 1.2),
        (0.6, -0.2, 1.2),
        (0.65, 0, 1.2),
    ]
    joints = [Joint(n + "_fix", "fixed", "body", n, poses.translation(p)) for n, p in zip(names, at, strict=True)]
    bodies = [
        Body("torso", "body", Box((0.4, 0.55, 0.7)), poses.translation((0, 0, 1.15)), "rider"),
        Body("helmet", "body", Sphere(0.2), poses.translation((0.05, 0, 1.65)), "rider"),
        Body("pack", "body", Box((0.25, 0.6, 0.9)), poses.translation((-0.32, 0, 1.2)), "rider"),
        Body("legs", "body", Capsule(0.2, 0.5), poses.translation((0, 0, 0.45)), "rider"),
        Body("arm_left", "body", Capsule(0.08, 0.5), poses.from_xyz_rpy((0.3, 0.22, 1.3), (0, 1.8, 0)), "rider"),
        Body("arm_right", "body", Capsule(0.08, 0.5), poses.from_xyz_rpy((0.3, -0.22, 1.3), (0, 1.8, 0)), "rider"),
    ]
    return Model("suited", "body", ("body", *names), tuple(joints), tuple(bodies))


def _box() -> Model:
    return Model(
        "pump_box",
        "base",
        ("base", "handhold"),
        (Joint("h", "fixed", "base", "handhold", poses.translation((-0.4, 0, 0))),),
        (Body("case", "base", Box((0.7, 0.5, 0.6)), poses.identity(), "hardware"),),
    )


def _restraint() -> Model:
    joints = (
        Joint("pitch", "revolute", "mount", "swivel", poses.translation((0, 0, 0.2)), np.array([0, 1.0, 0]), -2, 2),
        Joint("p", "fixed", "swivel", "plate", poses.translation((0, 0, 0.1))),
    )
    return Model(
        "restraint",
        "mount",
        ("mount", "swivel", "plate"),
        joints,
        (Body("plate", "plate", Box((0.4, 0.4, 0.04)), poses.translation((0, 0, -0.03)), "arm"),),
    )


def _loaded() -> SimpleNamespace:
    platform = PlatformDocument.model_validate(
        {
            "title": "Small yard",
            "format": "armcarry platform 1",
            "urdf": "yard.urdf",
            "mounts": {"keel": {"frame": "mount"}},
            "worksites": {
                "bay_1": {"title": "Bay 1 rack", "stand": "bay_1_stand"},
                "bay_6": {
                    "title": "Bay 6 <seat & rail>",
                    "stand": "bay_6_stand",
                    "work_points": {"seat": "bay_6_work"},
                    "handrail": "south",
                },
            },
            "seats": {"rack": {"frame": "rack_seat", "accepts": ["pump_box"]}},
            "handrails": {"south": {"start": "rail_a", "end": "rail_b"}},
            "cameras": {
                "mast": {
                    "frame": "mast_eye",
                    "title": "Mast camera",
                    "horizontal_view": "60 deg",
                    "vertical_view": "40 deg",
                }
            },
        }
    )
    joints = ["shoulder_yaw", "shoulder_pitch", "shoulder_roll", "elbow", "wrist_pitch", "wrist_yaw", "wrist_roll"]
    arm = ArmDocument.model_validate(
        {
            "title": "Crane",
            "format": "armcarry arm 1",
            "urdf": "crane.urdf",
            "base": "base",
            "tip": "tip",
            "joints": joints,
            "home": {"shoulder_pitch": "-60 deg", "elbow": "110 deg"},
            "loads": {"free": _RATES, "rider": _RATES, "rider_and_hardware": _RATES},
            "reaction_time": "1 s",
            "detection_time": "0.5 s",
            "characteristic_length": "5 m",
            "tip_positioning": "5 cm",
        }
    )
    reach = {"one_hand": "0.7 m", "two_hand": "0.6 m", "nearest": "0.2 m", "half_angle": "60 deg"}
    crew = CrewDocument.model_validate(
        {
            "title": "Suited",
            "format": "armcarry crew 1",
            "sizes": {"medium": {"urdf": "s.urdf", "mass": "200 kg", "reach": reach}},
            "postures": {"neutral": {}},
            "boots": "boots",
            "chest": "chest",
            "visor": "visor",
            "shoulders": ["shoulder_left", "shoulder_right"],
            "gloves": ["glove_left", "glove_right"],
            "hands": "hands",
            "view_half_angle": "60 deg",
            "corridor": "1 m",
            "translation_speed": "0.2 m/s",
        }
    )
    hardware = HardwareDocument.model_validate(
        {
            "title": "Pump box",
            "format": "armcarry hardware 1",
            "urdf": "p.urdf",
            "mass": "80 kg",
            "base": "base",
            "handhold": "handhold",
        }
    )
    restraint = RestraintDocument.model_validate(
        {
            "title": "Foot restraint",
            "format": "armcarry restraint 1",
            "urdf": "r.urdf",
            "mount": "mount",
            "plate": "plate",
            "settings": {"pitch": {"joint": "pitch", "step": "15 deg", "lowest": "-90 deg", "highest": "90 deg"}},
        }
    )
    rules = RulesDocument.model_validate(
        {
            "title": "Rules",
            "format": "armcarry rules 1",
            "report_distance": "3 m",
            "required": [
                {"between": ["arm", "structure"], "distance": "0.6 m"},
                {"between": ["rider", "structure"], "distance": "0.5 m"},
                {"between": ["hardware", "structure"], "distance": "0.3 m"},
            ],
            "relaxation": {"longest": "10 min", "least": "5 cm", "reach": "3 m"},
            "slow_within": "3 m",
            "margins": {"joint_position": "10 deg", "smallest_singular_value": 0.05},
            "stop_remainder": "0.1 m",
            "rider_tip_speed": "0.3 m/s",
            "safe_return": "30 min",
            "budget": {
                "positioning": {"title": "Arm positioning", "amount": "5 cm", "applies_to": ["arm", "rider"]},
                "thermal": {"title": "Thermal growth", "amount": "1 cm", "applies_to": ["structure"]},
            },
        }
    )
    scenario = ScenarioDocument.model_validate(
        {
            "title": "Small carry <script>alert(1)</script>",
            "format": "armcarry scenario 1",
            "purpose": "Show every view.",
            "platform": "yard",
            "arm": "crane",
            "rules": "rules",
            "base": {"mount": "keel"},
            "restraint": {"at": "arm", "settings": {"pitch": "30 deg"}},
            "crew": {"ev1": {"posture": "neutral", "at": "arm"}},
            "hardware": {"pump_box": {"model": "pump_box", "at": "platform/rack_seat"}},
            "start": {"shoulder_yaw": "160 deg"},
        }
    )
    both = lambda document, model: SimpleNamespace(document=document, model=model, path=Path("x.yaml"))  # noqa: E731
    foot = both(restraint, _restraint())
    return SimpleNamespace(
        scenario=scenario,
        path="small.yaml",
        platform=both(platform, _platform()),
        vehicle_model=None,
        arm=both(arm, _arm()),
        restraint=foot,
        restraints={"restraint": foot},
        crew={"ev1": SimpleNamespace(document=crew, size=crew.sizes["medium"], model=_crew())},
        hardware={"pump_box": both(hardware, _box())},
        rules=rules,
        inputs=(SimpleNamespace(role_path="scenario.yaml", path="small.yaml", bytes=b"", sha256="ab" * 32),),
        assumptions=(SimpleNamespace(file="rules.yaml", key="required", text="invented"),),
    )


_STOPS_DEG = [
    (160, -80, 0, 110, -60, 0, 0),
    (172, -64, 0, 104, -60, 0, 0),
    (172, -64, 0, 104, -60, 0, 0),
    (60, -72, 20, 90, -40, 0, 0),
    (-4, -59, 0, 108, -62, 6, 0),
    (-4, -59, 0, 108, -62, 6, 0),
]
_TIMES_S = [0.0, 60.0, 90.0, 330.0, 480.0, 540.0]


def _motion(scene) -> Motion:
    """Rest to rest cubics between the stops."""
    count = len(scene.tree.joints)
    table = np.zeros((len(_TIMES_S) - 1, 4, count))
    for k, (start, end) in enumerate(itertools.pairwise(_STOPS_DEG)):
        h = _TIMES_S[k + 1] - _TIMES_S[k]
        table[k, 0] = scene.position
        delta = np.radians(np.subtract(end, start))
        table[k, 0, scene.arm_columns] = np.radians(start)
        table[k, 2, scene.arm_columns] = 3 * delta / h**2
        table[k, 3, scene.arm_columns] = -2 * delta / h**3
    return Motion(scene.tree.joints, np.array(_TIMES_S), table)


def _coal_shape(coal, shape):
    match shape:
        case Sphere(r):
            return coal.Sphere(r)
        case Capsule(r, h):
            return coal.Capsule(r, h)
        case Box(size):
            return coal.Box(*size)
        case Cylinder(r, h):
            return coal.Cylinder(r, h)
    points = coal.StdVec_Vec3s()
    for vertex in shape.vertices_m:
        points.append(vertex)
    return coal.Convex.convexHull(points, False, "")


def _pairs(scene, record: Record):
    """Sample the distance of every moving body against every platform body each two seconds."""
    coal = pytest.importorskip("coal")
    bodies, times = record.bodies, np.arange(0.0, record.duration_s + 1, 2.0)
    pose = record.body_poses(times)
    classes = scene.body_classes(record.phases[1].tree)
    mine = [k for k, c in enumerate(classes) if c in ("arm", "rider", "hardware")]
    theirs = [k for k, c in enumerate(classes) if c == "structure" and not bodies[k].name.startswith("restraint")]
    mine = [k for k in mine if not bodies[k].name.startswith("arm/shoulder")]
    shapes = [_coal_shape(coal, body.shape) for body in bodies]
    request, rows = coal.DistanceRequest(), []
    least = {name: np.full(len(times), np.inf) for name in ("arm", "rider", "hardware")}
    rule = {"arm": 0.6, "rider": 0.5, "hardware": 0.3}
    move = lambda T: coal.Transform3s(T[:3, :3].copy(), T[:3, 3].copy())  # noqa: E731
    for i in mine:
        for j in theirs:
            found = []
            for k in range(len(times)):
                result = coal.DistanceResult()
                d = coal.distance(shapes[i], move(pose[k, i]), shapes[j], move(pose[k, j]), request, result)
                found.append((d, times[k], tuple(result.getNearestPoint1()), tuple(result.getNearestPoint2())))
            least[classes[i]] = np.minimum(least[classes[i]], [f[0] for f in found])
            d, t, a, b = min(found)
            status = "proven" if d < 3 else "farther"
            rows.append(
                PairRow(
                    bodies[i].name,
                    bodies[j].name,
                    classes[i],
                    classes[j],
                    0.0,
                    record.duration_s,
                    rule[classes[i]],
                    "rule",
                    status,
                    d - 5e-4,
                    d,
                    float(t),
                    tuple(map(float, a)),
                    tuple(map(float, b)),
                )
            )
    curves = []
    for name, values in least.items():
        low, high = np.minimum(values[:-1], values[1:]), np.maximum(values[:-1], values[1:])
        curves.append(Curve(f"{name} to structure", rule[name], times, low - 0.02, high))
    return tuple(rows), tuple(curves)


def _findings(record: Record) -> tuple[Finding, ...]:
    rows = sorted((r for r in record.pairs if r.status != "farther"), key=lambda r: r.margin_m)[:4]
    result = []
    for row in rows:
        bad = row.margin_m < 0
        detail = ClearanceDetail(row.lower_m, row.upper_m, row.required_m, row.time_s, row.point_a, row.point_b)
        result.append(
            Finding(
                "clearance",
                Verdict.FAIL if bad else Verdict.PASS,
                row.body_a,
                other=row.body_b,
                message=f"{row.body_a} comes within {row.lower_m:.3f} m of {row.body_b}",
                start_s=row.time_s - 5,
                end_s=row.time_s + 5,
                value=row.lower_m,
                limit=row.required_m,
                unit="m",
                remedy="slow down or start from the other elbow" if bad else "",
                clearance=detail,
            )
        )
    result.append(
        Finding(
            "joint_margin",
            Verdict.PASS,
            "arm/elbow",
            "elbow keeps 160 deg",
            value=2.8,
            limit=0.17,
            unit="rad",
            start_s=60,
            end_s=60,
        )
    )
    result.append(Finding("camera", Verdict.NOT_ASSESSED, "arm/tip", "no camera was asked for <b>here</b>"))
    return tuple(result)


@pytest.fixture(scope="session")
def small_run():
    """A record and its findings."""
    scene = build_scene(_loaded())
    motion = _motion(scene)
    held = hang(scene, scene.tree, "pump_box", "ev1/hands", scene.position)
    phases = (Phase(0.0, 75.0, scene.tree), Phase(75.0, 540.0, held))
    moves = (
        MoveSpan("fetch", 1, "", "to_joints", 0.0, 60.0, "rider", "Rider goes to the rack", "to the rack"),
        MoveSpan("fetch", 2, "grab_box", "attach", 75.0, 75.0, "rider", "Pump box in hand <now>"),
        MoveSpan("fetch", 3, "", "hold", 60.0, 90.0, "rider", "", "hold"),
        MoveSpan("carry", 1, "swing", "to_joints", 90.0, 330.0, "rider_and_hardware", "Round the yard to bay 6"),
        MoveSpan(
            "carry", 2, "approach", "line", 330.0, 480.0, "rider_and_hardware", "Down to the seat"
        ),
        MoveSpan("carry", 3, "", "hold", 480.0, 540.0, "rider_and_hardware", "Seat the box"),
    )
    events = (Event(75.0, "attach", "pump_box", "ev1/hands", 0.01, 0.0),)
    bare = Record(scene, phases, motion, moves, events)
    pairs, curves = _pairs(scene, bare)
    record = Record(scene, phases, motion, moves, events, pairs=pairs, curves=curves)
    return record, _findings(record)


HOOKED = """
format: armcarry scenario 1
title: hooked
purpose: to test what views say of hands and tethers
platform: tern_yard
arm: heron
rules: tern_yard
base: {mount: trolley, station: 11 m}
crew: {ev1: {posture: carry, at: platform/bay_5_stand}}
hardware: {blanket: {model: thermal_blanket, at: platform/bay_5_seat}}
day:
  steps:
    - {name: safe, actors: [ev1], tether: {to: keel_port_5}, takes: 1 min}
    - {name: hook, actors: [ev1], tether: {what: blanket}, takes: 1 min}
    - {name: take, actors: [ev1], take: {what: blanket}, takes: 1 min}
    - {name: put, actors: [ev1], seat: {what: blanket, into: bay_5_seat}, takes: 1 min}
    - {name: free, actors: [ev1], untether: {what: blanket}, takes: 1 min}
    - {name: rest, actors: [ev1], note: rest, takes: 1 min}
"""


@pytest.fixture(scope="session")
def hooked_run(tmp_path_factory):
    """A day of one worker, hooked to a handrail, who hooks, takes and puts back a blanket."""
    path = tmp_path_factory.mktemp("hooked") / "hooked.yaml"
    path.write_text(HOOKED)
    return flown(path)
