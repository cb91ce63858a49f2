"""Cells of time and what is kept of them: cut at pieces of the motion, halved until told, in the order of time."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.clearance.many import Margins
from armcarry.motion.curve import Motion
from armcarry.whatif.cells import ENOUGH_M, ROOT_S, SHORTEST_S, Leaves, Roots, pieces_of, refine


def _motion(*pieces):
    """Return a motion of one joint from (lasts, rate) of its pieces."""
    breaks = np.cumsum([0.0, *(lasts for lasts, _ in pieces)])
    table = np.zeros((len(pieces), 2, 1))
    table[:, 1, 0] = [rate for _, rate in pieces]
    return Motion(("arm/a",), breaks, table)


def test_a_stretch_is_cut_where_pieces_meet_and_moving_pieces_into_short_cells():
    motion = _motion((20.0, 0.0), (9.0, 0.1), (1.0, 0.0), (ROOT_S, 0.1), (50.0, 0.0))
    starts, ends = pieces_of(motion, 5.0, 40.0)
    assert starts.tolist() == [5.0, 20.0, 23.0, 26.0, 29.0, 30.0, 34.0]
    assert ends.tolist() == [20.0, 23.0, 26.0, 29.0, 30.0, 34.0, 40.0]
    within = pieces_of(motion, 21.0, 28.0)
    assert within[0].tolist() == [21.0, 24.5] and within[1].tolist() == [24.5, 28.0]
    edges = pieces_of(motion, 20.0, 29.0)  # nothing is cut where it begins or ends
    assert edges[0].tolist() == [20.0, 23.0, 26.0] and edges[1].tolist() == [23.0, 26.0, 29.0]


def _leaves(start_s, fault):
    count = len(start_s)
    start_s = np.array(start_s)
    return Leaves(start_s, start_s + 1.0, np.array(fault), start_s / 10, start_s / 5, np.arange(count), start_s * 2)


def test_several_are_joined_by_fault_each_in_the_order_of_time():
    joined = Leaves.joined([_leaves([3.0, 1.0], [1, 0]), _leaves([0.0, 2.0], [1, 0])])
    assert joined.fault.tolist() == [0, 0, 1, 1]
    assert joined.start_s.tolist() == [1.0, 2.0, 0.0, 3.0]
    assert joined.at.tolist() == [2.0, 4.0, 0.0, 6.0]
    some = joined.take(np.array([2, 0]))
    assert (some.start_s.tolist(), some.fault.tolist(), some.pair.tolist()) == ([0.0, 1.0], [1, 0], [0, 1])


@pytest.fixture
def refined():
    """Refine 8 s in two roots by a measure: margins at the middle, and by how much less is proven for a second."""

    def build(margin, slack_m_s, counts=(1, 1), faults=1, band_m=0.02, told_s=0.5):
        asked = []

        def measure(starts, ends, fault, root):
            asked.append((starts, ends, fault, root))
            reached = np.array([margin(a, b, f) for a, b, f in zip(starts, ends, fault, strict=True)])
            pad = slack_m_s * (ends - starts)
            enough = reached - pad >= ENOUGH_M
            lower = np.minimum(reached - pad, ENOUGH_M)
            return Margins(lower, np.where(enough, np.inf, reached), np.full(len(starts), 7), starts / 2, pad)

        roots = Roots(np.array([0.0, 4.0]), np.array([4.0, 8.0]), SimpleNamespace(counts=np.array(counts)))
        return refine(roots, measure, faults, band_m=band_m, told_s=told_s), asked

    return build


def _middle(a, b, _fault):
    return 0.1 + 0.02 * (a + b) / 2


def test_cells_cover_each_fault_once_and_are_halved_until_what_is_proven_is_close(refined):
    found, _ = refined(_middle, 0.1, faults=2)
    for fault in (0, 1):
        mine = found.take(np.flatnonzero(found.fault == fault))
        assert mine.start_s[0] == 0.0 and mine.end_s[-1] == 8.0
        assert np.array_equal(mine.start_s[1:], mine.end_s[:-1])
    assert np.all(found.lower_m >= 0) and np.all(found.pair == 7)
    assert np.all(found.reached_m - found.lower_m <= np.maximum(0.02, found.lower_m / 2) + 1e-12)
    wide, _ = refined(_middle, 0.1, band_m=0.2)
    assert len(wide.start_s) < len(found.start_s) / 2
    assert found.at == pytest.approx(found.start_s / 2)


def test_roots_without_a_pair_are_not_asked_about_and_have_enough(refined):
    found, asked = refined(_middle, 0.1, counts=(0, 1), faults=2)
    assert all(np.all(starts >= 4.0) and np.all(root == 1) for starts, _, _, root in asked)
    idle = found.take(np.flatnonzero(found.pair < 0))
    assert (idle.start_s.tolist(), idle.end_s.tolist(), idle.fault.tolist()) == ([0.0, 0.0], [4.0, 4.0], [0, 1])
    assert idle.lower_m.tolist() == [ENOUGH_M] * 2 and np.all(np.isinf(idle.reached_m)) and np.all(np.isnan(idle.at))
    none, asked = refined(_middle, 0.1, counts=(0, 0))
    assert asked == [] and len(none.start_s) == 2


def test_where_there_is_too_little_it_is_told_as_exactly_as_asked(refined):
    found, _ = refined(lambda a, b, _: -0.3, 0.1, told_s=0.5)
    assert np.all(found.end_s - found.start_s <= 0.5) and np.all(found.end_s - found.start_s > 0.25)
    coarse, _ = refined(lambda a, b, _: -0.3, 0.1, told_s=4.0)
    assert len(coarse.start_s) == 2
    exact, _ = refined(lambda a, b, _: -0.3, 0.0, told_s=0.5)  # nothing is gained by halving
    assert len(exact.start_s) == 2


def test_what_stays_open_is_halved_to_the_shortest_and_no_further(refined):
    found, _ = refined(lambda a, b, _: 0.001 if a <= 3.0 <= b else 0.4, 0.5)
    open_ = found.lower_m < 0
    assert open_.any() and np.all((found.end_s - found.start_s)[open_] <= SHORTEST_S)
    assert (found.end_s - found.start_s).min() > SHORTEST_S / 2


def test_enough_is_enough_at_once(refined):
    found, asked = refined(lambda a, b, _: 5.0, 1.0)
    assert len(asked) == 1 and len(found.start_s) == 2
    assert np.all(found.lower_m == ENOUGH_M) and np.all(np.isinf(found.reached_m))


def test_no_more_is_halved_than_is_needed(refined):
    found, asked = refined(_middle, 0.015)
    assert found.start_s.tolist() == [0.0, 2.0, 4.0]  # 0.06 m between proven and reached is too much in the first alone
    assert len(asked) == 2
