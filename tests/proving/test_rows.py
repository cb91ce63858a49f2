"""How rows of the table of pairs come of windows: what adjoins is joined, and says no more than all of it holds."""

import numpy as np
import pytest

from armcarry.asked.requirement import Asked
from armcarry.proving.rows import Table
from armcarry.proving.windows import STATUS, Bounds, Window


@pytest.fixture
def rows(rider_scene):
    """Make rows of windows: each (start, end, status, lower, upper, instant), what is required of it and why."""

    def build(*windows):
        scene = rider_scene({})
        tree = scene.tree
        table = Table(scene, tree)
        pair = np.array([[0, 1]])
        for start, end, status, lower, upper, time, required, why in windows:
            asked = Asked(
                start, end, pair, np.array([required]), np.array([why], dtype=object), np.array([-1]),
                np.array([False]), np.array([0.1]),
            )  # fmt: skip
            points = np.full((1, 6), time)
            bounds = Bounds(np.array([STATUS.index(status)]), *(np.array([x]) for x in (lower, upper, time)), points)
            table.add(tree, Window(asked, np.array([True]), bounds))
        return table.rows()

    return build


def test_adjoining_windows_become_one_row_with_the_least_bound_at_the_nearest_instant(rows):
    (row,) = rows(
        (0.0, 10.0, "proven", 0.4, 0.5, 3.0, 0.3, "rule"), (10.0, 20.0, "proven", 0.45, 0.46, 12.0, 0.3, "rule"),
        (20.0, 30.0, "farther", 3.1, np.inf, 20.0, 0.3, "rule"),
    )
    assert (row.start_s, row.end_s, row.status) == (0.0, 30.0, "proven")
    # 0.46 is the nearest that was reached, but 0.4 is all that is proven of the whole stretch
    assert (row.lower_m, row.upper_m, row.time_s, row.point_a) == (0.4, 0.46, 12.0, (12.0, 12.0, 12.0))


def test_of_two_that_never_move_against_each_other_the_first_instant_is_told_whatever_the_rounding(rows):
    near = np.nextafter(0.46, 0.0)
    (row,) = rows(
        (0.0, 10.0, "proven", 0.4, 0.46, 3.0, 0.3, "rule"), (10.0, 20.0, "proven", 0.4, near, 12.0, 0.3, "rule")
    )
    assert (row.upper_m, row.time_s) == (0.46, 3.0)


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_the_worst_status_counts_whichever_comes_first(rows, order):
    parts = [("contact", -np.inf, 0.0), ("unresolved", -np.inf, 0.2), ("proven", 0.1, 0.11), ("farther", 3.0, np.inf)]
    for k in range(3):
        two = [parts[k], parts[k + 1]]
        first, second = (two[n] for n in order)
        (row,) = rows((0.0, 1.0, *first, 0.5, 0.3, "rule"), (1.0, 2.0, *second, 1.5, 0.3, "rule"))
        assert (row.status, row.lower_m, row.upper_m) == parts[k]
        assert row.time_s == (0.5, 1.5)[order.index(0)]


def test_windows_apart_in_time_stay_apart(rows):
    one, other = rows(
        (0.0, 10.0, "proven", 0.4, 0.401, 3.0, 0.3, "rule"), (10.5, 20.0, "proven", 0.5, 0.501, 12.0, 0.3, "rule")
    )
    assert (one.start_s, one.end_s, one.lower_m) == (0.0, 10.0, 0.4)
    assert (other.start_s, other.end_s, other.lower_m) == (10.5, 20.0, 0.5)


def test_a_row_ends_where_something_else_is_asked_and_the_reason_counts_too(rows):
    found = rows(
        (0.0, 10.0, "proven", 0.4, 0.401, 3.0, 0.3, "rule"), (10.0, 20.0, "proven", 0.2, 0.201, 12.0, 0.1, "near"),
        (20.0, 30.0, "proven", 0.2, 0.201, 22.0, 0.1, "nearer"), (30.0, 40.0, "proven", 0.5, 0.501, 33.0, 0.3, "rule"),
        (40.0, 50.0, "proven", 0.6, 0.601, 43.0, np.nan, "no rule"),
        (50.0, 60.0, "proven", 0.6, 0.601, 53.0, np.nan, "no rule"),
    )
    assert [(row.start_s, row.end_s, row.required_m, row.why, row.lower_m) for row in found] == [
        (0.0, 10.0, 0.3, "rule", 0.4), (10.0, 20.0, 0.1, "near", 0.2), (20.0, 30.0, 0.1, "nearer", 0.2),
        (30.0, 40.0, 0.3, "rule", 0.5), (40.0, 60.0, None, "no rule", 0.6),
    ]  # fmt: skip


def test_rows_hold_plain_numbers(rows):
    (row,) = rows((0.0, 10.0, "proven", 0.4, 0.401, 3.0, 0.3, "rule"))
    assert {type(value) for value in (*row.point_a, *row.point_b, row.lower_m, row.start_s, row.required_m)} == {float}
