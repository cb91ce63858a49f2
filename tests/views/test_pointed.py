from dataclasses import replace

import numpy as np
import pytest

from armcarry.record.finding import Finding, Verdict
from armcarry.views.measuring import measured
from armcarry.views.pointed import gap_of, look_at


@pytest.fixture(scope="module")
def near(small_run):
    """A failure about a person and a part of the platform, whose distance no requirement of a pair is about."""
    record, _ = small_run
    time_s = 200.0
    found = measured(record, "ev1", "platform", time_s)
    finding = Finding("near_people", Verdict.FAIL, "ev1", message="m", other=found.bodies[1], start_s=time_s,
                      end_s=time_s, value=found.lower_m, limit=found.lower_m + 1, unit="m", remedy="r")  # fmt: skip
    return record, finding, found


def test_a_failure_by_a_distance_of_its_instant_shows_it(near):
    record, finding, found = near
    gap = gap_of(record, finding)
    assert set(gap.bodies) == set(found.bodies) and gap.time_s == 200.0 and gap.lower_m == found.lower_m
    ends = dict(zip(gap.bodies, (gap.point_a, gap.point_b), strict=True))
    assert np.allclose(ends[found.bodies[0]], found.point_a) and np.allclose(ends[found.bodies[1]], found.point_b)
    view = look_at(record, finding)
    middle = (np.asarray(found.point_a) + found.point_b) / 2
    assert np.allclose(view.focus_m, middle, atol=0.5)


def test_a_figure_that_is_a_bound_of_it_shows_it_too(near):
    record, finding, found = near
    assert gap_of(record, replace(finding, value=found.lower_m - 0.06)).lower_m == found.lower_m


def test_a_figure_that_is_another_one_has_no_gap(near):
    record, finding, found = near
    for other in (
        replace(finding, check="runaway"),  # of a motion that is not flown
        replace(finding, value=found.lower_m + 0.01),  # more than there is: of another pair
        replace(finding, verdict=Verdict.PASS, remedy=""), replace(finding, value=None),
        replace(finding, other="nothing"),
    ):  # fmt: skip
        assert gap_of(record, other) is None
