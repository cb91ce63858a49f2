"""Readers fed with damaged files: a value or an ArmcarryError, never anything else, and soon.

Each input is a good file with some bytes changed, cut, doubled or swapped for words that hurt. The number of
inputs a reader gets is ARMCARRY_FUZZ (default 600; the long run takes 100,000).
"""

import contextlib
import os
import random
import struct
import subprocess
import sys
import time
from pathlib import Path

import pytest

from armcarry.errors import ArmcarryError
from armcarry.files import places
from armcarry.files.meshes import convex, read_mesh
from armcarry.files.model_checks import check_model
from armcarry.files.model_files import open_model
from armcarry.files.urdf import read_urdf
from armcarry.files.validate import read_any

COUNT = int(os.environ.get("ARMCARRY_FUZZ", "600"))
SLOWEST_S = 5.0
LARGEST_BYTES = 1_000_000_000

HURTFUL = [
    b"nan", b"inf", b"-1", b"0", b"1e999", b"1e-320", b"9" * 400, b"&a ", b"*a", b"<<: ", b"!!python/object:os.system ",
    b"\t", b"\r", b"\0", b"\xff\xfe", b"\xef\xbb\xbf", b"\xed\xa0\x80", b"- ", b"? ", b": ", b"| ", b"> ", b"{", b"}",
    b"[", b"]", b'"', b"'", b"#", b"%YAML 1.1\n", b"---\n", b"...\n", b"<!DOCTYPE x [<!ENTITY a 'b'>]>", b"&a;",
    b"&#0;",
    b"<![CDATA[", b"]]>", b"<!--", b"-->", b"</", b"/>", b"<link/>", b"<joint>", b"../../../etc/passwd",
    b"package://", b"file:///", b"null", b"~", b"true", b"[" * 60, b"{a: " * 60, b"0 0 0", b"1 1", b"1:60",
    b"12 m^9",
    b"1 m", b"-5 deg", b"\\u0000", b'"\\ud800"', "\u2028".encode(), b"default", b"format: armcarry arm 1\n",
]


def damaged(good: bytes, others: list[bytes], dice: random.Random) -> bytes:
    """Return a good file with one to six hurts."""
    data = bytearray(good)
    for _ in range(dice.choice((1, 1, 1, 2, 3, 6))):
        at = dice.randrange(len(data) + 1)
        end = min(len(data), at + dice.choice((1, 1, 4, 20, 200)))
        match dice.randrange(7):
            case 0:
                data[at:at] = dice.choice(HURTFUL)
            case 1:
                data[at:end] = dice.choice(HURTFUL)
            case 2:
                del data[at:end]
            case 3:
                data[at:at] = data[at:end] * dice.choice((1, 1, 2, 50))
            case 4:
                data[at:end] = bytes(dice.randrange(256) for _ in range(end - at))
            case 5:
                other = dice.choice(others)
                start = dice.randrange(len(other) + 1)
                data[at:end] = other[start : start + 200]
            case 6:
                lines = bytes(data).split(b"\n")
                dice.shuffle(lines) if dice.random() < 0.1 else lines.insert(
                    dice.randrange(len(lines) + 1), dice.choice(lines)
                )
                data = bytearray(b"\n".join(lines))
    return bytes(data[:200_000])


def _peak_bytes() -> int:
    if sys.platform == "win32":
        return 0
    import resource

    used = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return used if sys.platform == "darwin" else used * 1024


def _feed(folder: Path, name: str, goods: list[bytes], read, seed: int, count: int = COUNT) -> None:
    dice = random.Random(seed)
    path = folder / name
    before = sorted(item.name for item in folder.iterdir() if item != path)
    accepted = 0
    peak = _peak_bytes()  # other tests of this process may have used much already
    for number in range(count):
        content = damaged(dice.choice(goods), goods, dice)
        path.write_bytes(content)
        start = time.process_time()
        try:
            with contextlib.suppress(ArmcarryError):
                read(path)
                accepted += 1
        except Exception as error:
            keep = folder.parent / f"{seed}_{number}_{name}"
            keep.write_bytes(content)
            raise AssertionError(f"input {number} of seed {seed}, kept as {keep}: {error!r}") from error
        assert time.process_time() - start < SLOWEST_S, (seed, number)
    assert sorted(item.name for item in folder.iterdir() if item != path) == before  # nothing else was written
    assert _peak_bytes() - peak < LARGEST_BYTES
    assert accepted < count  # the damage does damage


@pytest.fixture
def folder(tmp_path):
    inner = tmp_path / "inner"
    inner.mkdir()
    return inner


def _shipped(pattern: str) -> list[bytes]:
    return [path.read_bytes() for path in sorted(places.data_folder().glob(pattern))]


def _beginning(text: bytes, longest: int) -> bytes:
    """Return the whole lines of the first ``longest`` bytes."""
    return text if len(text) <= longest else text[: text.rindex(b"\n", 0, longest) + 1]


def test_yaml_documents(folder):
    goods = [_beginning(text, 4000) for text in [*_shipped("models/*/*/*.yaml"), *_shipped("scenarios/*.yaml")]]

    def read(path):
        check_model(open_model(read_any(path)))

    _feed(folder, "a.yaml", goods, read, seed=1)


def test_urdf_files(folder):
    # small robots whole, so that damage often lies in a file that could be read but for it
    goods = [content for content in _shipped("models/*/*/*.urdf") if len(content) < 12_000]
    assert len(goods) >= 3
    (folder / "cube.obj").write_bytes(_cube_obj())
    goods.append(
        b'<robot name="r"><link name="a"><collision><geometry><mesh filename="cube.obj" scale="1 2 3"/></geometry>'
        b'</collision></link>\n<link name="b"/>\n<joint name="j" type="revolute"><parent link="a"/><child link="b"/>'
        b'<axis xyz="0 0 1"/><limit lower="-1" upper="1" effort="1" velocity="1"/></joint></robot>'
    )
    _feed(folder, "a.urdf", goods, read_urdf, seed=2)


def _cube_obj() -> bytes:
    corners = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    faces = ["1 2 4 3", "5 7 8 6", "1 5 6 2", "3 4 8 7", "1 3 7 5", "2 6 8 4"]
    return ("".join(f"v {x} {y} {z}\n" for x, y, z in corners) + "".join(f"f {face}\n" for face in faces)).encode()


def _cube_stl() -> bytes:
    corners = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
    quads = [(0, 1, 3, 2), (4, 6, 7, 5), (0, 4, 5, 1), (2, 3, 7, 6), (0, 2, 6, 4), (1, 5, 7, 3)]
    triangles = [t for a, b, c, d in quads for t in ((a, b, c), (a, c, d))]
    body = b"".join(struct.pack("<12fH", 0, 0, 0, *corners[a], *corners[b], *corners[c], 0) for a, b, c in triangles)
    return b"cube".ljust(80) + struct.pack("<I", len(triangles)) + body


def _read_convex(path):
    import numpy as np

    convex(read_mesh(path)[0], np.ones(3), path)


def test_the_undamaged_meshes_are_good(folder):
    for name, content in (("a.obj", _cube_obj()), ("a.stl", _cube_stl())):
        (folder / name).write_bytes(content)
        _read_convex(folder / name)


def test_obj_meshes(folder):
    _feed(folder, "a.obj", [_cube_obj(), *_shipped("models/*/*/meshes/*.obj")], _read_convex, seed=3)


def test_stl_meshes(folder):
    corners = b"vertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\n"
    text = b"solid a\nfacet normal 0 0 1\nouter loop\n" + corners + b"endloop\nendfacet\nendsolid\n"
    _feed(folder, "a.stl", [_cube_stl(), text], _read_convex, seed=4)


def test_foreign_urdf_files(folder, monkeypatch):
    from armcarry.files.import_urdf import import_urdf

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    (folder / "cube.obj").write_bytes(_cube_obj())
    goods = [content for content in _shipped("models/*/*/*.urdf") if len(content) < 12_000]
    goods.append(
        b'<robot name="r"><link name="a"><visual><geometry><mesh filename="package://x/cube.obj"/></geometry></visual>'
        b'</link>\n<link name="b"/>\n<joint name="j" type="prismatic"><parent link="a"/><child link="b"/>'
        b'<axis xyz="0 0 1"/><mimic joint="k" offset="1"/><limit lower="-1" upper="1"/></joint></robot>'
    )
    _feed(folder, "a.urdf", goods, lambda path: import_urdf(path, folder, tolerance_m=10.0), seed=6, count=COUNT // 4)


def test_glb_meshes(folder, monkeypatch):
    trimesh = pytest.importorskip("trimesh")
    from armcarry.files.import_mesh import import_mesh

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    good = trimesh.creation.box(extents=(1.0, 2.0, 3.0)).export(file_type="glb")
    _feed(folder, "a.glb", [good], lambda path: import_mesh(path, tolerance_m=10.0), seed=7, count=COUNT // 10)


@pytest.mark.long
def test_a_hundred_thousand_inputs():
    here = str(Path(__file__))
    command = [sys.executable, "-m", "pytest", "-p", "no:cacheprovider", here]
    done = subprocess.run(
        command, env={**os.environ, "ARMCARRY_FUZZ": "30000"}, capture_output=True, text=True, cwd=Path(here).parents[2]
    )
    assert done.returncode == 0, done.stdout[-4000:]


def test_scenarios_with_everything_they_name(tmp_path):
    # the script is damaged, the models it names are the good ones
    from armcarry.files.load import load_scenario

    inner = tmp_path / "inner"
    inner.mkdir()
    goods = [_beginning(text, 8000) for text in _shipped("scenarios/*.yaml")]
    _feed(inner, "scenario.yaml", goods, load_scenario, seed=5, count=max(20, COUNT // 20))
