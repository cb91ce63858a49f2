"""URDF to Model: what is read, the defaults of the format, agreement with other readers, and every refusal."""

import math
import sys

import numpy as np
import pytest

from armcarry.errors import InputError, InputErrors
from armcarry.files.urdf import open_urdf, read_urdf
from armcarry.geometry import poses
from armcarry.geometry.shapes import Box, Capsule, ConvexMesh, Cylinder, Sphere

LIMIT = '<limit lower="-1" upper="2" effort="1" velocity="3"/>'
CUBE_OBJ = """# a cube of 1 m, quads, corners counter-clockwise from outside
v 0 0 0
v 1 0 0
v 1 1 0
v 0 1 0
v 0 0 1
v 1 0 1
v 1 1 1
v 0 1 1
f 4 3 2 1
f 5 6 7 8
f 1 2 6 5
f 2 3 7 6
f 3 4 8 7
f 4 1 5 8
"""


def robot(*lines: str, name: str = "r") -> str:
    return "\n".join([f'<robot name="{name}">', *lines, "</robot>"])


def two(joint: str, inner: str = "", attributes: str = 'name="j"') -> str:
    """A robot of two links and one joint of a type, its inner elements on lines of their own."""
    return robot(
        '<link name="a"/>',
        '<link name="b"/>',
        f'<joint {attributes} type="{joint}">',
        '<parent link="a"/>',
        '<child link="b"/>',
        inner,
        "</joint>",
    )


def shape(text: str, before: str = "", name: str = "") -> str:
    return robot(f'<link name="a"><collision{name}>{before}<geometry>', text, "</geometry></collision></link>")


@pytest.fixture
def write(tmp_path):
    def put(text: str):
        path = tmp_path / "m.urdf"
        path.write_text(text)
        return path

    return put


# -- what is read -----------------------------------------------------------------------------------------


def test_the_defaults_are_those_of_the_format(write):
    # ros/urdfdom, xsd/urdf.xsd and urdf_parser/src/joint.cpp: axis (1, 0, 0), origin zero, lower and upper 0
    model = read_urdf(write(two("revolute", '<limit effort="1" velocity="1"/>')))
    (joint,) = model.joints
    assert np.array_equal(joint.axis, [1.0, 0.0, 0.0])
    assert np.array_equal(joint.origin, np.eye(4))
    assert (joint.lower, joint.upper) == (0.0, 0.0)


def test_joint_kinds_and_limits(write):
    (joint,) = read_urdf(write(two("revolute", LIMIT))).joints
    assert (joint.kind, joint.lower, joint.upper, joint.velocity) == ("revolute", -1.0, 2.0, 3.0)
    (joint,) = read_urdf(write(two("prismatic", LIMIT))).joints
    assert (joint.kind, joint.lower, joint.upper) == ("prismatic", -1.0, 2.0)
    (joint,) = read_urdf(write(two("continuous"))).joints
    assert (joint.kind, joint.lower, joint.upper, joint.velocity) == ("revolute", -np.inf, np.inf, np.inf)
    (joint,) = read_urdf(write(two("continuous", LIMIT))).joints
    assert (joint.lower, joint.upper, joint.velocity) == (-np.inf, np.inf, 3.0)
    model = read_urdf(write(two("fixed", LIMIT)))
    assert model.joints[0].kind == "fixed"
    assert model.movable() == ()


def test_axes_become_unit_axes(write):
    (joint,) = read_urdf(write(two("continuous", '<axis xyz="0 3 4"/>'))).joints
    assert np.allclose(joint.axis, [0.0, 0.6, 0.8], atol=1e-15)


def test_origins_are_metres_and_fixed_axis_roll_pitch_yaw(write):
    # REP 103: rotations about the fixed axes X, Y, Z in this order
    (joint,) = read_urdf(write(two("fixed", '<origin xyz="1 2 3" rpy="0.1 0.2 0.3"/>'))).joints
    turn = (
        poses.rotation_about((0, 0, 1), 0.3)
        @ poses.rotation_about((0, 1, 0), 0.2)
        @ poses.rotation_about((1, 0, 0), 0.1)
    )
    assert np.allclose(joint.origin[:3, :3], turn[:3, :3], atol=1e-15)
    assert np.array_equal(joint.origin[:3, 3], [1.0, 2.0, 3.0])


def test_shapes(write, tmp_path):
    (tmp_path / "cube.obj").write_text(CUBE_OBJ)
    text = robot(
        '<link name="a">',
        '<collision name="one"><geometry><box size="1 2 3"/></geometry></collision>',
        '<collision><origin xyz="0 0 1"/><geometry><sphere radius="0.5"/></geometry></collision>',
        '<collision><geometry><cylinder radius="0.5" length="2"/></geometry></collision>',
        '<collision name="four"><geometry><capsule radius="0.25" length="2"/></geometry></collision>',
        '<collision><geometry><mesh filename="package://any/cube.obj" scale="1 1 2"/></geometry></collision>',
        "</link>",
    )
    bodies = read_urdf(write(text), {"arm": ["one"], "vehicle": ["a_*"]}, "hardware").bodies
    assert [body.name for body in bodies] == ["one", "a_2", "a_3", "four", "a_5"]
    assert [body.body_class for body in bodies] == ["arm", "vehicle", "vehicle", "hardware", "vehicle"]
    assert [body.shape for body in bodies[:4]] == [
        Box((1.0, 2.0, 3.0)),
        Sphere(0.5),
        Cylinder(0.5, 2.0),
        Capsule(0.25, 2.0),
    ]
    assert np.array_equal(bodies[1].pose[:3, 3], [0.0, 0.0, 1.0])
    mesh = bodies[4].shape
    assert isinstance(mesh, ConvexMesh)
    assert np.array_equal(mesh.vertices_m.max(axis=0), [1.0, 1.0, 2.0])
    assert len(mesh.vertices_m) == 8


def test_a_single_body_takes_the_name_of_its_link(write):
    assert read_urdf(write(shape('<sphere radius="1"/>'))).bodies[0].name == "a"


def test_colours_come_from_the_visual_of_the_same_geometry(write):
    text = robot(
        '<material name="red"><color rgba="1 0 0 1"/></material>',
        '<link name="a">',
        '<visual><geometry><sphere radius="2"/></geometry>',
        '<material name="own"><color rgba="0 0 1 0.5"/></material></visual>',
        '<visual><geometry><sphere radius="1"/></geometry><material name="red"/></visual>',
        '<collision><geometry><sphere radius="1"/></geometry></collision>',
        '<collision><geometry><sphere radius="3"/></geometry></collision></link>',
        '<link name="b"><collision><geometry><sphere radius="1"/></geometry></collision></link>',
        '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
    )
    colours = [body.colour for body in read_urdf(write(text)).bodies]
    assert colours == [(1.0, 0.0, 0.0, 1.0), (0.0, 0.0, 1.0, 0.5), None]


def test_joints_are_in_topological_order_and_else_in_the_files(write):
    joint = '<joint name="{0}" type="fixed"><parent link="{1}"/><child link="{2}"/></joint>'
    links = [f'<link name="{name}"/>' for name in "dcba"]
    model = read_urdf(
        write(robot(*links, joint.format("3", "c", "d"), joint.format("2", "a", "c"), joint.format("1", "a", "b")))
    )
    assert model.root == "a"
    assert [item.name for item in model.joints] == ["2", "3", "1"]
    assert model.links == ("d", "c", "b", "a")


def test_lines_and_files_are_kept(write, tmp_path):
    (tmp_path / "cube.obj").write_text(CUBE_OBJ)
    path = write(
        robot('<link name="a">', '<collision><geometry><mesh filename="cube.obj"/></geometry></collision></link>')
    )
    opened = open_urdf(path)
    assert opened.lines == {("link", "a"): 2}
    assert opened.files == {path: path.read_bytes(), tmp_path / "cube.obj": CUBE_OBJ.encode()}


def test_elements_that_say_nothing_about_bodies_are_passed_over(write):
    text = robot(
        '<link name="a"><inertial><mass value="1"/></inertial></link>',
        '<gazebo reference="a"/>',
        "<transmission/>",
        '<other:thing xmlns:other="x"/>',
    )
    assert read_urdf(write(text)).links == ("a",)


# -- other readers ------------------------------------------------------------------------------------------


@pytest.fixture
def tree_text():
    """A branching arm with turned origins and slanted axes, as URDF."""
    generator = np.random.default_rng(7)
    lines, links = ['<link name="l0"/>'], 9
    for k in range(1, links):
        numbers = generator.uniform(-1, 1, 9)
        kind = ("revolute", "continuous", "prismatic", "fixed")[k % 4]
        lines.append(f'<link name="l{k}"/>')
        lines.append(
            f'<joint name="j{k}" type="{kind}"><parent link="l{max(0, k - 1 - k % 3)}"/><child link="l{k}"/>'
            f'<origin xyz="{numbers[0]} {numbers[1]} {numbers[2]}" '
            f'rpy="{3 * numbers[3]} {numbers[4]} {3 * numbers[5]}"/>'
            f'<axis xyz="{numbers[6]} {numbers[7]} {numbers[8]}"/>{LIMIT}</joint>'
        )
    return robot(*lines)


def _forward(model, values):
    """Poses of all links by plain products: the meaning of a Model, spelled out."""
    found = {model.root: np.eye(4)}
    for joint in model.joints:
        motion = np.eye(4)
        if joint.kind == "revolute":
            motion = poses.rotation_about(joint.axis, values[joint.name])
        elif joint.kind == "prismatic":
            motion = poses.translation(joint.axis * values[joint.name])
        found[joint.child] = found[joint.parent] @ joint.origin @ motion
    return found


def test_frames_agree_with_pinocchio(tree_text, write):
    pin = pytest.importorskip("pinocchio")
    path = write(tree_text)
    model, other = read_urdf(path), pin.buildModelFromUrdf(str(path))
    data, generator = other.createData(), np.random.default_rng(1)
    for _ in range(20):
        values = {joint.name: generator.uniform(-1, 1) for joint in model.movable()}
        q = pin.neutral(other)
        for name, value in values.items():
            joint = other.joints[other.getJointId(name)]
            q[joint.idx_q : joint.idx_q + joint.nq] = [math.cos(value), math.sin(value)] if joint.nq == 2 else [value]
        pin.framesForwardKinematics(other, data, q)
        for link, pose in _forward(model, values).items():
            assert np.allclose(pose, data.oMf[other.getFrameId(link)].homogeneous, atol=1e-12)


@pytest.mark.skipif(sys.platform != "linux", reason="pybullet has one wheel, for Linux")
def test_a_capsule_is_that_of_pybullet(write):
    pybullet = pytest.importorskip("pybullet")
    path = write(shape('<capsule radius="0.1" length="0.4"/>'))
    client = pybullet.connect(pybullet.DIRECT)
    try:
        body = pybullet.loadURDF(str(path), physicsClientId=client)
        ((_, _, kind, size, *_),) = pybullet.getCollisionShapeData(body, -1, physicsClientId=client)
        assert kind == pybullet.GEOM_CAPSULE
        (ours,) = read_urdf(path).bodies
        assert ours.shape == Capsule(size[1], size[0])
        # the overall length: a ball under the end of the axis touches at length / 2 + radius
        ball = pybullet.createMultiBody(
            0,
            pybullet.createCollisionShape(pybullet.GEOM_SPHERE, radius=0.05, physicsClientId=client),
            basePosition=[0, 0, 0.5],
            physicsClientId=client,
        )
        distance = pybullet.getClosestPoints(body, ball, 1.0, physicsClientId=client)[0][8]
        assert distance == pytest.approx(0.5 - 0.05 - 0.3, abs=1e-6)
    finally:
        pybullet.disconnect(client)


# -- refusals -------------------------------------------------------------------------------------------------

LINK_A = '<link name="a"/>'
REFUSED = [
    # structure
    ("<robot name='r'>", "1 not XML: no element found"),
    ("", "1 not XML: no element found"),
    ("<a></b>", "1 not XML: mismatched tag"),
    ("<sdf/>", "1 not a URDF; found '<sdf>'; accepted: <robot name=...>"),
    ("<robot>", "1 not XML: no element found"),
    ('<robot name=""/>', "1 <robot> needs a name; found ''; accepted: 1 to 64 letters, digits, underscores, dots"),
    (robot(), "1 no <link> at all"),
    (robot('<lnik name="a"/>'), "2 unknown element <lnik> in <robot>; accepted: <link>"),
    (robot(LINK_A, LINK_A), "3 a second link named 'a', first in line 2; accepted: names used once"),
    (robot('<link name="a//b"/>'), "2 <link> needs a name; found 'a//b'"),
    (robot('<link name="a" nmae="b"/>'), "2 unknown attribute 'nmae' of <link>; accepted: name (nearest)"),
    (
        robot('<link name="a"><colision/></link>'),
        "2 unknown element <colision> in <link>; accepted: collision (nearest)",
    ),
    (robot(LINK_A, '<link name="b"/>'), "3 2 links are nobody's child: a, b; accepted: one root link"),
    # joints
    (
        two("floating"),
        "4 joint 'j': a floating joint moves freely; armcarry places things by attaching them; "
        "found 'floating'; accepted: fixed, revolute, continuous, prismatic",
    ),
    (two("planar"), "4 joint 'j': a planar joint has no single position; found 'planar'"),
    (two("spherical"), "4 joint 'j': unknown type; found 'spherical'"),
    (two("fixed", attributes='nme="j"'), "4 <joint> needs a name"),
    (two("revolute"), "4 joint 'j' is revolute and has no <limit>; accepted: <limit lower upper effort velocity>"),
    (two("prismatic"), "4 joint 'j' is prismatic and has no <limit>"),
    (two("revolute", '<limit velocity="1"/>'), "7 <limit> has no attribute 'effort'"),
    (two("revolute", '<limit effort="1"/>'), "7 <limit> has no attribute 'velocity'"),
    (two("revolute", '<limit effort="1" velocity="-1"/>'), "7 joint 'j': a negative velocity limit; found -1.0"),
    (
        two("revolute", '<limit effort="1" velocity="1" lower="2" upper="1"/>'),
        "7 joint 'j': lower is above upper; found '2.0 > 1.0'",
    ),
    (
        two("revolute", '<limit effort="1" velocity="1" lower="nan"/>'),
        "7 <limit lower>: not what is accepted; found 'nan'; accepted: a finite number",
    ),
    (two("revolute", '<limit effort="inf" velocity="1"/>'), "7 <limit effort>: not what is accepted; found 'inf'"),
    (two("continuous", '<axis xyz="0 0 0"/>'), "7 joint 'j': the axis has no direction; found '0 0 0'"),
    (
        two("continuous", '<axis xyz="0 0"/>'),
        "7 <axis xyz>: not what is accepted; found '0 0'; accepted: 3 finite numbers, spaces between",
    ),
    (two("continuous", '<axis xyz="0 0 1"/><axis xyz="0 0 1"/>'), "7 a second <axis> in <joint>; accepted: one"),
    (two("fixed", '<origin xyz="0 0 1e400"/>'), "7 <origin xyz>: not what is accepted; found '0 0 1e400'"),
    (
        two("fixed", '<origin xyz="0 0 1e7"/>'),
        "7 <origin xyz>: too large to be meant; found '0 0 1e7'; accepted: metres and radians",
    ),
    (two("fixed", '<origin xyz="0,1,2"/>'), "7 <origin xyz>: not what is accepted; found '0,1,2'"),
    (two("fixed", '<origin quat_xyzw="0 0 0 1"/>'), "7 unknown attribute 'quat_xyzw' of <origin>; accepted: "),
    (
        two("continuous", '<mimic joint="x"/>'),
        "4 joint 'j' follows 'x', which is not there; accepted: none, there is no joint",
    ),
    (
        two("continuous", '<safety_controller soft_lower_limit="0"/>'),
        "7 <safety_controller> has no attribute 'k_velocity'",
    ),
    (two("continuous", "<limits/>"), "7 unknown element <limits> in <joint>; accepted: limit (nearest)"),
    (robot(LINK_A, '<joint name="j" type="fixed"><parent link="a"/></joint>'), "3 <joint> has no <child>"),
    (
        robot(LINK_A, '<joint name="j" type="fixed"><parent/><child link="a"/></joint>'),
        "3 <parent> has no attribute 'link'",
    ),
    (
        robot(LINK_A, '<joint name="j" type="fixed"><parent link="a"/><child link=""/></joint>'),
        "3 <child> needs a link; found ''; accepted: 1 to 64 letters, digits",
    ),
    (
        robot('<link name="arm"/>', '<joint name="j" type="fixed"><parent link="arm"/><child link="amr"/></joint>'),
        "3 joint 'j': child link 'amr' does not exist; accepted: arm",
    ),
    (
        robot(
            LINK_A,
            '<link name="b"/>',
            '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
            '<joint name="k" type="fixed"><parent link="a"/><child link="b"/></joint>',
        ),
        "5 joint 'k': link 'b' is already the child of 'j'; accepted: one parent a link",
    ),
    (
        robot(
            LINK_A,
            '<link name="b"/>',
            '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
            '<joint name="k" type="fixed"><parent link="b"/><child link="a"/></joint>',
        ),
        "4 joints go round in a circle: j, k; accepted: a tree of links",
    ),
    (
        robot(
            '<link name="r"/>',
            LINK_A,
            '<link name="b"/>',
            '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
            '<joint name="k" type="fixed"><parent link="b"/><child link="a"/></joint>',
        ),
        "5 joints go round in a circle: j, k; accepted: a tree of links",
    ),
    (
        robot(
            LINK_A,
            '<link name="b"/>',
            '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
            '<joint name="j" type="fixed"><parent link="a"/><child link="b"/></joint>',
        ),
        "5 a second joint named 'j', first in line 4; accepted: names used once",
    ),
    # geometry
    (shape('<box size="1 1 0"/>'), "3 <box size>: no size; found (1.0, 1.0, 0.0); accepted: metres, more than 0"),
    (shape('<sphere radius="0"/>'), "3 <sphere radius>: no size; found 0.0; accepted: metres, more than 0"),
    (shape('<cylinder radius="1" length="-1"/>'), "3 <cylinder length>: no size; found -1.0"),
    (shape('<capsule radius="1"/>'), "3 <capsule> has no attribute 'length'"),
    (shape('<sphere radius="1m"/>'), "3 <sphere radius>: not what is accepted; found '1m'; accepted: a finite number"),
    (
        shape('<cone radius="1" length="1"/>'),
        "3 unknown element <cone> in <geometry>; accepted: box, capsule, cylinder, mesh, sphere",
    ),
    (
        shape(""),
        "2 <geometry> needs exactly one shape; found '0 shapes'; "
        "accepted: <box>, <sphere>, <cylinder>, <capsule>, <mesh>",
    ),
    (shape('<sphere radius="1"/><sphere radius="2"/>'), "2 <geometry> needs exactly one shape; found '2 shapes'"),
    (robot('<link name="a"><collision/></link>'), "2 <collision> has no <geometry>"),
    (
        shape('<sphere radius="1"/>', before="<orign/>"),
        "2 unknown element <orign> in <collision>; accepted: origin (nearest)",
    ),
    (shape('<sphere radius="1"/>', name=' name="a b"'), "2 <collision> needs a name; found 'a b'"),
    (
        robot(
            '<link name="a"><collision name="x"><geometry><sphere radius="1"/></geometry></collision>',
            '<collision name="x"><geometry><sphere radius="1"/></geometry></collision></link>',
        ),
        "2 a second body named 'x', first in line 2; accepted: collision names used once",
    ),
    (
        robot('<material name="m"><color rgba="1 0 0 2"/></material>', LINK_A),
        "2 <color rgba>: outside 0 to 1; found (1.0, 0.0, 0.0, 2.0)",
    ),
    # meshes
    (
        shape('<mesh filename="gone.stl"/>'),
        "3 <mesh filename>: no such file; found 'gone.stl'; accepted: a path inside the model folder",
    ),
    (
        shape('<mesh filename="../outside.obj"/>'),
        "3 <mesh filename>: leads out of the model folder; found '../outside.obj'",
    ),
    (shape('<mesh filename="package://../../outside.obj"/>'), "3 <mesh filename>: leads out of the model folder"),
    (
        shape('<mesh filename="/outside.obj"/>'),
        "3 <mesh filename>: not a path inside the model folder; found '/outside.obj'",
    ),
    (shape('<mesh filename="file:///outside.obj"/>'), "3 <mesh filename>: not a path inside the model folder"),
    (shape('<mesh filename="https://example.org/a.obj"/>'), "3 <mesh filename>: not a path inside the model folder"),
    (shape('<mesh filename="..\\outside.obj"/>'), "3 <mesh filename>: not a path inside the model folder"),
    (shape('<mesh filename=""/>'), "3 <mesh filename>: not a path inside the model folder; found ''"),
    (shape('<mesh filename="link.obj"/>'), "3 <mesh filename>: leads out of the model folder; found 'link.obj'"),
    (
        shape('<mesh filename="cube.obj" scale="1 1 -1"/>'),
        "3 <mesh scale>: zero or mirrored; found '1 1 -1'; accepted: three numbers more than 0",
    ),
    (
        shape('<mesh filename="m.urdf"/>'),
        "3 <mesh filename>: {folder}/m.urdf: a mesh of a kind that is not read; found '.urdf'; accepted: .stl, .obj",
    ),
    # XML itself
    (
        '<!DOCTYPE robot [<!ENTITY a "x">]>\n<robot name="&a;"/>',
        "1 a document type or entity is not accepted; accepted: XML without <!DOCTYPE ...>",
    ),
    ('<!DOCTYPE robot SYSTEM "file:///etc/passwd">\n<robot name="a"/>', "1 a document type or entity is not accepted"),
    ('<robot name="&x;"/>', "1 not XML: undefined entity"),
    ('<robot name="a" name="b"/>', "1 not XML: duplicate attribute"),
    ('<?xml version="1.0" encoding="klingon"?>\n<robot name="a"/>', "1 not XML: unknown encoding"),
    ("<a>" * 50, "1 <a> is nested too deep; accepted: at most 40 levels"),
]


@pytest.mark.parametrize(("text", "words"), REFUSED, ids=[words[:60] for _, words in REFUSED])
def test_what_is_refused(tmp_path, text, words):
    folder = tmp_path / "model"
    folder.mkdir()
    (tmp_path / "outside.obj").write_text(CUBE_OBJ)
    (folder / "cube.obj").write_text(CUBE_OBJ)
    (folder / "link.obj").symlink_to(tmp_path / "outside.obj")
    path = folder / "m.urdf"
    path.write_text(text)
    with pytest.raises(InputError) as caught:
        read_urdf(path)
    line, _, problem = words.partition(" ")
    assert str(caught.value).startswith(f"{path}:{line}: {problem.format(folder=folder)}"), str(caught.value)


def test_all_problems_of_links_and_joints_are_told(write):
    text = robot(
        '<link name="a"><collision><geometry><sphere radius="0"/></geometry></collision></link>',
        '<link name="b"/>',
        '<joint name="j" type="ball"/>',
        '<joint name="k" type="revolute"/>',
    )
    with pytest.raises(InputErrors) as caught:
        read_urdf(write(text))
    assert [problem.line for problem in caught.value.problems] == [2, 4, 5]


def test_a_file_that_is_too_large_or_holds_too_much_is_refused(write, monkeypatch):
    from armcarry.files import xml_text

    monkeypatch.setattr(xml_text, "MAX_BYTES", 100)
    with pytest.raises(InputError, match="URDF file too large; accepted: at most 100 bytes"):
        read_urdf(write(robot('<link name="a"/>', " " * 100)))
    monkeypatch.setattr(xml_text, "MAX_BYTES", 10_000)
    monkeypatch.setattr(xml_text, "MAX_ELEMENTS", 5)
    with pytest.raises(InputError, match=r"m\.urdf:6: too many elements; accepted: at most 5"):
        read_urdf(write(robot(*[f'<link name="l{k}"/>' for k in range(9)])))


def test_a_chain_of_thousands_of_links_is_read(write):
    # no recursion: as deep as files may get
    joint = '<joint name="j{0}" type="fixed"><parent link="l{1}"/><child link="l{0}"/></joint>'
    lines = ['<link name="l0"/>', *(f'<link name="l{k}"/>' + joint.format(k, k - 1) for k in range(1, 3000))]
    assert len(read_urdf(write(robot(*lines))).joints) == 2999
