"""Readers fed with damaged files: a value or one clear refusal, never anything else, and soon.

Each input is a good file with some bytes or words changed, cut, doubled or swapped for words that hurt. The number of
inputs a reader gets is ARMCARRY_FUZZ (default 200).
"""

import random

import pytest


def _feed(kit, watch, folder, name, goods, read, seed, count, record_property):
    dice = random.Random(seed)
    path = folder / name
    before = kit.listing(folder.parent, but=path)
    accepted, peak = 0, kit.peak_bytes()  # other tests of this process may have used much already
    for number in range(count):
        content = kit.damaged(dice.choice(goods), goods, dice)
        path.write_bytes(content)
        try:
            accepted += kit.read_fairly(watch, folder, path, read)
        except Exception as error:
            keep = folder.parent / f"{seed}_{number}_{name}"
            keep.write_bytes(content)
            raise AssertionError(f"input {number} of seed {seed}, kept as {keep}: {error!r}") from error
    assert kit.listing(folder.parent, but=path) == before
    assert kit.peak_bytes() - peak < kit.LARGEST_BYTES
    assert 0 < accepted < count  # the damage does damage, and not always at the first byte
    record_property("inputs", count)


@pytest.mark.parametrize("name", ["a.yaml", "a.urdf", "a.obj", "a.stl"])
def test_damaged_files(name, kit, watch, folder, record_property):
    kind, read = next((kind, read) for kind, (names, read) in kit.READERS.items() if name in names)
    goods = kit.good_files(kind)
    if kind == "mesh":
        goods = [good for good in goods if good.startswith((b"v ", b"#")) == name.endswith(".obj")]
    _feed(kit, watch, folder, name, goods, read, len(name) + ord(name[2]), kit.COUNT, record_property)


def test_undamaged_files_are_read(kit, watch, folder):
    whole = {
        "a.yaml": [good for good in kit.good_files("yaml") if b"\nurdf: " in good and b"visitor.urdf" not in good],
        "a.urdf": kit.good_files("urdf"),
        "a.obj": [kit.cube_obj(), *kit.shipped("models/*/*/meshes/*.obj")],
        "a.stl": [kit.cube_stl()],
    }
    for name, goods in whole.items():
        read = next(read for names, read in kit.READERS.values() if name in names)
        for good in goods:
            (folder / name).write_bytes(good)
            assert kit.read_fairly(watch, folder, folder / name, read), good[:200]
    assert [len(goods) for goods in whole.values()] == [10, 9, 17, 1]


def test_foreign_urdf_files(kit, watch, folder, monkeypatch, record_property):
    from armcarry.files.import_urdf import import_urdf

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    goods = kit.good_files("urdf")
    goods.append(
        b'<robot name="r"><link name="a"><visual><geometry><mesh filename="package://x/cube.obj"/></geometry></visual>'
        b'</link>\n<link name="b"/>\n<joint name="j" type="prismatic"><parent link="a"/><child link="b"/>'
        b'<axis xyz="0 0 1"/><mimic joint="k" offset="1"/><limit lower="-1" upper="1"/></joint></robot>'
    )
    read = lambda path: import_urdf(path, folder, tolerance_m=10.0)  # noqa: E731
    _feed(kit, watch, folder, "a.urdf", goods, read, 6, kit.COUNT // 4, record_property)


def test_glb_meshes(kit, watch, folder, monkeypatch, record_property):
    trimesh = pytest.importorskip("trimesh")
    from armcarry.files.import_mesh import import_mesh

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    good = trimesh.creation.box(extents=(1.0, 2.0, 3.0)).export(file_type="glb")
    read = lambda path: import_mesh(path, tolerance_m=10.0)  # noqa: E731
    (folder / "a.glb").write_bytes(good)
    read(folder / "a.glb")
    _feed(kit, watch, folder, "a.glb", [good], read, 7, kit.COUNT // 10, record_property)


def test_dae_meshes(kit, watch, folder, monkeypatch, record_property):
    pytest.importorskip("collada")
    from armcarry.files.import_mesh import import_mesh

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    numbers = b"0 0 0 1 0 0 0 1 0 0 0 1"
    good = (
        b'<COLLADA xmlns="http://www.collada.org/2005/11/COLLADASchema" version="1.4.1"><asset><unit meter="0.01"/>'
        b'<up_axis>Y_UP</up_axis></asset><library_geometries><geometry id="g"><mesh><source id="p">'
        b'<float_array id="a" count="12">' + numbers + b'</float_array><technique_common><accessor source="#a" '
        b'count="4" stride="3"><param name="X" type="float"/><param name="Y" type="float"/><param name="Z" '
        b'type="float"/></accessor></technique_common></source><vertices id="v"><input semantic="POSITION" '
        b'source="#p"/></vertices><triangles count="4"><input semantic="VERTEX" source="#v" offset="0"/>'
        b"<p>0 2 1 0 1 3 0 3 2 1 2 3</p></triangles></mesh></geometry></library_geometries><library_visual_scenes>"
        b'<visual_scene id="s"><node id="n"><matrix>1 0 0 1 0 1 0 0 0 0 1 0 0 0 0 1</matrix><instance_geometry '
        b'url="#g"/></node><node><instance_node url="#n"/></node></visual_scene></library_visual_scenes>'
        b'<scene><instance_visual_scene url="#s"/></scene></COLLADA>'
    )
    read = lambda path: import_mesh(path, tolerance_m=10.0)  # noqa: E731
    (folder / "a.dae").write_bytes(good)
    assert read(folder / "a.dae").triangles == 8
    _feed(kit, watch, folder, "a.dae", [good], read, 8, kit.COUNT // 4, record_property)


def test_scenarios_with_everything_they_name(kit, watch, folder, record_property):
    # the script is damaged, the models it names are the good ones
    from armcarry.files.load import load_scenario

    goods = [kit.beginning(text, 8000) for text in kit.shipped("scenarios/*.yaml")]
    _feed(kit, watch, folder, "scenario.yaml", goods, load_scenario, 5, max(60, kit.COUNT // 20), record_property)
