"""Late stops flown by another engine: pybullet's rigid bodies with masses, joint brakes as limits of torque.

Ours brakes every joint evenly, each on its own. Here the arm's links with the masses of its URDF, and what it
carries with those of theirs, fixed to its tip, float without weight; the base is held. A brake's torque is what
gives its stated deceleration to the largest inertia that its joint turns alone, in the heaviest of many postures;
so it brakes faster in a lighter one. The joints pull on each other as masses do, so one may take longer than
stated, or give way while another brakes. What must be left after a late stop must be left over the flown way too,
looked at in steps.
"""

from __future__ import annotations

from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple
from xml.sax.saxutils import quoteattr

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.clearance.second_opinion import StopOpinion, bullet_client, silence
from armcarry.files.xml_text import Element, read_xml
from armcarry.geometry import poses
from armcarry.geometry.poses import Array
from armcarry.motion.chain import Chain
from armcarry.motion.forward import forward
from armcarry.record.record import Record
from armcarry.scene.build import ARM
from armcarry.scene.tree import WORLD
from armcarry.whatif.faults import Side, sides, windows
from armcarry.whatif.late_stop import run_outs

#: stops flown: so many of the longest run-outs and of the tightest, this far apart at least, s
STOPS, APART_S = 6, 5.0
#: postures of a flown way that are looked at
LOOKS = 40
#: time step of the engine, s, and longest way to rest
STEP_S, LONGEST_S = 1e-3, 120.0
#: a joint slower than this stands, rad/s or m/s
STANDS = 1e-5
#: postures drawn to find the heaviest
POSTURES = 400
_LOAD = "carried_load"


def fly_stops(record: Record) -> tuple[StopOpinion, ...]:
    """Return what pybullet makes of the longest and of the tightest run-outs of a run."""
    found = run_outs(record)
    moving = np.flatnonzero(found.runout_m > 0)
    cells = np.clip(np.searchsorted(found.cells_s, found.time_s[moving], side="right") - 1, 0, len(found.lower_m) - 1)
    times: list[float] = []
    for order in (np.argsort(found.lower_m[cells], kind="stable"), np.argsort(-found.runout_m[moving], kind="stable")):
        most = len(times) + STOPS
        for time in found.time_s[moving][order].tolist():
            if len(times) < most and all(abs(time - other) >= APART_S for other in times):
                times.append(time)
    return tuple(fly_stop(record, time) for time in sorted(times))


def fly_stop(record: Record, time_s: float) -> StopOpinion:
    """Fly one stop commanded at an instant: from when the brakes take hold to rest, LONGEST_S at most."""
    phase = record.phase_at(time_s)
    begun = min(time_s + record.scene.loaded.arm.document.reaction_time, phase.end_s)
    side = next(side for side in sides(record) if side.phase is phase)
    columns, limits = record.scene.arm_columns, record.scene.tree.joint_limits[record.scene.arm_columns]
    q, rate = record.motion.at(begun)[columns], record.motion.at(begun, 1, side="left")[columns]
    drawn = np.random.default_rng(0).uniform(limits[:, 0], limits[:, 1], (POSTURES, len(limits)))
    torque = side.brakes * turned_alone(record, time_s, drawn).max(axis=0)
    with silence(), Engine(record, time_s) as engine:
        times, flown = engine.brake(q, rate, torque)
    lasting = np.minimum(times[:, None], np.abs(rate) / side.brakes)
    ours = q + rate * lasting - np.sign(rate) * side.brakes * lasting**2 / 2
    tips = [_tip(record, time_s, vectors) for vectors in (flown, ours)]
    ways = [float(np.linalg.norm(np.diff(tip, axis=0), axis=1).sum()) for tip in tips]
    off = np.abs(flown - ours).max(axis=0)
    k = int(off.argmax())
    spare, names = _spare(side, begun, flown[np.linspace(0, len(flown) - 1, LOOKS).astype(int)])
    return StopOpinion(
        "pybullet", time_s, ways[0], ways[1], float(times[-1]), float(lasting.max()), record.scene.arm_joints[k],
        float(off[k]), spare, *names,
    )  # fmt: skip


def _spare(side: Side, time_s: float, vectors: Array) -> tuple[float, tuple[str, str]]:
    """Return the least distance beyond what must be left at joint positions (S, n), and of which two bodies."""
    tree, bodies = side.phase.tree, side.phase.tree.bodies
    window = next(window for window in windows(side) if window.start_s <= time_s <= window.end_s)
    judged = np.flatnonzero(~np.isnan(window.left_m))
    placed = forward(tree, _whole(side.record, time_s, vectors), [body.link for body in bodies])
    placed = placed @ np.stack([body.pose for body in bodies])
    gaps = distances([body.shape for body in bodies], placed, side.pairs[judged]).upper_m
    spare = np.maximum(gaps, 0.0) - window.left_m[judged]
    k = int(spare.min(axis=0).argmin())
    return float(spare[:, k].min()), side.names(int(judged[k]))


def _tip(record: Record, time_s: float, vectors: Array) -> Array:
    """Return where the tool is (S, 3) at joint positions of the arm (S, n), all else as at an instant."""
    tree = record.phase_at(time_s).tree
    return np.asarray(forward(tree, _whole(record, time_s, vectors), [record.scene.tool(tree)])[:, 0, :3, 3])


def _whole(record: Record, time_s: float, q: Array) -> Array:
    """Return joint positions of the arm (N, n) with those of all else at an instant."""
    whole = np.repeat(record.motion.at(time_s)[None], len(q), axis=0)
    whole[:, record.scene.arm_columns] = q
    return whole


class Engine:
    """The arm and its load in pybullet, weightless, its base held."""

    def __init__(self, record: Record, time_s: float) -> None:
        arm = record.scene.loaded.arm
        text = _written(read_xml(arm.path.parent / arm.document.urdf)[0], carried(record, time_s))
        self.engine, self.client = bullet_client()
        with TemporaryDirectory() as folder:
            path = Path(folder) / "arm.urdf"
            path.write_text(text, encoding="utf-8")
            flags = self.engine.URDF_USE_INERTIA_FROM_FILE
            self.body = self.engine.loadURDF(str(path), useFixedBase=True, flags=flags, physicsClientId=self.client)
        count = self.engine.getNumJoints(self.body, physicsClientId=self.client)
        infos = [self.engine.getJointInfo(self.body, k, physicsClientId=self.client) for k in range(count)]
        rows = {info[1].decode(): info[0] for info in infos}
        self.joints = [rows[name.split("/", 1)[1]] for name in record.scene.arm_joints]
        for row in range(-1, count):
            self.engine.changeDynamics(
                self.body, row, linearDamping=0, angularDamping=0, jointDamping=0, physicsClientId=self.client
            )

    def __enter__(self) -> Engine:
        return self

    def __exit__(self, *_: object) -> None:
        self.engine.removeBody(self.body, physicsClientId=self.client)

    def brake(self, q: Array, rate: Array, torque: Array) -> tuple[Array, Array]:
        """Return times (S,) and joint positions (S, n) from the start of braking to rest."""
        engine, client = self.engine, self.client
        engine.setGravity(0, 0, 0, physicsClientId=client)
        engine.setPhysicsEngineParameter(fixedTimeStep=STEP_S, numSolverIterations=200, physicsClientId=client)
        for row, at, speed_now in zip(self.joints, q.tolist(), rate.tolist(), strict=True):
            engine.resetJointState(self.body, row, at, speed_now, physicsClientId=client)
        engine.setJointMotorControlArray(
            self.body, self.joints, engine.VELOCITY_CONTROL, targetVelocities=[0.0] * len(q), forces=torque.tolist(),
            physicsClientId=client,
        )
        way, speed = [q], rate
        while np.abs(speed).max() > STANDS and len(way) * STEP_S < LONGEST_S:
            engine.stepSimulation(physicsClientId=client)
            state = np.array([pair[:2] for pair in engine.getJointStates(self.body, self.joints, client)])
            way.append(state[:, 0])
            speed = state[:, 1]
        return np.asarray(np.arange(len(way)) * STEP_S, dtype=np.float64), np.array(way)


class Mass(NamedTuple):
    """One mass: the link it is fixed to, kg, T_link_inertial (4, 4), inertia (3, 3) about its centre in kg m^2."""

    link: str
    mass: float
    at: Array
    inertia: Array


def turned_alone(record: Record, time_s: float, q: Array) -> Array:
    """Return the inertia (N, n) that each arm joint turns while the others hold, at joint positions (N, n).

    In kg m^2 about its axis, or kg where it slides, with what the arm carries at an instant.
    """
    tree, joints, columns = record.phase_at(time_s).tree, record.scene.arm_joints, record.scene.arm_columns
    whole = _whole(record, time_s, q)
    frames = Chain.of(tree, WORLD, record.scene.tool(tree), joints=joints, held=whole[0]).hats(q)
    result = np.zeros(q.shape)
    for item in (*_of_arm(record), *_of_load(record, time_s)):
        pose = forward(tree, whole, [item.link])[:, 0] @ item.at
        turned = pose[:, :3, :3] @ item.inertia @ np.swapaxes(pose[:, :3, :3], 1, 2)
        above = {int(tree.columns[row]) for row in tree.ancestry(item.link)}
        for k, column in enumerate(columns):
            if column in above:
                z, off = frames[k][:, :, 2], pose[:, :3, 3] - frames[k][:, :, 3]
                lever = np.sum(off * off, axis=1) - np.sum(off * z, axis=1) ** 2
                about = np.einsum("ni,nij,nj->n", z, turned, z) + item.mass * lever
                result[:, k] += about if tree.revolute[column] else item.mass
    return result


def _of_arm(record: Record) -> list[Mass]:
    arm = record.scene.loaded.arm
    return _inertials(read_xml(arm.path.parent / arm.document.urdf)[0], ARM)


def _of_load(record: Record, time_s: float) -> list[Mass]:
    """Return the masses of restraint, riders and hardware that hang from the arm at an instant."""
    tree, loaded = record.phase_at(time_s).tree, record.scene.loaded
    files: dict[str, Path] = {}
    files |= {name: item.path.parent / item.document.urdf for name, item in loaded.restraints.items()}
    files |= {name: crew.path.parent / crew.size.urdf for name, crew in loaded.crew.items()}
    files |= {name: item.path.parent / item.document.urdf for name, item in loaded.hardware.items()}
    hanging = [(name, path) for name, path in files.items() if tree.hangs_from(name, ARM)]
    return [item for name, path in hanging for item in _inertials(read_xml(path)[0], name)]


def carried(record: Record, time_s: float) -> Mass | None:
    """Return what the arm carries at an instant as one mass fixed to its tip; None where it carries nothing."""
    tree, placed = record.link_poses(time_s)
    hand = record.scene.arm_tip
    frame = poses.inverse(placed[tree.index(hand)])
    parts = [
        (item.mass, frame @ placed[tree.index(item.link)] @ item.at, item.inertia)
        for item in _of_load(record, time_s)
    ]
    total = sum(mass for mass, *_ in parts)
    if total <= 0:
        return None
    centre = sum((mass * pose[:3, 3] for mass, pose, _ in parts), np.zeros(3)) / total
    about = np.zeros((3, 3))
    for mass, pose, inertia in parts:
        off = pose[:3, 3] - centre
        about += pose[:3, :3] @ inertia @ pose[:3, :3].T + mass * (off @ off * np.eye(3) - np.outer(off, off))
    return Mass(hand, total, poses.translation(centre), about)


def _inertials(root: Element, owner: str) -> list[Mass]:
    """Return the mass of every link of a URDF that has one."""
    found = []
    for link in root.all("link"):
        for inertial in link.all("inertial"):
            mass = float(inertial.all("mass")[0].attributes["value"])
            origin = next((item.attributes for item in inertial.all("origin")), {})
            xyz, rpy = ([float(x) for x in origin.get(key, "0 0 0").split()] for key in ("xyz", "rpy"))
            tensor = inertial.all("inertia")[0].attributes
            table = [[float(tensor["i" + "".join(sorted(a + b))]) for b in "xyz"] for a in "xyz"]
            at = poses.from_xyz_rpy(xyz, rpy)
            found.append(Mass(f"{owner}/{link.attributes['name']}", mass, at, np.array(table)))
    return found


def _written(root: Element, load: Mass | None) -> str:
    """Write a URDF without its shapes, the load fixed to one of its links."""
    parts = [_tag(item) for item in root.all("joint")]
    massive = {item.link.split("/", 1)[1]: _inertial(item) for item in _inertials(root, ARM)}
    for link in root.all("link"):
        name = link.attributes["name"]
        parts.append(f"<link name={quoteattr(name)}>{massive.get(name, '')}</link>")
    if load is not None:
        parent = quoteattr(load.link.split("/", 1)[1])
        parts.append(
            f'<link name="{_LOAD}">{_inertial(load)}</link><joint name="{_LOAD}_mount" type="fixed">'
            f'<parent link={parent}/><child link="{_LOAD}"/></joint>'
        )
    return f'<robot name="arm">{"".join(parts)}</robot>'


def _inertial(item: Mass) -> str:
    """Write a mass turned to its principal axes: the engine wants no products of inertia."""
    moments, axes = np.linalg.eigh(item.inertia)
    axes *= np.sign(np.linalg.det(axes))
    turned = item.at.copy()
    turned[:3, :3] = item.at[:3, :3] @ axes
    table = " ".join(f'i{a}{a}="{moment!r}"' for a, moment in zip("xyz", moments.tolist(), strict=True))
    return (
        f'<inertial><origin xyz="{_numbers(turned[:3, 3])}" rpy="{_numbers(poses.rpy(turned))}"/>'
        f'<mass value="{item.mass!r}"/><inertia {table} ixy="0" ixz="0" iyz="0"/></inertial>'
    )


def _numbers(values: Array) -> str:
    return " ".join(map(repr, values.tolist()))


def _tag(item: Element) -> str:
    attributes = "".join(f" {key}={quoteattr(value)}" for key, value in item.attributes.items())
    return f"<{item.tag}{attributes}>{''.join(map(_tag, item.children))}</{item.tag}>"
