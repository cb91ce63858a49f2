"""What lacks at the ends of a way is allowed on it to those two bodies, and to no others."""

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Cylinder
from armcarry.planning.space import TOLERANCE_M, ArmSpace, space_between, uncertain_m
from armcarry.planning.ways import standing

BUDGET = {"arm_positioning": {"title": "arm", "amount": "0.05 m", "applies_to": ["arm", "rider"]}}
REQUIRED = [{"between": [a, "structure"], "distance": "0.3 m"} for a in ("arm", "rider")]


def _post(name, degrees, radius=2.9):
    x, y = radius * np.cos(np.radians(degrees)), radius * np.sin(np.radians(degrees))
    return Body(name, "yard", Cylinder(0.1, 2.0), poses.from_xyz_rpy((x, y, 1.0), (0, 0, 0)))


@pytest.fixture
def two_posts(rider_scene):
    """The arm starts beside one post and turns towards another as near."""
    moves = [{"to_joints": {"j1": "60 deg"}, "name": "over"}]
    script = {"carries": [{"name": "swing", "moves": moves}], "start": {"j1": "0 deg"}}
    return rider_scene({}, [_post("here", -4.0), _post("there", 40.0)], script=script,
                       rules={"required": REQUIRED, "budget": BUDGET})  # fmt: skip


def _asked(space, name):
    rows = [row for row in range(len(space.pairs)) if f"platform/{name}" in space.pair_names(row)[:2]]
    return np.array([space.pair_names(row)[2] for row in rows])


def test_two_bodies_may_come_as_near_as_at_the_end_and_others_may_not(two_posts):
    scene, home = two_posts, two_posts.position[two_posts.arm_columns][None]
    whole = ArmSpace(scene, scene.tree, scene.position, budget=True)
    assert set(np.round(_asked(whole, "here"), 6)) == {0.35}
    space = space_between(scene, scene.tree, scene.position, home, as_ends=True)
    lowered, kept = _asked(space, "here"), _asked(space, "there")
    assert lowered.min() < 0.3 and np.all(kept == pytest.approx(0.35))
    assert float(space.margins(standing(home)).lower_m.min()) >= 0.0
    there = home.copy()
    there[0, 0] = np.radians(44.0)  # beside the other post, as near as to the first one
    assert float(space.margins(standing(there)).lower_m.min()) < -0.1
    assert np.all(_asked(whole, "here") == pytest.approx(0.35))  # the space that it was made of is as it was


def test_of_a_script_only_the_budget_is_given_up_never_what_the_rules_ask(two_posts):
    scene, home = two_posts, two_posts.position[two_posts.arm_columns][None]
    asked = _asked(space_between(scene, scene.tree, scene.position, home), "here")
    assert asked.min() == pytest.approx(0.3) and asked.max() <= 0.35 + 1e-9
    assert float(space_between(scene, scene.tree, scene.position, home).margins(standing(home)).lower_m.min()) < 0.0


def test_no_uncertainty_is_asked_for_beyond_what_a_place_grants(two_posts):
    from armcarry.asked.relaxed import Relaxed
    from armcarry.asked.requirement import RULE, arm_asked

    granted = Relaxed("arm/*", "platform/here", 0.1, -np.inf, np.inf, "by eye", "place")
    asked = arm_asked(two_posts, two_posts.tree, (granted,))
    more = uncertain_m(two_posts, two_posts.tree, asked)
    eye = asked.why != RULE
    assert eye.any() and np.all(more[eye] == 0.0) and more[~eye].max() == pytest.approx(0.05)
    assert TOLERANCE_M < 0.05
