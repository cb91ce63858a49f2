"""Many arcs at once: bounds that hold for everything within their slack, and that are reached."""

import numpy as np
import pytest

from armcarry.clearance import Prover, distances
from armcarry.clearance.many import Arcs, free_until, least_margins, near_pairs
from armcarry.motion.forward import forward

SEEDS = range(8)


def make_arcs(rng, tree, count=6, slack=0.03):
    """Return arcs of two joints over two pieces of degree 2, with slack in some joints."""
    n = len(tree.joints)
    base = rng.normal(size=(count, n))
    moving = sorted(rng.choice(n, 2, replace=False).tolist())
    breaks = np.cumsum(np.concatenate([np.zeros((count, 1)), rng.uniform(0.2, 1.0, (count, 2))], axis=1), axis=1)
    table = rng.normal(size=(count, 2, 3, 2)) * 0.3
    table[:, 0, 0] = base[:, moving]
    span = np.diff(breaks, axis=1)[:, 0, None]
    table[:, 1, 0] = table[:, 0, 0] + span * table[:, 0, 1] + span**2 * table[:, 0, 2]
    loose = rng.uniform(0, slack, (count, n)) * (rng.random((count, n)) < 0.6)
    until = breaks[:, 0] + rng.uniform(0.6, 1.0, count) * (breaks[:, -1] - breaks[:, 0])
    return Arcs(tuple(tree.joints[k] for k in moving), base, breaks, table, until, loose)


def measured(tree, pairs, q):
    """Return distances (N, P) of pairs at joint vectors (N, n)."""
    links = forward(tree, q, [body.link for body in tree.bodies])
    return distances([b.shape for b in tree.bodies], links @ np.stack([b.pose for b in tree.bodies]), pairs).upper_m


def tube(rng, tree, arcs, row, count=400):
    """Return parameters and joint vectors anywhere within the slack of an arc, often at its corners."""
    at = rng.uniform(arcs.breaks[row, 0], arcs.until[row], count)
    share = np.where(rng.random((count, 1)) < 0.5, rng.choice([-1, 1], (count, len(tree.joints))),
                     rng.uniform(-1, 1, (count, len(tree.joints))))
    return at, arcs.motion(row, tree.joints).at(at) + share * arcs.slack[row]


@pytest.mark.parametrize("seed", SEEDS)
def test_nothing_within_the_slack_comes_nearer_than_proven(scene_of, seed):
    rng = np.random.default_rng(seed)
    tree, _, pairs = scene_of(seed)
    asked = rng.uniform(0.0, 0.2, len(pairs))
    arcs = make_arcs(rng, tree)
    found = least_margins(Prover(tree, pairs), arcs, asked, enough_m=2.0)
    for row in range(len(arcs)):
        _, q = tube(rng, tree, arcs, row)
        assert (measured(tree, pairs, q) - asked).min() >= found.lower_m[row] - 1e-9


@pytest.mark.parametrize("seed", SEEDS)
def test_the_margin_told_is_reached_on_the_arc_and_no_pair_has_much_less(scene_of, seed):
    rng = np.random.default_rng(seed)
    tree, _, pairs = scene_of(seed)
    asked = rng.uniform(0.0, 0.2, len(pairs))
    arcs = make_arcs(rng, tree)
    found = least_margins(Prover(tree, pairs), arcs, asked, enough_m=2.0, tolerance_m=2e-3)
    for row in np.flatnonzero(found.pair >= 0):
        there = arcs.motion(row, tree.joints).at(found.at[row])
        told = (measured(tree, pairs, there[None]) - asked)[0, found.pair[row]]
        assert told == pytest.approx(found.reached_m[row], abs=1e-4)
        assert found.reached_m[row] - found.pad_m[row] - found.lower_m[row] <= 2e-3 + 1e-5


@pytest.mark.parametrize("seed", SEEDS)
def test_without_slack_the_bound_is_the_least_over_a_fine_sweep(scene_of, seed):
    rng = np.random.default_rng(seed)
    tree, _, pairs = scene_of(seed)
    arcs = make_arcs(rng, tree).without_slack()
    found = least_margins(Prover(tree, pairs), arcs, np.zeros(len(pairs)), enough_m=3.0, tolerance_m=1e-3)
    for row in range(len(arcs)):
        at = np.linspace(arcs.breaks[row, 0], arcs.until[row], 2001)
        least = measured(tree, pairs, arcs.motion(row, tree.joints).at(at)).min()
        assert least >= found.lower_m[row] - 1e-9
        assert found.lower_m[row] >= min(least, 3.0) - 3e-3


@pytest.mark.parametrize("seed", SEEDS)
def test_what_is_asked_is_kept_as_far_as_told_and_not_much_farther(scene_of, seed):
    rng = np.random.default_rng(seed)
    tree, _, pairs = scene_of(seed)
    arcs, prover = make_arcs(rng, tree), Prover(tree, pairs)
    asked = np.full(len(pairs), 0.02)
    free, pair = free_until(prover, arcs, asked, resolution=1e-3)
    exact, _ = free_until(prover, arcs.without_slack(), asked, resolution=1e-3)
    assert np.all(free <= exact + 1e-3)
    for row in range(len(arcs)):
        at, q = tube(rng, tree, arcs, row)
        early = at < free[row]
        if early.any():
            assert measured(tree, pairs, q[early]).min() >= 0.02 - 1e-9
        fine = np.linspace(arcs.breaks[row, 0], arcs.until[row], 4001)
        short = (measured(tree, pairs, arcs.motion(row, tree.joints).at(fine)) < 0.02).any(axis=1)
        first = fine[np.argmax(short)] if short.any() else arcs.until[row]
        assert exact[row] == pytest.approx(first, abs=3e-3)
        assert (pair[row] < 0) == (free[row] == arcs.until[row])


def test_a_limit_is_not_passed(scene_of):
    tree, _, pairs = scene_of(1)
    arcs = make_arcs(np.random.default_rng(1), tree)
    limit = np.full(len(arcs), 0.1)
    free, _ = free_until(Prover(tree, pairs), arcs, np.full(len(pairs), 0.01), resolution=1e-3, limit=limit)
    assert np.all(free <= 0.1)


@pytest.mark.parametrize("seed", SEEDS)
def test_pairs_left_off_the_list_have_enough_with_any_one_joint_off(scene_of, seed):
    rng = np.random.default_rng(seed)
    tree, _, pairs = scene_of(seed)
    arcs, asked = make_arcs(rng, tree), rng.uniform(0, 0.1, len(pairs))
    extra = rng.uniform(0, 0.3, arcs.slack.shape) * (rng.random(arcs.slack.shape) < 0.7)
    prover = Prover(tree, pairs)
    lists = near_pairs(prover, arcs, asked, extra, enough_m=0.2)
    order = prover.layout.order
    for row in range(len(arcs)):
        _, q = tube(rng, tree, arcs, row)
        joint = rng.integers(q.shape[1], size=len(q))
        q[np.arange(len(q)), joint] += rng.choice([-1, 0, 1], len(q)) * extra[row, joint]
        listed = order[lists.rows[lists.offsets[row] : lists.offsets[row + 1]]]
        off = np.setdiff1d(np.arange(len(pairs)), listed)
        if len(off):
            assert (measured(tree, pairs[off], q) - asked[off]).min() >= 0.2 - 1e-9


def test_lists_give_the_answer_of_all_pairs(scene_of):
    tree, _, pairs = scene_of(5)
    arcs, prover = make_arcs(np.random.default_rng(5), tree), Prover(tree, pairs)
    asked = np.full(len(pairs), 0.05)
    lists = near_pairs(prover, arcs, asked, np.zeros_like(arcs.slack), enough_m=1.0)
    every = least_margins(prover, arcs, asked, enough_m=1.0)
    some = least_margins(prover, arcs, asked, enough_m=1.0, lists=lists, which=np.arange(len(arcs)))
    assert some.lower_m == pytest.approx(every.lower_m, abs=6e-3)
    assert some.reached_m == pytest.approx(every.reached_m, abs=6e-3)


def test_a_pair_asked_nothing_is_left_out(scene_of):
    tree, _, pairs = scene_of(2)
    arcs, prover = make_arcs(np.random.default_rng(2), tree), Prover(tree, pairs)
    nothing = np.full(len(pairs), np.nan)
    assert np.all(least_margins(prover, arcs, nothing, enough_m=1.0).lower_m == 1.0)
    assert np.array_equal(free_until(prover, arcs, nothing, resolution=1e-3)[0], arcs.until)
