import json
import shutil
import struct
import subprocess
from pathlib import Path

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.shapes import Sphere
from armcarry.views import gltf, kept_out, keys, palette
from armcarry.views.eyes import eyes
from armcarry.views.gltf import glb, write_glb
from armcarry.views.groups import rigid_groups
from armcarry.views.hooked import all_tethers, tether_ends_m
from armcarry.views.looks import MATERIALS, PEOPLE
from armcarry.views.meshes import triangles

NODE = Path(__file__).parent / "node"


class Scene:
    """A reader of our own for glTF 2.0 binaries, after the specification; plays the animation."""

    def __init__(self, data):
        magic, version, length = struct.unpack_from("<III", data, 0)
        assert (magic, version, length) == (0x46546C67, 2, len(data))
        size, kind = struct.unpack_from("<II", data, 12)
        assert kind == 0x4E4F534A and size % 4 == 0
        self.json = json.loads(data[20 : 20 + size])
        rest, kind = struct.unpack_from("<II", data, 20 + size)
        assert kind == 0x004E4942 and rest % 4 == 0
        self.binary = data[28 + size :]
        assert len(self.binary) == rest
        self.nodes = {node["name"]: k for k, node in enumerate(self.json["nodes"])}
        self.parent = {c: k for k, node in enumerate(self.json["nodes"]) for c in node.get("children", [])}

    def array(self, index):
        accessor = self.json["accessors"][index]
        view = self.json["bufferViews"][accessor["bufferView"]]
        dtype = {5126: "<f4", 5123: "<u2", 5125: "<u4"}[accessor["componentType"]]
        wide = {"SCALAR": 1, "VEC3": 3, "VEC4": 4}[accessor["type"]]
        flat = np.frombuffer(self.binary, dtype, accessor["count"] * wide, view["byteOffset"])
        return flat.reshape(-1, wide) if wide > 1 else flat

    def local(self, k, time_s):
        node = self.json["nodes"][k]
        place, turn = np.array(node.get("translation", [0, 0, 0])), np.array(node.get("rotation", [0, 0, 0, 1]))
        for animation in self.json.get("animations", []):
            for channel in animation["channels"]:
                if channel["target"]["node"] == k and channel["target"]["path"] != "scale":
                    value = self.sample(animation["samplers"][channel["sampler"]], time_s, channel["target"]["path"])
                    place, turn = (value, turn) if channel["target"]["path"] == "translation" else (place, value)
        return poses.from_quaternion_wxyz(np.roll(turn, 1), place)

    def sample(self, sampler, time_s, path):
        times, values = self.array(sampler["input"]).astype(float), self.array(sampler["output"]).astype(float)
        k = int(np.clip(np.searchsorted(times, time_s, side="right") - 1, 0, len(times) - 2))
        share = float(np.clip((time_s - times[k]) / (times[k + 1] - times[k]), 0, 1))
        if path == "translation":
            return (1 - share) * values[k] + share * values[k + 1]
        return slerp(values[k], values[k + 1], share)

    def scale(self, name, time_s):
        k = self.nodes[name]
        (found,) = [
            (animation["samplers"][channel["sampler"]], channel["target"]["path"])
            for animation in self.json["animations"] for channel in animation["channels"]
            if channel["target"] == {"node": k, "path": "scale"}
        ]  # fmt: skip
        return self.sample(found[0], time_s, "translation")

    def world(self, name, time_s):
        k = self.nodes[name]
        pose = self.local(k, time_s)
        while k in self.parent:
            k = self.parent[k]
            pose = self.local(k, time_s) @ pose
        return pose


def slerp(a, b, share):
    """Appendix C of the glTF 2.0 specification."""
    dot = a @ b
    angle = np.arccos(min(abs(dot), 1.0))
    if angle < 1e-9:
        return a
    return (np.sin(angle * (1 - share)) * a + np.sign(dot) * np.sin(angle * share) * b) / np.sin(angle)


@pytest.fixture(scope="module")
def scene(small_run):
    return Scene(glb(small_run[0]))


def validated(path):
    if shutil.which("node") is None or not (NODE / "node_modules").is_dir():
        pytest.skip("gltf-validator is not installed: npm ci --prefix tests/views/node")
    run = subprocess.run(["node", str(NODE / "validate.cjs"), str(path)], capture_output=True, text=True, check=True)
    return json.loads(run.stdout)["issues"]


def test_the_validator_finds_nothing(small_run, tmp_path):
    issues = validated(write_glb(small_run[0], tmp_path / "run.glb"))
    assert issues["messages"] == []
    assert issues["numErrors"] == issues["numWarnings"] == issues["numInfos"] == issues["numHints"] == 0


def test_the_validator_would_find_a_repeated_time(small_run, tmp_path, scene):
    data = bytearray(glb(small_run[0]))
    clock = scene.json["accessors"][scene.json["animations"][0]["samplers"][0]["input"]]
    start = len(data) - len(scene.binary) + scene.json["bufferViews"][clock["bufferView"]]["byteOffset"]
    data[start + 8 : start + 12] = data[start + 4 : start + 8]
    (tmp_path / "bad.glb").write_bytes(data)
    codes = {message["code"] for message in validated(tmp_path / "bad.glb")["messages"]}
    # gltf-validator 2.0.0-dev.3.10
    assert "ACCESSOR_ANIMATION_INPUT_NON_INCREASING" in codes


def test_slerp_goes_a_quarter_of_the_way():
    # 0 to 90 deg about z at a quarter is 22.5 deg (glTF 2.0, Appendix C)
    ends = poses.quaternion_wxyz(poses.rotation_about((0, 0, 1), np.radians([0.0, 90.0])))
    wanted = poses.quaternion_wxyz(poses.rotation_about((0, 0, 1), np.radians(22.5)))
    assert np.allclose(keys.between(ends[0], ends[1], 0.25), wanted)
    assert np.allclose(keys.between(ends[0], -ends[1], 0.25), wanted)
    assert np.allclose(slerp(ends[0], ends[1], 0.25), wanted)


def test_our_axes_become_those_of_gltf(scene):
    # x forward, y left, z up (REP 103) to z forward, x left, y up (glTF 2.0): (x, y, z) -> (y, z, x)
    root = scene.world("armcarry", 0.0)
    assert np.allclose(poses.apply(root, [[1.0, 2, 3]]), [[2, 3, 1]])
    assert np.linalg.det(root[:3, :3]) == pytest.approx(1.0)


def test_every_body_is_where_the_record_has_it_at_any_time(small_run, scene):
    record, _ = small_run
    root = scene.world("armcarry", 0.0)
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)]) * 0.5
    for time_s in [0.0, 74.99, 75.1, 540.0, *np.random.default_rng(3).uniform(0, 540, 12)]:
        truth = record.body_poses(time_s)[0]
        for k, body in enumerate(record.bodies):
            seen = poses.apply(scene.world(body.name, time_s), corners)
            assert np.abs(seen - poses.apply(root @ truth[k], corners)).max() < 3e-3, (body.name, time_s)


def test_key_frames_are_few_increasing_and_close(small_run):
    record, _ = small_run
    groups = tuple(group for group in rigid_groups(record) if group.moves)
    coarse, fine = (keys.key_frames(record, groups, tolerance) for tolerance in (2e-2, 5e-4))
    assert len(coarse.times_s) < len(fine.times_s) < 2000
    for chosen in (coarse, fine):
        assert np.all(np.diff(chosen.times_s.astype(np.float32)) > 0)
        assert np.all(np.einsum("kgi,kgi->kg", chosen.turn_wxyz[1:], chosen.turn_wxyz[:-1]) >= 0)
    assert {75.0, 75.001} <= set(fine.times_s.round(6))


def test_a_tether_is_a_rod_between_its_ends_while_it_is_hooked(hooked_run):
    scene = Scene(glb(hooked_run))
    root = scene.world("armcarry", 0.0)
    known = all_tethers(hooked_run)
    for time_s in (30.0, 61.0, 150.0, 240.0, 299.0, 330.0):
        for (what, to), ends in zip(known, tether_ends_m(hooked_run, time_s), strict=True):
            name = f"tether {what} to {to}"
            scale = scene.scale(name, time_s)
            assert np.isfinite(ends).all() == bool(scale.all()), (name, time_s)
            if scale.all():
                drawn = scene.world(name, time_s) @ np.array([[0, 0, -scale[2] / 2, 1], [0, 0, scale[2] / 2, 1]]).T
                np.testing.assert_allclose(drawn.T, (np.c_[ends, [1, 1]] @ root.T), atol=3e-3)
    assert scene.scale("tether blanket to ev1", 330.0).any() == 0  # it is unhooked by then
    assert scene.scale("tether ev1 to keel_port_5", 330.0).all()


def test_meshes_are_shared_and_stand_in_colours_as_light(small_run, scene):
    meshes, bodies = scene.json["meshes"], small_run[0].bodies
    assert len(meshes) < len(bodies) / 3
    assert sum("mesh" in node for node in scene.json["nodes"]) == len(bodies)
    (arm,) = materials_of(scene, "arm/boom_1")
    assert arm["pbrMetallicRoughness"]["baseColorFactor"][:3] == pytest.approx(palette.linear(palette.ORANGE))
    for material in scene.json["materials"]:
        made_of, surface = MATERIALS[material["name"].split()[0]], material["pbrMetallicRoughness"]
        assert (surface["metallicFactor"], surface["roughnessFactor"]) == (made_of.metallic, made_of.roughness)
    for node in scene.json["nodes"]:
        assert "matrix" not in node


def materials_of(scene, name):
    """The materials of a body."""
    mesh = scene.json["meshes"][scene.json["nodes"][scene.nodes[name]]["mesh"]]
    return [scene.json["materials"][primitive["material"]] for primitive in mesh["primitives"]]


def test_people_wear_their_bands_and_their_proven_bodies_come_on_demand(small_run, scene):
    worn = [m["pbrMetallicRoughness"]["baseColorFactor"][:3] for m in materials_of(scene, "ev1/helmet")]
    assert any(colour == pytest.approx(palette.linear(PEOPLE[0])) for colour in worn)
    assert not any(name.startswith("proven ") for name in scene.nodes)
    both = Scene(glb(small_run[0], proven=True))
    people = [body.name for body in small_run[0].bodies if body.name.startswith("ev1/")]
    assert [name for name in both.nodes if name.startswith("proven ")] == [f"proven {name}" for name in people]
    assert np.array_equal(both.world("proven ev1/helmet", 200.0), both.world("ev1/helmet", 200.0))


def test_cameras_look_where_the_eyes_look(small_run, scene):
    record, _ = small_run
    assert [eye.name for eye in eyes(record)] == ["ev1", "mast"]
    mast = next(camera for camera in scene.json["cameras"] if camera["name"] == "Mast camera")
    assert mast["perspective"]["yfov"] == pytest.approx(np.radians(40))
    assert mast["perspective"]["aspectRatio"] == pytest.approx(np.tan(np.radians(30)) / np.tan(np.radians(20)))
    root = scene.world("armcarry", 0.0)
    for eye in eyes(record):
        for time_s in (0.0, 300.0):
            tree, links = record.link_poses(time_s)
            truth = links[tree.index(eye.link)]
            seen = scene.world(f"camera {eye.name}", time_s)
            assert np.allclose(-seen[:3, 2], root[:3, :3] @ truth[:3, 0], atol=1e-3)  # looks along x
            assert np.allclose(seen[:3, 1], root[:3, :3] @ truth[:3, 2], atol=1e-3)  # z is up
            assert np.allclose(seen[:3, 3], (root @ truth)[:3, 3], atol=3e-3)


def test_another_reader_opens_it(small_run, tmp_path):
    trimesh = pytest.importorskip("trimesh")
    opened = trimesh.load(write_glb(small_run[0], tmp_path / "run.glb"))
    low, high = opened.bounds
    assert np.all(low < high) and high[2] - low[2] > 25  # forward is z now, and the yard is 30 m long


def test_rooms_of_the_platform_are_nodes_of_the_page_alone(small_run, monkeypatch):
    record, _ = small_run
    surface = triangles(Sphere(0.7), 12)
    link = next(body.link for body in record.bodies if body.name == "platform/wing_blanket")
    room = kept_out.DrawnRoom("plume", "plume: thruster", link, "#D55E00", surface, ((0.0, 9.0),))
    monkeypatch.setattr(gltf, "drawn_rooms", lambda record: (room,))
    own = Scene(glb(record, proven=True))
    k = own.nodes["room plume"]
    blanket = own.nodes["platform/wing_blanket"]
    assert own.parent[k] == own.parent[blanket]  # it goes with its frame
    local = next(body.pose for body in record.bodies if body.name == "platform/wing_blanket")
    assert np.allclose(own.local(k, 0.0) @ local, own.local(blanket, 0.0), atol=1e-6)
    assert "mesh" in own.json["nodes"][k] and "room plume" not in Scene(glb(record)).nodes
