"""Names of files in files: whatever stands there, nothing outside the folder is opened and the line is told."""

import pytest

NAMES = [
    "", " ", ".", "..", "/", "~", "none", "../secret.obj", "../../secret.obj", "leads_out.obj",
    "meshes", "meshes/../../secret.obj", "package://", "package://x", "package://../secret.obj", "package:///etc/passwd",
    "file:///etc/passwd", "/etc/passwd", "/dev/zero", "/proc/self/environ", "C:\\x.obj", "\\\\server\\x.obj", "a:b.obj",
    "http://x/y.obj", "x" * 255 + ".obj", "x" * 300, "x/" * 190 + "y.obj", "é" * 200 + ".obj", "cube.obj/x",
    "a.yaml", "a.urdf", "\u202e.obj", "\U0001f600.obj",
]  # fmt: skip
ONLY_YAML = ["\0", "a\0b.obj", "\x1b[2J.obj", "\ud800.obj", "\udcff.obj", "a\nb"]


@pytest.mark.parametrize("ending", ["", *(pytest.param(end, marks=pytest.mark.long) for end in (".urdf", ".yaml"))])
@pytest.mark.parametrize("kind", ["hardware", "scenario", "urdf", "foreign urdf"])
def test_any_name_is_refused_with_its_line(kind, ending, kit, watch, folder, monkeypatch):
    import json

    from armcarry.files.import_urdf import import_urdf
    from armcarry.files.load import load_scenario

    monkeypatch.setenv("ARMCARRY_CACHE", str(folder.parent / "cache"))
    named = [name + ending for name in (NAMES if "urdf" in kind else NAMES + ONLY_YAML)]
    begin, read = {
        "hardware": ("format: armcarry hardware 1\ntitle: t\nmass: 1 kg\nbase: base\nhandhold: base\nurdf: ",
                     kit.read_yaml),
        "scenario": ("format: armcarry scenario 1\ntitle: t\npurpose: p\narm: heron\nrules: tern_yard\n"
                     "base: {mount: trolley, station: 11 m}\nplatform: ", load_scenario),
        "urdf": ("", kit.read_urdf),
        "foreign urdf": ("", lambda path: import_urdf(path, folder)),
    }[kind]  # fmt: skip
    path = folder / ("a.urdf" if "urdf" in kind else "a.yaml")
    for name in named:
        mesh = f'<collision><geometry><mesh filename="{name}"/></geometry></collision>'
        text = f"{begin}{json.dumps(name)}\n" if begin else f'<robot name="r">\n<link name="a">{mesh}</link>\n</robot>'
        path.write_text(text, encoding="utf-8")
        assert not kit.read_fairly(watch, folder, path, read), name
