"""Robots drawn by their structure: trees and what is none, shapes with and without a size, meshes near and far."""

from dataclasses import dataclass, field
from xml.sax.saxutils import quoteattr

import numpy as np
from hypothesis import strategies as st

GOOD = st.integers(-3000, 3000).map(lambda number: f"{number / 1000:g}")
SIZE = st.integers(1, 3000).map(lambda number: f"{number / 1000:g}")
BAD_NUMBERS = st.sampled_from(
    ["nan", "-nan", "inf", "-inf", "1e999", "1e-400", "1e7", "0", "-0.0", "-1", "", " ", "1 2", "0x10", "1_0", "1,5",
     "1 m", "9" * 500, "true", "１", "1e", "."]
)  # fmt: skip
MESHES = ("cube.obj", "package://x/cube.obj", "package://cube.obj", "./cube.obj", "meshes/torso_small.obj")
BAD_MESHES = (
    "../cube.obj", "../secret.obj", "../../secret.obj", "../inner/cube.obj", "leads_out.obj", "meshes/../../secret.obj",
    "package://../secret.obj", "package://x/../../secret.obj", "package://", "package:///etc/passwd", "file:///etc/passwd",
    "/etc/passwd", "C:\\x.obj", "http://x/y.obj", "", " ", ".", "..", "meshes", "a.urdf", "heron.urdf", "none.obj",
    "a" * 300, "a/" * 190 + "b.obj", "~/cube.obj", "cube.obj/x", "CUBE.OBJ", "cube.obj ", "é.stl",
)  # fmt: skip
BAD_NAMES = ("", "a b", "é", "x" * 65, "../a", "<", "&", "l0", "j0", "c0", "\u2028", "\ud7ff", "\t")
ELEMENTS = (
    "link", "joint", "origin", "geometry", "limit", "axis", "mimic", "gazebo", "lnik", "safety_controller", "x:y",
    "child",
)  # fmt: skip


@dataclass
class Node:
    """An element to be written."""

    tag: str
    attributes: dict[str, str] = field(default_factory=dict)
    children: list["Node"] = field(default_factory=list)

    def all(self):
        yield self
        for child in self.children:
            yield from child.all()

    def text(self, depth=0):
        attributes = "".join(f" {key}={quoteattr(value)}" for key, value in self.attributes.items())
        inner = "".join(child.text(depth + 1) for child in self.children)
        pad = " " * depth
        return f"{pad}<{self.tag}{attributes}" + (f">\n{inner}{pad}</{self.tag}>\n" if inner else "/>\n")


def _three(draw, numbers):
    return " ".join(draw(numbers) for _ in range(3))


def _origin(draw):
    given = {"xyz": _three(draw, GOOD), "rpy": _three(draw, GOOD)}
    return Node("origin", {key: value for key, value in given.items() if draw(st.booleans())})


def _shape(draw):
    match draw(st.integers(0, 4)):
        case 0:
            return Node("box", {"size": _three(draw, SIZE)})
        case 1:
            return Node("sphere", {"radius": draw(SIZE)})
        case 2:
            return Node("cylinder", {"radius": draw(SIZE), "length": draw(SIZE)})
        case 3:
            return Node("capsule", {"radius": draw(SIZE), "length": draw(SIZE)})
    scale = {"scale": _three(draw, SIZE)} if draw(st.booleans()) else {}
    return Node("mesh", {"filename": draw(st.sampled_from(MESHES)), **scale})


def _link(draw, number):
    link = Node("link", {"name": f"l{number}"})
    for k in range(draw(st.integers(0, 2))):
        children = [Node("geometry", {}, [_shape(draw)])] + ([_origin(draw)] if draw(st.booleans()) else [])
        link.children.append(Node("collision", {"name": f"c{number}_{k}"}, children))
    return link


def _joint(draw, number):
    kind = draw(st.sampled_from(["fixed", "revolute", "continuous", "prismatic"]))
    joint = Node("joint", {"name": f"j{number}", "type": kind})
    joint.children = [
        Node("parent", {"link": f"l{draw(st.integers(0, number))}"}),
        Node("child", {"link": f"l{number + 1}"}),
        _origin(draw),
    ]
    if kind != "fixed":
        axis = draw(st.sampled_from(["1 0 0", "0 -1 0", "0.5 0.5 0.70710678", "0 0 20"]))
        joint.children.append(Node("axis", {"xyz": axis}))
        limit = {"lower": "-" + draw(SIZE), "upper": draw(SIZE), "effort": "1", "velocity": "1"}
        joint.children.append(Node("limit", limit))
    return joint


@st.composite
def robots(draw):
    """Draw a tree of links that is to be read."""
    count = draw(st.integers(1, 6))
    parts = [_link(draw, number) for number in range(count)] + [_joint(draw, number) for number in range(count - 1)]
    return Node("robot", {"name": "r"}, draw(st.permutations(parts)))


@st.composite
def harmed(draw):
    """Draw a robot with one to three things changed, most of which make it none."""
    robot = draw(robots())
    for _ in range(draw(st.sampled_from([1, 1, 1, 2, 3]))):
        holder = draw(st.sampled_from([node for node in robot.all() if node.children] or [robot]))
        node = draw(st.sampled_from(list(robot.all())))
        match draw(st.integers(0, 10)):
            case 0 | 1 | 2 if node.attributes:
                _harm_attribute(draw, node)
            case 10:  # a mesh from a place that may be none
                meshes = [mesh for mesh in robot.all() if mesh.tag == "mesh"]
                for mesh in meshes[:1]:
                    mesh.attributes["filename"] = draw(st.sampled_from(BAD_MESHES))
            case 3 if node.attributes:
                del node.attributes[draw(st.sampled_from(sorted(node.attributes)))]
            case 4:
                key = draw(st.sampled_from(["name", "type", "link", "size", "xyz", "x:y"]))
                node.attributes[key] = draw(BAD_NUMBERS)
            case 5 if holder.children:
                holder.children.pop(draw(st.integers(0, len(holder.children) - 1)))
            case 6 if holder.children:  # twice: names that are used already, a second geometry
                holder.children.append(draw(st.sampled_from(holder.children)))
            case 7:
                node.tag = draw(st.sampled_from(ELEMENTS))
            case 8:  # hung elsewhere: a circle, two roots, a link that is nobody's
                ends = [end for end in robot.all() if end.tag in ("parent", "child") and "link" in end.attributes]
                if ends:
                    link = draw(st.sampled_from(["l0", "l1", "l2", "l5", "ghost"]))
                    draw(st.sampled_from(ends)).attributes["link"] = link
            case _:
                tag, name = draw(st.sampled_from(ELEMENTS)), draw(st.sampled_from(BAD_NAMES))
                holder.children.append(Node(tag, {"name": name}))
    return robot


def _harm_attribute(draw, node):
    key = draw(st.sampled_from(sorted(node.attributes)))
    if key == "filename":
        node.attributes[key] = draw(st.sampled_from(BAD_MESHES))
    elif key in ("name", "type", "link"):
        node.attributes[key] = draw(st.sampled_from((*BAD_NAMES, "floating", "planar", "revolute", "l1")))
    else:
        words = node.attributes[key].split()
        words[draw(st.integers(0, len(words) - 1))] = draw(BAD_NUMBERS)
        node.attributes[key] = " ".join(words)


def _check(model):
    """Ask of a model that was read that it is a tree of links with numbers that mean something."""
    reached = {model.root}
    for joint in model.joints:
        assert joint.parent in reached and joint.child not in reached  # in order, one parent each, no circle
        reached.add(joint.child)
        assert np.all(np.isfinite(joint.origin)) and abs(np.linalg.norm(joint.axis) - 1) < 1e-9
        assert joint.lower <= joint.upper and joint.velocity >= 0
    assert reached == set(model.links) and len(reached) == len(model.links)
    assert len({body.name for body in model.bodies}) == len(model.bodies)
    for body in model.bodies:
        assert body.link in reached and np.all(np.isfinite(body.pose))
        sizes = [value for value in vars(body.shape).values() if isinstance(value, float | int)]
        assert all(np.isfinite(sizes)) and all(size > 0 for size in sizes)


def _feed(kit, watch, folder, strategy, record_property):
    from armcarry.files.urdf import read_urdf

    path = folder / "a.urdf"

    def read(path):
        _check(read_urdf(path))

    def feed(robot):
        path.write_text(robot.text(), encoding="utf-8", errors="surrogatepass")
        return kit.read_fairly(watch, folder, path, read)

    before = kit.listing(folder.parent, but=path)
    counts = kit.feed_drawn(strategy, feed, max(30, kit.COUNT), record_property)
    assert kit.listing(folder.parent, but=path) == before
    return counts


def test_every_tree_of_links_is_read(kit, watch, folder, record_property):
    fed, accepted = _feed(kit, watch, folder, robots(), record_property)
    assert accepted == fed


def test_robots_with_harm(kit, watch, folder, record_property):
    fed, accepted = _feed(kit, watch, folder, harmed(), record_property)
    assert 0 < accepted < 0.7 * fed
