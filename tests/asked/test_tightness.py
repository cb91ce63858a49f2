"""How much a way of the arm lacks, against distances measured along it."""

import numpy as np
import pytest

from armcarry.asked.tightness import COARSE_M, CONTACT_M, Tightness
from armcarry.clearance.distance import distances
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.motion.curve import Motion
from armcarry.motion.forward import forward

RULE_M = 0.6


@pytest.fixture
def scene(rider_scene):
    """Build a scene with a post at a bearing from where the tip is, or so far back towards the last boom's end.

    The arm is asked to keep RULE_M from it.
    """

    def build(bearing_rad, ruled=True, back_m=0.0):
        bare = rider_scene({})
        tip, elbow = (bare.tree.pose_of(link, bare.position)[:3, 3] for link in (bare.tool(bare.tree), "arm/l4"))
        tip = tip + back_m * (elbow - tip) / np.linalg.norm(elbow - tip)
        post = Body("post", "yard", Sphere(0.1), poses.rotation_about((0, 0, 1), bearing_rad) @ poses.translation(tip))
        rule = [{"between": ["arm", "structure"], "distance": f"{RULE_M} m"}]
        return rider_scene({}, (post,), rules={"required": rule if ruled else []})

    return build


def _turned(scene, by_rad):
    """Return a way on which the first joint turns."""
    table = np.zeros((1, 2, len(scene.position)))
    table[0, 0], table[0, 1, scene.tree.column("arm/j1")] = scene.position, by_rad / 10.0
    return Motion(scene.tree.joints, np.array([0.0, 10.0]), table)


def _least_m(scene, way, only=None):
    """Measure how near the arm, or some of its bodies, come to the post on a way."""
    tree, times = scene.tree, np.linspace(0.0, 10.0, 401)
    links = forward(tree, way.at(times), [body.link for body in tree.bodies])
    placed = links @ np.stack([body.pose for body in tree.bodies])
    names = [body.name for body in tree.bodies]  # the restraint is of the arm's class
    post = names.index("platform/post")
    mine = [k for k, name in enumerate(names) if name.startswith(("arm/", "restraint/")) and (not only or name in only)]
    pairs = np.array([(k, post) for k in mine])
    return float(distances([body.shape for body in tree.bodies], placed, pairs).upper_m.min())


def test_a_way_lacks_what_its_worst_instant_lacks(scene):
    near = scene(0.3)
    way = _turned(near, 0.2)
    lacking = RULE_M - _least_m(near, way)
    assert 0.05 < lacking < RULE_M
    assert lacking - 1e-9 <= Tightness(near).lacking_m(near.tree, way) <= lacking + COARSE_M


def test_contact_lacks_more_than_any_distance(scene):
    near = scene(0.1)
    way = _turned(near, 0.2)
    assert _least_m(near, way) <= 0.0
    assert Tightness(near).lacking_m(near.tree, way) == pytest.approx(RULE_M + CONTACT_M)


def test_a_way_that_keeps_everything_lacks_nothing(scene):
    far = scene(1.5)
    assert Tightness(far).lacking_m(far.tree, _turned(far, 0.2)) == 0.0
    unruled = scene(0.1, ruled=False)
    assert Tightness(unruled).lacking_m(unruled.tree, _turned(unruled, 0.2)) == 0.0


def test_each_tree_is_prepared_once_and_asked_by_itself(scene):
    near = scene(0.3)
    off = near.tree.attach("restraint", "world", np.eye(4))
    kept, way = Tightness(near), _turned(near, 0.2)
    first = kept.lacking_m(near.tree, way)
    prepared = kept._prepared(near.tree, way)
    assert kept._prepared(near.tree, way)[0] is prepared[0]
    assert kept._prepared(off, way)[0] is not prepared[0]
    assert kept.lacking_m(near.tree, way) == first


def test_more_may_be_asked_than_the_rules_ask(scene):
    near = scene(0.3)
    way, kept = _turned(near, 0.2), []

    def more_m(*given):
        kept.append(given)
        return np.full(len(given[2].pairs), 0.2)

    exact = {"exact_m": 1e-4}
    usual = Tightness(near, **exact).lacking_m(near.tree, way)
    assert usual == pytest.approx(RULE_M - _least_m(near, way), abs=1.1e-4)
    assert Tightness(near, more_m=more_m, **exact).lacking_m(near.tree, way) == pytest.approx(usual + 0.2, abs=2e-4)
    ((of, tree, asked),) = kept
    assert of is near and tree is near.tree and np.all(asked.required_m == RULE_M)


def test_only_what_bends_may_be_looked_at(scene):
    """A hand and what is rigid with it come to a seat alike on every branch of the arm."""
    near = scene(0.3, back_m=0.6)
    way, exact = _turned(near, 0.2), {"exact_m": 1e-4}
    booms = {body.name for body in near.tree.bodies if body.name.startswith("arm/boom")}
    of_booms = RULE_M - _least_m(near, way, booms)
    assert 0.0 < of_booms < RULE_M - _least_m(near, way)
    found = Tightness(near, bending=True, **exact).lacking_m(near.tree, way)
    assert found == pytest.approx(of_booms, abs=1.1e-4)
