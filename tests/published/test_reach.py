"""The suited body's lengths against ANSUR II; what the suit leaves of its reach is an assumption, marked as one."""

import csv

import numpy as np
import pytest

from armcarry.files.load import load_scenario
from armcarry.files.places import models_folder, shared_folder
from armcarry.motion.forward import forward
from armcarry.scene.assumed import is_assumed
from armcarry.scene.build import build_scene

# size -> sex and percentile it is built from (crew document, sources)
SIZES = {"small": ("female", "p5"), "medium": ("male", "p50"), "large": ("male", "p95")}

# Gordon et al. 2014, NATICK/TR-15/007 (ANSUR II), public data, percentiles by linear interpolation, mm
PUBLISHED = {
    ("shoulder_elbow_length", "female"): (307, 334, 363), ("shoulder_elbow_length", "male"): (334, 363, 394),
    ("forearm_hand_length", "female"): (404, 438, 480), ("forearm_hand_length", "male"): (444, 480, 520),
    ("thumbtip_reach", "female"): (674, 742, 816), ("thumbtip_reach", "male"): (742, 811, 886),
    ("bideltoid_breadth", "female"): (406, 450, 499), ("bideltoid_breadth", "male"): (459, 509, 567),
    ("acromial_height", "female"): (1242, 1332, 1434), ("acromial_height", "male"): (1339, 1439, 1546),
}


def table():
    with (shared_folder() / "tables" / "ansur_ii.csv").open(encoding="utf-8") as file:
        return {(row["measure"], row["sex"]): row for row in csv.DictReader(file)}


@pytest.mark.parametrize("key", PUBLISHED, ids=lambda key: "-".join(key))
def test_the_table_holds_the_published_percentiles(key):
    row = table()[key]
    assert row["unit"] == "mm"
    assert tuple(float(row[name]) for name in ("p5", "p50", "p95")) == PUBLISHED[key]


@pytest.fixture(scope="module", params=SIZES)
def member(request, tmp_path_factory):
    text = (
        "format: armcarry scenario 1\ntitle: one size\npurpose: lengths of the suited body\nplatform: tern_yard\n"
        "arm: heron\nrules: tern_yard\nbase: {mount: quay}\nrestraint: {}\n"
        f"crew:\n  ev1: {{size: {request.param}, posture: neutral, at: arm}}\n"
    )
    path = tmp_path_factory.mktemp(request.param) / "scenario.yaml"
    path.write_text(text, encoding="utf-8")
    return request.param, build_scene(load_scenario(path))


def _length(size, measure):
    sex, percentile = SIZES[size]
    return float(table()[(measure, sex)][percentile]) / 1000


def _straight(scene):
    """Link positions of the body with every joint at zero: standing, arms hanging."""
    q = scene.position.copy()
    for column, joint in enumerate(scene.tree.joints):
        if joint.startswith("ev1/"):
            q[column] = 0.0
    links = forward(scene.tree, q)
    return {link: links[k, :3, 3] for k, link in enumerate(scene.tree.links)}


def test_upper_arm_and_shoulders_have_the_published_lengths(member):
    size, scene = member
    at = _straight(scene)
    elbow = np.linalg.norm(at["ev1/left_forearm"] - at["ev1/left_shoulder"])
    assert elbow == pytest.approx(_length(size, "shoulder_elbow_length"), abs=5e-4)
    apart = np.linalg.norm(at["ev1/left_shoulder"] - at["ev1/right_shoulder"])
    # joints lie inside the breadth over the upper arms
    assert 0.8 * _length(size, "bideltoid_breadth") < apart < _length(size, "bideltoid_breadth")


def test_the_arm_ends_at_the_grip_short_of_the_fingertips(member):
    size, scene = member
    at = _straight(scene)
    grip = np.linalg.norm(at["ev1/left_glove"] - at["ev1/left_forearm"])
    assert 0.75 * _length(size, "forearm_hand_length") < grip < _length(size, "forearm_hand_length")


def test_a_suit_leaves_less_than_the_bare_arm_and_less_than_the_published_thumbtip_reach(member):
    size, scene = member
    at = _straight(scene)
    bare = np.linalg.norm(at["ev1/left_glove"] - at["ev1/left_shoulder"])
    reach = scene.loaded.crew["ev1"].size.reach
    assert 0.5 * bare < reach.two_hand <= reach.one_hand < bare
    # measured from the wall behind the shoulders, so longer than from the shoulder joint
    assert reach.one_hand < _length(size, "thumbtip_reach")


def test_what_the_suit_leaves_is_marked_as_an_assumption(member):
    size, scene = member
    path = scene.loaded.crew["ev1"].path
    assert is_assumed(scene.loaded, path, f"sizes.{size}.reach")
    # 43 in (1.09 m) of MSIS section 14, value from memory, the text was not read: so an assumption as well
    assert is_assumed(scene.loaded, path, "corridor")
    assert scene.loaded.crew["ev1"].document.corridor == pytest.approx(1.09, abs=0.05)
    assert models_folder() in path.parents
