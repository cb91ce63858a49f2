"""Arms of others as models: names kept, pieces as close as asked or not and told, nothing left unjudged unsaid."""

import json

import numpy as np
import pytest
from typer.testing import CliRunner

from armcarry.cli import app
from armcarry.files.import_mesh import import_mesh
from armcarry.files.import_urdf import import_urdf, obj_text
from armcarry.files.load import validate_files
from armcarry.files.yaml_text import read_yaml
from armcarry.geometry.shapes import ConvexMesh

CUBE = np.array([[x, y, z] for x in (-0.2, 0.2) for y in (-0.1, 0.1) for z in (-0.1, 0.1)])
LINK = (
    '<link name="l{0}"><collision name="boom_{0}"><origin xyz="0.5 0 0"/><geometry><box size="{1} 0.1 0.1"/></geometry>'
)


@pytest.fixture(autouse=True)
def own_cache(monkeypatch, tmp_path):
    monkeypatch.setenv("ARMCARRY_CACHE", str(tmp_path / "cache"))


def folding_arm(folder):
    """Six links in a row, each a beam about its link's middle that overlaps the next one's end."""
    links = "".join(f"{LINK.format(k, 1.1)}</collision></link>" for k in range(6))
    joints = "".join(
        f'<joint name="j{k}" type="revolute"><parent link="l{k}"/><child link="l{k + 1}"/><origin xyz="1 0 0"/>'
        '<axis xyz="0 0 1"/><limit lower="-3" upper="3" effort="1" velocity="1"/></joint>'
        for k in range(5)
    )
    path = folder / "folding.urdf"
    path.write_text(f'<robot name="folding">{links}{joints}</robot>')
    return path


def test_a_boom_that_may_go_through_another_is_judged_and_what_is_not_is_told(tmp_path):
    said = CliRunner().invoke(
        app, ["inspect", str(folding_arm(tmp_path)), "--no-draw", "--json", "--write-model", str(tmp_path / "own")]
    )
    assert said.exit_code == 0, said.output
    document = read_yaml(tmp_path / "own" / "own.yaml").data
    # beams next to each other overlap at the joint wherever it stands; those two apart only where the arm folds
    assert document["ignore_pairs"] == [[f"boom_{k}", f"boom_{k + 1}"] for k in range(5)]
    told = json.loads(said.output)["not_judged"]
    assert told[0] == "boom_0 and boom_1 touch in every posture, proven over the travel of joint 'j0'"
    assert all(f"Not judged: {reason}." in document["notes"] for reason in told)
    assert validate_files([tmp_path / "own" / "own.yaml"]) == []
    words = CliRunner().invoke(app, ["inspect", str(folding_arm(tmp_path)), "--no-draw"])
    assert f"not judged: {told[0]}" in words.output.replace("\n", " ").replace("  ", " ")


@pytest.mark.parametrize("limit", ['velocity="1e300"', 'velocity="3e6"', 'lower="2" upper="1e9"'])
def test_a_limit_that_nothing_reaches_is_no_limit_and_the_model_can_be_written(tmp_path, limit):
    path = folding_arm(tmp_path)
    key = limit.partition("=")[0]
    text = path.read_text()
    old = 'velocity="1"' if key == "velocity" else 'lower="-3" upper="3"'
    path.write_text(text.replace(old, limit))
    said = CliRunner().invoke(app, ["inspect", str(path), "--no-draw", "--write-model", str(tmp_path / "own")])
    assert said.exit_code == 0, said.output
    document = read_yaml(tmp_path / "own" / "own.yaml").data
    if key == "velocity":
        assert document["loads"]["free"]["joint_rate"]["j0"] == "0.1 rad/s"  # 0.2 of what is assumed
    else:
        assert document["home"]["j0"] == "114.59155902616465 deg"  # the end of travel that is there
    assert validate_files([tmp_path / "own" / "own.yaml"]) == []


def test_a_picture_is_drawn_beside_the_model_or_where_it_is_asked_for_and_nowhere_else(tmp_path, monkeypatch):
    arm = folding_arm(tmp_path)
    here = tmp_path / "here"
    here.mkdir()
    monkeypatch.chdir(here)
    drawn = []
    monkeypatch.setattr("armcarry.views.inspected.draw", lambda seen, path: drawn.append(path) or path)
    for options in ([], ["--write-model", str(tmp_path / "own")], ["--picture", str(tmp_path / "it.png")]):
        assert CliRunner().invoke(app, ["inspect", str(arm), *options]).exit_code == 0
    assert drawn == [tmp_path / "own" / "folding_inspected.png", tmp_path / "it.png"]
    assert list(here.iterdir()) == []


def test_names_of_collisions_are_kept(tmp_path):
    (tmp_path / "cube.obj").write_text(obj_text(ConvexMesh.hull_of(CUBE)))
    (tmp_path / "a.urdf").write_text(
        '<robot name="r"><link name="hull"><collision name="left wing"><geometry><mesh filename="cube.obj"/></geometry>'
        '</collision><collision><geometry><sphere radius="1"/></geometry></collision><collision name="left wing">'
        '<geometry><sphere radius="2"/></geometry></collision></link></robot>'
    )
    made = import_urdf(tmp_path / "a.urdf", tmp_path)
    for name in ("left_wing", "hull_2", "left_wing_2"):
        assert f'<collision name="{name}">' in made.urdf
    assert made.notes == ["a.urdf:1: a second <collision> is named 'left_wing'; it is called 'left_wing_2' here"]


def test_a_box_sticks_out_of_itself_by_nothing(tmp_path):
    (tmp_path / "cube.obj").write_text(obj_text(ConvexMesh.hull_of(CUBE)))
    mesh = import_mesh(tmp_path / "cube.obj")
    assert (mesh.pieces.error_m, len(mesh.pieces.shapes), mesh.notes) == (0.0, 1, ())


def dish(path, rings=12, around=24):
    """Write half a hollow ball of 1 m, 20 mm thick, closed."""
    turn = np.linspace(0, 2 * np.pi, around, endpoint=False)
    points, faces = [], []
    for radius in (1.0, 0.98):
        for tilt in np.linspace(0.05, np.pi / 2, rings):
            points += [(radius * np.sin(tilt) * np.cos(t), radius * np.sin(tilt) * np.sin(t), -radius * np.cos(tilt))
                       for t in turn]  # fmt: skip
    outer, inner = 0, rings * around

    def quad(a, b, c, d):
        faces.extend([(a, b, c), (a, c, d)])

    for k in range(around):
        n = (k + 1) % around
        for r in range(rings - 1):
            low, high = r * around, (r + 1) * around
            quad(outer + low + k, outer + high + k, outer + high + n, outer + low + n)
            quad(inner + low + n, inner + high + n, inner + high + k, inner + low + k)
        rim = (rings - 1) * around
        quad(outer + rim + k, inner + rim + k, inner + rim + n, outer + rim + n)
        quad(outer + n, inner + n, inner + k, outer + k)
    lines = [f"v {x} {y} {z}" for x, y, z in points] + [f"f {a + 1} {b + 1} {c + 1}" for a, b, c in faces]
    path.write_text("\n".join(lines))


@pytest.mark.long
def test_a_dish_is_cut_as_finely_as_asked_or_it_is_said(tmp_path):
    dish(tmp_path / "dish.obj")
    coarse = import_mesh(tmp_path / "dish.obj", tolerance_m=0.3)
    assert coarse.pieces.error_m <= 0.3
    assert not any("stick out" in note for note in coarse.notes)
    few = import_mesh(tmp_path / "dish.obj", tolerance_m=0.001)
    assert few.pieces.error_m <= coarse.pieces.error_m
    told = [note for note in few.notes if "stick out" in note]
    assert told == [
        f"its 16 pieces stick out by up to {1e3 * few.pieces.error_m:.1f} mm, not kept within the 1 mm asked for"
    ]


def test_what_was_passed_over_and_what_follows_stands_in_the_output_and_in_the_written_model(tmp_path):
    path = folding_arm(tmp_path)
    finger = (
        '<link name="finger"/><joint name="grip" type="prismatic"><parent link="l5"/><child link="finger"/>'
        '<limit lower="0" upper="0.1" effort="1" velocity="1"/></joint><link name="thumb"/>'
        '<joint name="other" type="prismatic"><parent link="l5"/><child link="thumb"/><gazebo_thing/>'
        '<limit lower="0" upper="0.2" effort="1" velocity="1"/><mimic joint="grip" multiplier="2"/></joint></robot>'
    )
    path.write_text(path.read_text().replace("</robot>", finger))
    said = CliRunner().invoke(app, ["inspect", str(path), "--no-draw", "--write-model", str(tmp_path / "own")])
    assert said.exit_code == 0, said.output
    written = read_yaml(tmp_path / "own" / "own.yaml").data
    for words in ("passed over <gazebo_thing>", "joint 'other' follows 'grip'"):
        assert words in said.output and words in written["notes"]
    assert '<mimic joint="grip" multiplier="2"/>' in (tmp_path / "own" / "own.urdf").read_text()
    assert {name: written["home"][name] for name in ("grip", "other")} == {"grip": "0.0 m", "other": "0.0 m"}
    assert validate_files([tmp_path / "own" / "own.yaml"]) == []
