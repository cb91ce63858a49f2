"""Forward kinematics of every shipped URDF against two independent engines."""

from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from defusedxml.ElementTree import parse

from armcarry.files.urdf import read_urdf
from armcarry.motion.forward import forward
from armcarry.scene.tree import Tree

MODELS = Path(__file__).resolve().parents[2] / "models"
URDFS = sorted(MODELS.rglob("*.urdf"))


def drawn(tree, count=25):
    """Joint vectors over the travel, half a turn where there is none."""
    low, high = np.where(np.isfinite(tree.joint_limits), tree.joint_limits, [-np.pi, np.pi]).T
    return np.random.default_rng(4).uniform(low, high, (count, len(tree.joints)))


def test_there_are_models():
    assert len(URDFS) >= 5


@pytest.mark.parametrize("path", URDFS, ids=lambda path: path.stem)
def test_against_pinocchio(path):
    pinocchio = pytest.importorskip("pinocchio")
    tree = Tree().place("it", read_urdf(path))
    model = pinocchio.buildModelFromUrdf(str(path))
    data = model.createData()
    order = [tree.column(f"it/{name}") for name in model.names[1:]]
    assert sorted(order) == list(range(len(tree.joints)))
    frames = {frame.name: k for k, frame in enumerate(model.frames) if frame.type == pinocchio.FrameType.BODY}
    q = drawn(tree)
    ours = forward(tree, q)
    checked = 0
    for row, vector in enumerate(q):
        pinocchio.framesForwardKinematics(model, data, _expand(model, vector[order]))
        for link, k in frames.items():
            np.testing.assert_allclose(ours[row, tree.index(f"it/{link}")], data.oMf[k].homogeneous, atol=1e-9)
            checked += 1
    assert checked >= len(q) * (len(tree.links) - 1)


def _expand(model, values):
    """Pinocchio's configuration: a continuous joint is its cosine and sine."""
    parts = [[np.cos(v), np.sin(v)] if model.nqs[k + 1] == 2 else [v] for k, v in enumerate(values)]
    return np.concatenate(parts) if parts else np.zeros(0)


def _parts(path, folder, most=100):
    """Yield URDF files that together hold every link: pybullet reads link states of at most 128 joints.

    Each holds some links and all links between them and the root; shapes are left out.
    """
    root = parse(path).getroot()
    joints = {joint.find("child").get("link"): joint for joint in root.findall("joint")}
    lines = []
    for link in root.findall("link"):
        line, name = [], link.get("name")
        while name in joints:
            line.append(name)
            name = joints[name].find("parent").get("link")
        lines.append((line, name))
    kept: set[str] = set()
    for k, (line, top) in enumerate(lines):
        kept |= set(line)
        last = k + 1 == len(lines)
        if kept and (last or len(kept | set(lines[k + 1][0])) > most):
            part = ElementTree.Element("robot", name="part")
            for name in (top, *kept):
                ElementTree.SubElement(part, "link", name=name)
            part.extend(joints[name] for name in kept)
            ElementTree.ElementTree(part).write(folder / f"part{k}.urdf")
            yield folder / f"part{k}.urdf"
            kept = set()


@pytest.mark.parametrize("path", URDFS, ids=lambda path: path.stem)
def test_against_pybullet(path, tmp_path):
    pybullet = pytest.importorskip("pybullet")
    tree = Tree().place("it", read_urdf(path))
    q = drawn(tree, 8)
    ours = forward(tree, q)
    client = pybullet.connect(pybullet.DIRECT)
    seen: set[str] = set()
    try:
        for part in _parts(path, tmp_path):
            body = pybullet.loadURDF(str(part), useFixedBase=True, physicsClientId=client)
            infos = [pybullet.getJointInfo(body, k, client) for k in range(pybullet.getNumJoints(body, client))]
            for vector, poses in zip(q, ours, strict=True):
                for info in infos:
                    if (name := f"it/{info[1].decode()}") in tree.joints:
                        pybullet.resetJointState(body, info[0], vector[tree.column(name)], physicsClientId=client)
                for info in infos:
                    seen.add(link := f"it/{info[12].decode()}")
                    state = pybullet.getLinkState(body, info[0], computeForwardKinematics=True, physicsClientId=client)
                    turned = np.array(pybullet.getMatrixFromQuaternion(state[5])).reshape(3, 3)
                    np.testing.assert_allclose(poses[tree.index(link), :3, 3], state[4], atol=1e-6)
                    np.testing.assert_allclose(poses[tree.index(link), :3, :3], turned, atol=1e-6)
    finally:
        pybullet.disconnect(client)
    assert len(seen) == len(tree.links) - 2  # all but the world and the root
