"""What is refused, one file a kind: exit 2, one message with file and line, a traceback only with -v."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from armcarry import cli
from armcarry.errors import InputError
from armcarry.files.import_mesh import import_mesh
from armcarry.files.import_model import inspect_file
from armcarry.files.import_urdf import import_urdf

SCRIPT = "format: armcarry scenario 1\ntitle: t\npurpose: p\nplatform: tern_yard\narm: heron\nrules: tern_yard\n"
BASE = "base: {mount: trolley, station: 11 m}\n"
LINK = '<link name="a"/><link name="b"/>'
JOINT = '<joint name="j" type="revolute"><parent link="a"/><child link="b"/>%s</joint>'
LIMIT = '<limit lower="-1" upper="1" effort="1" velocity="1"/>'
CUBE = [(x, y, z) for x in (0, 1) for y in (0, 1) for z in (0, 1)]
INWARD = "".join(f"v {x} {y} {z}\n" for x, y, z in CUBE) + (
    "f 1 3 4 2\nf 5 6 8 7\nf 1 2 6 5\nf 3 7 8 4\nf 1 5 7 3\nf 2 4 8 6\n"
)


def _urdf(body: str) -> str:
    return f'<robot name="r">\n{body}\n</robot>\n'


def _mesh(name: str, attributes: str = "") -> str:
    shape = f'<mesh filename="{name}" {attributes}/>'
    return _urdf(f'<link name="a"><collision><geometry>{shape}</geometry></collision></link>')


BOMB = "a: &a [x, x]\n" + "".join(f"b{k}: &b{k} [*a, *a]\n" for k in range(9))
CASES = {
    "aliases": ("a.yaml", SCRIPT + BOMB, 7, "anchor"),
    "deep": ("a.yaml", SCRIPT + "carries: " + "[" * 200 + "]" * 200 + "\n", 7, "deep"),
    "large": ("a.yaml", SCRIPT + "# " + "x" * 5_000_000 + "\n", None, "bytes"),
    "twice": ("a.yaml", SCRIPT + "title: again\n", 7, "title"),
    "unknown": ("a.yaml", SCRIPT + BASE + "carrys: []\n", 8, "carries (nearest)"),
    "bare number": ("a.yaml", SCRIPT + "base: {mount: trolley, station: 11}\n", 7, "station"),
    "computed": ("a.yaml", SCRIPT + BASE.replace("11 m", "11 m*9^9^9"), 7, "not an accepted unit"),
    "no end": ("a.yaml", SCRIPT + BASE.replace("11 m", "9e14 m"), 7, "too large to be meant"),
    "object": ("a.yaml", SCRIPT + BASE + "x: !!python/object/apply:os.system ['touch owned']\n", 8, "tag"),
    "entity": ("a.urdf", '<!DOCTYPE r [<!ENTITY x SYSTEM "file:///etc/passwd">]>\n' + _urdf(LINK), 1, "document type"),
    "outside": ("a.urdf", _mesh("../../secret.obj"), 2, "leads out of the model folder"),
    "absolute": ("a.urdf", _mesh("/etc/passwd"), 2, "not a path inside the model folder"),
    "circle": (
        "a.urdf",
        _urdf('<link name="w"/>' + LINK + JOINT % LIMIT + JOINT.replace('"j"', '"k"').replace('"a"', '"c"')
              .replace('"b"', '"a"').replace('"c"', '"b"') % LIMIT),
        2, "circle",
    ),
    "no limits": ("a.urdf", _urdf(LINK + JOINT % ""), 2, "has no <limit>"),
    "nan": ("a.urdf", _urdf(LINK + JOINT % (LIMIT + '<origin xyz="nan 0 0"/>')), 2, "<origin xyz>"),
    "no size": (
        "a.urdf", _urdf('<link name="a"><collision><geometry><sphere radius="0"/></geometry></collision></link>'), 2,
        "no size",
    ),
    "flat mesh": ("a.urdf", _mesh("flat.obj"), 2, "flat or empty"),
    "inside out": ("a.urdf", _mesh("inward.obj"), 2, "inside out"),
    "no scale": ("a.urdf", _mesh("inward.obj", 'scale="0 1 1"'), 2, "zero or mirrored"),
}  # fmt: skip


@pytest.mark.parametrize("kind", list(CASES))
def test_one_message_with_file_and_line_and_exit_2(kind, tmp_path, monkeypatch, capsys):
    name, text, line, words = CASES[kind]
    (tmp_path / name).write_text(text)
    (tmp_path / "flat.obj").write_text("v 0 0 0\nv 1 0 0\nv 0 1 0\nf 1 2 3\n")
    (tmp_path / "inward.obj").write_text(INWARD)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(sys, "argv", ["armcarry", "validate", name])
    with pytest.raises(SystemExit) as ended:
        cli.main()
    told = capsys.readouterr().err
    assert ended.value.code == 2
    assert told.startswith(f"{name}:{line}: " if line else f"{name}: "), told
    assert words in told and "Traceback" not in told
    assert len(told) < 2000
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted({name, "flat.obj", "inward.obj"})


def test_a_traceback_is_shown_only_when_asked_for(tmp_path):
    (tmp_path / "a.yaml").write_text(CASES["unknown"][1])
    shown = {}
    for option in ([], ["-v"]):
        command = [sys.executable, "-m", "armcarry", *option, "rehearse", "a.yaml"]
        done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, env=os.environ, timeout=120)
        shown[bool(option)] = done.stderr
        assert done.returncode != 0
    assert shown[False].strip().splitlines()[-1].startswith("armcarry: a.yaml:8: unknown key 'carrys'")
    assert "Traceback" not in shown[False] and "Traceback" in shown[True]


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="a folder that nobody may write to, of Linux")
def test_what_the_system_refuses_is_told_in_one_line(tmp_path):
    (tmp_path / "a.urdf").write_text(_urdf(LINK + JOINT % LIMIT))
    for option in ([], ["-v"]):
        command = [sys.executable, "-m", "armcarry", *option, "inspect", "a.urdf", "--no-draw", "--write-model"]
        done = subprocess.run([*command, "/proc/self/x"], cwd=tmp_path, capture_output=True, text=True, timeout=120)
        if option:
            assert done.returncode != 0 and "Traceback" in done.stderr
        else:
            assert done.returncode == 2
            words = "cannot write /proc/self/x: its folder does not exist; nothing there was changed"
            assert done.stderr == f"armcarry: {words}\n"


# -- what the reader of foreign files settles or refuses ---------------------------------------------------


def test_an_inward_mesh_is_turned_and_told(tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    (tmp_path / "a.obj").write_text(INWARD)
    mesh = import_mesh(tmp_path / "a.obj", tolerance_m=0.05)
    assert mesh.notes == ("its faces point inwards; they are taken the other way round",)
    assert len(mesh.pieces.shapes) == 1 and mesh.pieces.share == pytest.approx(1.0)


def test_pieces_are_kept_by_digest_and_cut_again_when_damaged(tmp_path, monkeypatch):
    cache = tmp_path / "cache"
    monkeypatch.setenv("ARMCARRY_CACHE", str(cache))
    (tmp_path / "a.obj").write_text(INWARD)
    first = import_mesh(tmp_path / "a.obj").pieces
    (kept,) = cache.iterdir()
    monkeypatch.setattr("armcarry.files.import_mesh.convex_pieces", None)  # not needed again
    again = import_mesh(tmp_path / "a.obj").pieces
    assert np.array_equal(again.shapes[0].vertices_m, first.shapes[0].vertices_m) and again.error_m == first.error_m
    monkeypatch.undo()
    monkeypatch.setenv("ARMCARRY_CACHE", str(cache))
    kept.write_bytes(kept.read_bytes()[:100])
    assert import_mesh(tmp_path / "a.obj").pieces.error_m == first.error_m


def test_glb_is_metres_and_turned_from_y_up(tmp_path, monkeypatch):
    trimesh = pytest.importorskip("trimesh")
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    path = tmp_path / "a.glb"
    path.write_bytes(trimesh.creation.box(extents=(1.0, 2.0, 3.0)).export(file_type="glb"))
    mesh = import_mesh(path)
    assert mesh.size_m == pytest.approx([1.0, 3.0, 2.0])
    assert "glTF: y up was turned to z up" in mesh.notes
    path.write_bytes(path.read_bytes()[:60])
    with pytest.raises(InputError, match="not a GLB file"):
        import_mesh(path)


@pytest.mark.parametrize(
    ("unit", "words"), [("m", "millimetres? say --unit mm"), ("mm", None), ("in", None)]
)
def test_a_unit_that_looks_wrong_is_told(unit, words, tmp_path, monkeypatch):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))
    scaled = "".join(f"v {1000 * x} {1000 * y} {1000 * z}\n" for x, y, z in CUBE)
    (tmp_path / "a.obj").write_text(scaled + INWARD[INWARD.index("f "):])
    notes = inspect_file(tmp_path / "a.obj", unit=unit, tolerance_m=50.0).imported.notes
    assert any(words in note for note in notes) if words else not any("unit" in note for note in notes)


def test_a_file_of_a_kind_that_is_not_imported_is_told():
    with pytest.raises(InputError, match=r"a file of a kind that is not imported; found '\.step'; accepted: \.urdf"):
        inspect_file(Path("a.step"))


def test_a_package_that_lies_around_the_urdf_is_named_as_root(tmp_path):
    urdf = tmp_path / "yard" / "robots" / "one" / "urdf" / "one.urdf"
    urdf.parent.mkdir(parents=True)
    mesh = '<mesh filename="package://yard/robots/one/meshes/a.stl"/>'
    urdf.write_text(f'<robot name="r"><link name="a"><visual><geometry>{mesh}</geometry></visual></link></robot>')
    with pytest.raises(InputError) as raised:
        import_urdf(urdf)
    assert f"a path inside {urdf.parents[1]}; --root {tmp_path} allows another folder" in str(raised.value)
