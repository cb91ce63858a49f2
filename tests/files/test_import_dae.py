"""COLLADA meshes: unit and up axis as the file says them, and nothing of what XML allows to hurt."""

import numpy as np
import pytest

from armcarry.errors import InputError, MissingExtraError
from armcarry.files.import_dae import read_dae
from armcarry.files.import_mesh import import_mesh
from armcarry.files.import_model import inspect_file

pytest.importorskip("collada")

CORNERS = [(x, y, z) for x in (0, 10) for y in (0, 20) for z in (0, 40)]
QUADS = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]


def dae(asset='<unit name="inch" meter="0.0254"/><up_axis>Z_UP</up_axis>', node="", head="", scene=True, more=""):
    """A block of 10 by 20 by 40 units from the origin on, of six quads."""
    numbers = " ".join(f"{v}" for corner in CORNERS for v in corner)
    shown = '<scene><instance_visual_scene url="#s"/></scene>' if scene else ""
    return f"""<?xml version="1.0" encoding="utf-8"?>{head}
<COLLADA xmlns="http://www.collada.org/2005/11/COLLADASchema" version="1.4.1">
<asset><created>2020-01-01T00:00:00</created><modified>2020-01-01T00:00:00</modified>{asset}</asset>
<library_geometries><geometry id="g"><mesh>
<source id="p"><float_array id="a" count="24">{numbers}</float_array><technique_common>
<accessor source="#a" count="8" stride="3"><param name="X" type="float"/><param name="Y" type="float"/>
<param name="Z" type="float"/></accessor></technique_common></source>
<vertices id="v"><input semantic="POSITION" source="#p"/></vertices>
<polylist count="6" material="paint"><input semantic="VERTEX" source="#v" offset="0"/><vcount>4 4 4 4 4 4</vcount>
<p>{" ".join(str(k) for quad in QUADS for k in quad)}</p></polylist>
<lines count="1"><input semantic="VERTEX" source="#v" offset="0"/><p>0 1</p></lines>
</mesh></geometry></library_geometries>
<library_visual_scenes><visual_scene id="s"><node id="n">{node}<instance_geometry url="#g"/></node>{more}
</visual_scene></library_visual_scenes>{shown}
</COLLADA>
"""


@pytest.fixture
def write(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))

    def written(text, name="block.dae"):
        path = tmp_path / name
        path.write_bytes(text if isinstance(text, bytes) else text.encode())
        return path

    return written


# where the corner (10, 20, 40) of the file comes to: right, up and towards the viewer are x, z and -y
UPS = {"Z_UP": (10, 20, 40), "Y_UP": (10, -40, 20), "X_UP": (-20, -40, 10)}


@pytest.mark.parametrize("up", UPS)
@pytest.mark.parametrize(
    ("unit", "metres"), [('<unit meter="0.0254"/>', 0.0254), ('<unit name="mm" meter="0.001"/>', 0.001), ("", 1.0)]
)
def test_unit_and_up_axis_are_those_of_the_file(write, up, unit, metres):
    mesh, _, notes = read_dae(write(dae(f"{unit}<up_axis>{up}</up_axis>")))
    far = mesh.vertices[np.argmax(np.abs(mesh.vertices).sum(axis=1))]
    np.testing.assert_allclose(far, np.array(UPS[up]) * metres, atol=1e-12)
    assert mesh.volume == pytest.approx(8000 * metres**3), "turned, never mirrored"
    assert len(mesh.faces) == 12
    assert any("turned to z up" in note for note in notes) == (up != "Z_UP")
    assert any("its unit is" in note for note in notes) == (metres != 1.0)


def test_without_an_axis_y_is_up(write):
    mesh, _, _ = read_dae(write(dae("")))
    np.testing.assert_allclose(np.ptp(mesh.vertices, axis=0), [10, 40, 20])


def test_a_block_in_inches_becomes_one_exact_piece(write):
    path = write(dae())
    mesh = import_mesh(path)
    assert mesh.size_m == pytest.approx([0.254, 0.508, 1.016])
    assert len(mesh.pieces.shapes) == 1 and mesh.pieces.share == pytest.approx(1.0)
    assert "COLLADA: its unit is 0.0254 m" in mesh.notes
    assert inspect_file(path).model.bodies[0].name == "platform_1"
    with pytest.raises(InputError, match="the file says its unit itself; found '--unit mm'; accepted: no --unit"):
        inspect_file(path, unit="mm")


def test_nodes_place_and_mirror_what_they_show(write):
    moved = "<translate>1 2 3</translate><scale>-1 1 1</scale>"
    mesh, _, _ = read_dae(write(dae(node=moved)))
    np.testing.assert_allclose(mesh.vertices.max(axis=0) / 0.0254, [1, 22, 43])
    assert mesh.volume > 0


def test_the_same_mesh_twice_in_a_scene_is_two(write):
    more = '<node id="m"><translate>100 0 0</translate><instance_node url="#n"/></node>'
    mesh, _, _ = read_dae(write(dae(more=more)))
    assert len(mesh.faces) == 24


def test_a_urdf_takes_a_mesh_of_this_kind(write):
    write(dae())
    mesh = '<geometry><mesh filename="block.dae" scale="2 2 2"/></geometry>'
    seen = inspect_file(write(f'<robot name="r"><link name="a"><visual>{mesh}</visual></link></robot>', "r.urdf"))
    assert seen.imported.rows[0][1].size_m == pytest.approx([0.508, 1.016, 2.032])


HURT = {
    "entity": (dae(head='<!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/hostname">]>'),
               "block.dae:1: a document type or entity is not accepted"),
    "encoding": (dae().replace("utf-8", "utf-7"), "an encoding that is not read; found 'utf-7'; accepted: UTF-8"),
    "other": ("<robot/>", "not a COLLADA file; found '<robot>'; accepted: <COLLADA>"),
    "no scene": (dae(scene=False), "no <scene> that shows anything"),
    "unit": (dae('<unit meter="0"/>'), "<unit meter>: not a unit of length; found 0.0; accepted: 1e-6 to 1e6"),
    "nodes": (dae(more="<node>" + '<instance_node url="#n"/>' * 31 + "</node>"), "too many <instance_node>; found 31"),
    "index": (dae().replace("<p>0 1 3 2", "<p>0 1 99 2"), "not a COLLADA file: |a face names a vertex"),
    "numbers": (dae().replace(">0 0 0 ", ">0 0 nan "), "a <float_array> that holds more than numbers"),
    "reference": (dae().replace(">0 0 0 ", ">0 0 &#78;aN "), "a <float_array> that holds more than numbers"),
    "infinite": (dae().replace(">0 0 0 ", ">0 0 1e999 "), "coordinates that are not finite"),
    "words": (dae().replace(">0 0 0 ", ">0 0 zero "), "a <float_array> that holds more than numbers"),
    "cut": (dae()[:900], "not XML: "),
    "archive": (b"PK\x03\x04" + b"\0" * 60, "not XML: "),
    "zero": (dae().replace('count="6"', 'count="0"').replace("4 4 4 4 4 4", "").replace(
        " ".join(str(k) for quad in QUADS for k in quad), ""), "the mesh has no triangles|not a COLLADA file: "),
}  # fmt: skip


@pytest.mark.parametrize("kind", HURT)
def test_what_hurts_is_refused(write, kind):
    text, words = HURT[kind]
    with pytest.raises(InputError, match=words):
        import_mesh(write(text))


def test_nodes_in_a_circle_are_refused(write):
    more = '<node id="m"><instance_node url="#m"/></node>'
    with pytest.raises(InputError, match=r"not a COLLADA file: |no <scene> that shows anything"):
        read_dae(write(dae(more=more)))


def test_without_the_library_it_is_said_what_to_install(write, monkeypatch):
    monkeypatch.setitem(__import__("sys").modules, "collada", None)
    with pytest.raises(MissingExtraError, match=r"reading DAE needs pycollada, .*type: pip install 'armcarry\[mesh\]'"):
        read_dae(write(dae()))
