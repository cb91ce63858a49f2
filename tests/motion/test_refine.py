"""Laws of halving cells: nothing is lost between samples, wherever the worst is, and the search ends."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.motion.refine import greatest, halved, settle

END_S, TOLERANCE = 40.0, 0.01
EDGES = np.linspace(0.0, END_S, 6)
#: where a spike may hide: at both ends, at edges of cells, at their middles and thirds, and anywhere
hidden = st.one_of(st.sampled_from([0.0, END_S, *EDGES.tolist(), 4.0, 20.0, 8.0 / 3.0]), st.floats(0.0, END_S))
spikes = st.lists(st.tuples(hidden, st.floats(1e-4, 3.0), st.floats(0.5, 2.0)), min_size=1, max_size=6)
quick = settings(max_examples=150, deadline=None)
#: for laws of many cells at once, which take a tenth of a second each
few = settings(max_examples=12, deadline=None)


class Spikes:
    """The sum of triangles (at, half width, height), and a bound over cells by its steepest slope."""

    def __init__(self, *spikes):
        self.at, self.width, self.height = np.array(spikes).T
        self.slope = float((self.height / self.width).sum())
        self.asked = []

    def __call__(self, time_s):
        share = np.abs(np.asarray(time_s)[..., None] - self.at) / self.width
        return (self.height * np.maximum(1.0 - share, 0.0)).sum(axis=-1)

    @property
    def most(self):
        """The exact greatest value within the run: a sum of triangles is greatest at one of its corners."""
        corners = np.concatenate([self.at, self.at - self.width, self.at + self.width, [0.0, END_S]])
        return float(self(np.clip(corners, 0.0, END_S)).max())

    def bounds(self, starts, ends, *_more):
        self.asked.append(len(starts))
        middle = self((starts + ends) / 2)
        # the bound of a cell is as sharp as it can be from what is within it: no better than its slope where a spike is
        near = np.any((self.at + self.width > starts[:, None]) & (self.at - self.width < ends[:, None]), axis=1)
        most = middle + np.where(near, self.slope * (ends - starts) / 2, 0.0)
        return middle[:, None], most[:, None]

    def greatest(self, **more):
        so_far = more.pop("so_far", np.full((1, 1), -np.inf))
        return greatest(
            EDGES[:-1], EDGES[1:], self.bounds, so_far=so_far, enough=lambda best: best + TOLERANCE, **more
        )


@quick
@given(spikes)
def test_the_greatest_is_never_missed_and_known_to_the_tolerance(drawn):
    found = (made := Spikes(*drawn)).greatest()
    assert found.reached.item() <= made.most + 1e-12 <= found.most.item() + 2e-12
    assert found.most.item() <= found.reached.item() + TOLERANCE
    assert made(found.time_s.item()) == found.reached.item()


@pytest.mark.parametrize("at", [0.0, END_S, 13.7, EDGES[1], np.nextafter(EDGES[1], 0.0)])
def test_a_spike_between_samples_and_at_the_ends_is_found(at):
    made = Spikes((at, 1e-3, 1.0), (20.0, 5.0, 0.5))
    found = made.greatest()
    assert found.most.item() >= 1.0
    assert found.time_s.item() == pytest.approx(at, abs=1e-3)


def test_of_equal_spikes_the_worth_is_one_and_neither_is_overlooked():
    twins = Spikes((4.1, 0.5, 1.0), (33.3, 0.5, 1.0))
    found = twins.greatest()
    assert 1.0 <= found.most.item() <= 1.0 + TOLERANCE
    starts, ends, _, _, most = found.cells
    for at in (4.1, 33.3):
        assert most[(starts <= at) & (ends >= at)].max() >= 1.0


def test_what_was_reached_before_spares_the_search():
    made = Spikes((13.7, 1e-3, 1.0))
    made.greatest(so_far=np.array([[1e6]]))
    assert made.asked == [len(EDGES) - 1]
    found = made.greatest(so_far=np.array([[2.0]]))
    assert found.reached.item() == 2.0 and np.isnan(found.time_s.item())


@few
@given(spikes, spikes, st.sampled_from([2, 3, 7]))
def test_groups_and_values_are_bounded_each_for_itself_in_batches_too(one, other, batch):
    both = [Spikes(*one), Spikes(*other)]

    def bounds(starts, ends, group, so_far):
        assert so_far.shape == (2, 2)
        answers = [made.bounds(starts, ends) for made in both]
        swapped = group[:, None] == 1
        reached, most = (np.concatenate([a[k] for a in answers], axis=1) for k in (0, 1))
        return np.where(swapped, reached[:, ::-1], reached), np.where(swapped, most[:, ::-1], most)

    found = greatest(
        np.tile(EDGES[:-1], 2), np.tile(EDGES[1:], 2), bounds, group=np.repeat([0, 1], 5),
        so_far=np.full((2, 2), -np.inf), enough=lambda best: best + TOLERANCE, batch=batch,
    )
    exact = np.array([[both[0].most, both[1].most], [both[1].most, both[0].most]])
    assert np.all(found.reached <= exact + 1e-12) and np.all(exact <= found.most + 1e-12)
    assert np.all(found.most <= found.reached + TOLERANCE)


@few
@given(spikes, st.one_of(st.none(), st.integers(1, 5)))
def test_settled_cells_cover_the_run_once_and_inherit_what_goes_with_them(drawn, batch):
    made = Spikes(*drawn)

    def look(starts, ends, number):
        assert batch is None or len(starts) <= batch
        reached, most = made.bounds(starts, ends)
        return (most - reached)[:, 0] <= 0.3, number * 2, reached[:, 0]

    starts, ends, number, twice, reached = settle(EDGES[:-1], EDGES[1:], look, np.arange(5), batch=batch)
    assert starts[0] == 0.0 and ends[-1] == END_S and np.array_equal(starts[1:], ends[:-1])
    assert np.array_equal(number, np.searchsorted(EDGES, starts, side="right") - 1)
    assert np.array_equal(twice, 2 * number) and np.array_equal(reached, made((starts + ends) / 2))


def test_what_is_never_sharp_enough_is_given_up_when_cells_are_short_or_have_no_middle():
    def never(starts, ends):
        return np.zeros(len(starts), dtype=bool), starts

    starts, ends, _ = settle(np.array([0.0]), np.array([1.0]), never, shortest_s=0.1)
    assert len(starts) == 16 and np.all(ends - starts == 1 / 16)
    tiny = np.nextafter(5.0, 6.0)
    starts, ends, _ = settle(np.array([5.0, 5.0]), np.array([tiny, 5.0]), never)
    assert starts.tolist() == [5.0, 5.0] and ends.tolist() == [tiny, 5.0]


def test_halves_lie_side_by_side():
    starts, ends, rows = halved(np.array([0.0, 4.0]), np.array([4.0, 6.0]), np.array([[1, 2], [3, 4]]))
    assert starts.tolist() == [0, 2, 4, 5] and ends.tolist() == [2, 4, 5, 6]
    assert rows.tolist() == [[1, 2], [1, 2], [3, 4], [3, 4]]
