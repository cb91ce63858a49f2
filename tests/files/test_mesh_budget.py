"""Meshes from others: how much they would cost is counted before the work, and told with what raises the limit."""

import json
import resource
import struct
import subprocess
import sys
import time

import numpy as np
import pytest

from armcarry.errors import InputError
from armcarry.files.import_mesh import import_mesh
from armcarry.files.import_model import inspect_file
from armcarry.files.pieces import convex_pieces
from armcarry.files.samples import sample_count, sampled

#: a program starts with the most memory that whoever starts it ever used: a shell, which starts small, stands between
SMALL = ["/bin/sh", "-c", '"$@"; exit $?', "sh"]
INSPECT = """
import resource, sys
from pathlib import Path
from armcarry.files.import_mesh import import_mesh
mesh = import_mesh(Path(sys.argv[1]))
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss, mesh.notes[-1])
"""


def large_triangles(count):
    """Return the bytes of an STL whose triangles all span the whole."""
    corners = np.random.default_rng(3).uniform(0.0, 1.0, (count, 3, 3)).astype("<f4")
    body = np.zeros(count, np.dtype([("normal", "<f4", 3), ("corners", "<f4", (3, 3)), ("attribute", "<u2")]))
    body["corners"] = corners
    return b"x".ljust(80) + struct.pack("<I", count) + body.tobytes()


@pytest.mark.parametrize("sliver", [False, True])
def test_samples_are_counted_before_they_are_made(sliver):
    soup = np.random.default_rng(5).uniform(0.0, 1.0, (50, 3, 3))
    if sliver:
        soup[:, 2] = soup[:, 0] + 0.5 * (soup[:, 1] - soup[:, 0]) + 1e-3
    for step in (2.0, 0.1, 0.02):
        made, counted = len(sampled(soup, step)), sample_count(soup, step)
        assert made <= counted <= 12 * made


@pytest.mark.skipif(sys.platform == "win32", reason="how much memory a process used, of POSIX")
def test_many_large_triangles_are_measured_more_coarsely_and_told(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    (tmp_path / "a.stl").write_bytes(large_triangles(10_000))
    before = resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime
    command = [*SMALL, sys.executable, "-c", INSPECT, str(tmp_path / "a.stl")]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    used_kb, told = done.stdout.split(" ", 1)
    assert int(used_kb) < 1_500_000
    assert resource.getrusage(resource.RUSAGE_CHILDREN).ru_utime - before < 20.0
    assert "times as coarsely as usual; --most-triangles above 500000 measures finer" in told


def test_what_is_measured_coarsely_is_still_a_bound():
    from armcarry.files.meshes import Triangles, merged

    soup = np.random.default_rng(3).uniform(0.0, 1.0, (60, 3, 3))
    mesh = merged(Triangles(soup.reshape(-1, 3), np.arange(180).reshape(-1, 3)))
    fine = convex_pieces(mesh, closed=False, most=2)
    coarse = convex_pieces(mesh, closed=False, most=2, most_triangles=2_000)
    assert fine.coarser == 1.0 < coarse.coarser
    assert fine.error_m <= coarse.error_m < fine.error_m + 0.2


@pytest.mark.parametrize(
    ("name", "content", "what"),
    [
        ("a.obj", b"\nv 1.0 1.0 1.0" * 1_600_000, "vertices; found 1600000"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\n" + b"f 1 2 3\n" * 500_001, "triangles; found 500001"),
        ("a.obj", b"v 0 0 0\nv 1 0 0\nv 0 1 0\nf" + b" 1 2 3" * 200_000, "triangles; found 600001"),
        ("a.stl", b"solid a\nfacet normal 0 0 1\n" + b"vertex 0 0 0\n" * 1_600_000, "vertices; found 1600000"),
    ],
)
def test_too_much_is_refused_before_it_is_read(tmp_path, name, content, what):
    (tmp_path / name).write_bytes(content)
    begun = time.process_time()
    with pytest.raises(InputError) as caught:
        import_mesh(tmp_path / name)
    assert time.process_time() - begun < 5.0
    assert str(caught.value).startswith(f"{tmp_path / name}: too many {what}; accepted: at most ")
    assert str(caught.value).endswith("armcarry inspect --most-triangles N reads more of a model from elsewhere")


def test_the_option_raises_the_limit(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "a.obj"
    path.write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nv 0 0 1\nf 1 3 2\nf 1 2 4\nf 1 4 3\nf 2 3 4\n")
    with pytest.raises(InputError, match="too many triangles; found 4; accepted: at most 3"):
        inspect_file(path, most_triangles=3)
    assert inspect_file(path, most_triangles=4).model.bodies


def glb(asset):
    text = json.dumps({"asset": {"version": "2.0"}, **asset}).encode()
    text += b" " * (-len(text) % 4)
    return struct.pack("<5I", 0x46546C67, 2, 20 + len(text), len(text), 0x4E4F534A) + text


MESH = {"meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}]}
FEW = {"accessors": [{"count": 300, "componentType": 5126, "type": "VEC3"}], **MESH}


@pytest.mark.parametrize(
    ("asset", "words"),
    [
        ({"accessors": [{"count": 10**9, "componentType": 5126, "type": "VEC3"}], **MESH}, "too many vertices"),
        ({**FEW, "nodes": [{"mesh": 0}] * 9_000}, "too many vertices; found 2700000"),
        ({**FEW, "nodes": [{"mesh": 0}] * 10_001}, "too many nodes; found 10001"),
        ({**FEW, "nodes": [{"children": [k + 1, k + 1]} for k in range(30)]}, "a node that hangs from two others"),
        ({"accessors": [3]}, "not a GLB file: TypeError"),
        ({"meshes": 3}, "not a GLB file: TypeError"),
    ],
)
def test_a_glb_that_makes_much_of_little_is_refused(tmp_path, asset, words):
    pytest.importorskip("trimesh")
    (tmp_path / "a.glb").write_bytes(glb(asset))
    begun = time.process_time()
    with pytest.raises(InputError, match=words):
        import_mesh(tmp_path / "a.glb")
    assert time.process_time() - begun < 2.0
