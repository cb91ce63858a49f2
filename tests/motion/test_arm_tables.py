import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from arm_tables import DhRow, from_dh, from_screws
from armcarry.errors import MotionError
from armcarry.geometry import poses
from armcarry.motion.chain import Chain
from armcarry.motion.jacobian import jacobian
from armcarry.scene.tree import Tree

sizes = st.floats(-2, 2, allow_nan=False)
rows_of_dh = st.lists(
    st.builds(DhRow, sizes, sizes, sizes, sizes, st.sampled_from(["revolute", "prismatic"])), min_size=1, max_size=8
)


def chain_of(model):
    return Chain.of(Tree().place("arm", model), "world", "arm/flange")


def by_table(rows, q, modified):
    pose = np.eye(4)
    for row, value in zip(rows, q, strict=True):
        theta = row.theta_rad + (value if row.kind == "revolute" else 0.0)
        d = row.d_m + (value if row.kind == "prismatic" else 0.0)
        joint = poses.rotation_about((0, 0, 1), theta) @ poses.translation((0, 0, d))
        link = poses.translation((row.a_m, 0, 0)) @ poses.rotation_about((1, 0, 0), row.alpha_rad)
        pose = pose @ (link @ joint if modified else joint @ link)
    return pose


@settings(max_examples=60, deadline=None)
@given(rows_of_dh, st.booleans(), st.integers(0, 10**6))
def test_a_table_becomes_its_product_of_links(rows, modified, seed):
    q = np.random.default_rng(seed).uniform(-3, 3, len(rows))
    chain = chain_of(from_dh(rows, modified=modified))
    np.testing.assert_allclose(chain.forward(q), by_table(rows, q, modified), atol=1e-12)


@settings(max_examples=60, deadline=None)
@given(rows_of_dh, st.integers(0, 10**6))
def test_table_to_screws_and_back_to_a_tree_gives_the_same_pose(rows, seed):
    q = np.random.default_rng(seed).uniform(-3, 3, len(rows))
    chain = chain_of(from_dh(rows))
    zero = np.zeros(len(rows))
    home = chain.forward(zero)
    at_origin = jacobian(chain, zero, poses.inverse(home))  # velocity of the point at the base's origin
    screws = np.concatenate([at_origin[3:], at_origin[:3]]).T
    model, coupling = from_screws(home, screws)
    np.testing.assert_allclose(coupling, np.eye(len(rows)), atol=1e-9)
    np.testing.assert_allclose(chain_of(model).forward(coupling @ q), chain.forward(q), atol=1e-9)


def test_limits_and_names_are_kept():
    model = from_dh([DhRow(1, 0, 0), DhRow(1, 0, 0)], limits=[(-1, 2), (-3, 4)], name="two")
    assert model.name == "two" and model.links == ("base", "link1", "link2", "flange")
    assert [(joint.lower, joint.upper) for joint in model.movable()] == [(-1, 2), (-3, 4)]
    assert np.isinf(from_dh([DhRow(1, 0, 0)]).joints[0].upper)


def test_a_screw_that_is_not_normalised_is_told():
    with pytest.raises(MotionError, match="screw 2 is not normalised: its axis has length 2"):
        from_screws(np.eye(4), [(0, 0, 1, 0, 0, 0), (0, 0, 2, 0, 0, 0)])
