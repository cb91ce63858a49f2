import re
import subprocess
import sys
from pathlib import Path

import pytest

from armcarry.files.places import models_folder

MODELS = models_folder()
GENERATED = ("*.urdf", "*.obj")
#: small things by name alone: a mass, and no body that could be seen or checked
WITHOUT_SHAPE = {"driver", "tool_bag"}


def test_running_the_generator_gives_the_kept_files_byte_for_byte(tmp_path):
    subprocess.run([sys.executable, MODELS / "generator" / "make.py", tmp_path], check=True)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    kept = {path.relative_to(MODELS) for pattern in GENERATED for path in MODELS.rglob(pattern)}
    assert kept <= set(made)
    assert len(made) == len(kept) + 2  # and the documents of platform and crew
    assert not [str(path) for path, content in made.items() if (MODELS / path).read_bytes() != content]


@pytest.mark.parametrize("urdf", sorted(MODELS.rglob("*.urdf")), ids=lambda path: path.stem)
def test_two_engines_read_every_urdf_without_a_word(urdf):
    pytest.importorskip("pinocchio")
    pytest.importorskip("pybullet")
    script = (
        "import sys, pinocchio as pin, pybullet as p\n"
        "path, folder = sys.argv[1:]\n"
        "model = pin.buildModelFromUrdf(path)\n"
        "found = [pin.buildGeomFromUrdf(model, path, kind, package_dirs=[folder]).ngeoms\n"
        "         for kind in (pin.GeometryType.COLLISION, pin.GeometryType.VISUAL)]\n"
        "p.connect(p.DIRECT)\n"
        "body = p.loadURDF(path, useFixedBase=True)\n"
        "shapes = sum(len(p.getCollisionShapeData(body, k)) for k in range(-1, p.getNumJoints(body)))\n"
        "print(*found, shapes)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, urdf, urdf.parent], capture_output=True, text=True, check=True, cwd=Path.cwd()
    )
    bodies = urdf.read_text(encoding="utf-8").count("<collision")
    assert done.stdout.split()[-3:] == [str(bodies)] * 3
    words = [line for line in (done.stdout + done.stderr).splitlines() if "arning" in line or "rror" in line]
    assert words == []


@pytest.mark.parametrize("urdf", sorted(MODELS.rglob("*.urdf")), ids=lambda path: path.stem)
def test_what_is_seen_is_what_is_checked(urdf):
    text = urdf.read_text(encoding="utf-8")
    seen = re.findall(r'<visual name="([^"]+)">(<origin [^>]*/>)<geometry>(.*?)</geometry>', text)
    checked = re.findall(r'<collision name="([^"]+)">(<origin [^>]*/>)<geometry>(.*?)</geometry>', text)
    assert len(seen) == text.count("<visual")
    assert len(checked) == text.count("<collision")
    assert (len(seen) == 0) == (urdf.stem in WITHOUT_SHAPE)
    assert seen == checked


@pytest.mark.parametrize("name", sorted(WITHOUT_SHAPE))
def test_a_thing_without_a_shape_has_the_mass_its_document_states(name):
    folder = MODELS / "hardware" / name
    stated = re.search(r"^mass: (\S+) kg$", (folder / f"{name}.yaml").read_text(encoding="utf-8"), re.MULTILINE)[1]
    masses = re.findall(r'<mass value="([^"]+)"/>', (folder / f"{name}.urdf").read_text(encoding="utf-8"))
    assert masses == [stated, "0.001"]  # and the grip, which is only a frame
