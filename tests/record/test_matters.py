"""Which pair is a headline: bodies that never move against each other are none, but where they fail."""

from dataclasses import replace

import numpy as np
import pytest

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import inverse


def test_pairs_that_keep_one_distance_are_found_as_measured(short_run):
    record, _ = short_run
    table, of = record.table, {body.name: k for k, body in enumerate(record.bodies)}
    rows = np.flatnonzero(table.judged & ~table.own)
    pairs = np.array([(of[row.body_a], of[row.body_b]) for row in table.rows(rows)])
    times = np.unique([*np.linspace(record.motion.start_s, record.motion.end_s, 9),
                       *(phase.start_s for phase in record.phases)])  # fmt: skip
    upper_m = distances([body.shape for body in record.bodies], record.body_poses(times), pairs).upper_m
    keep = np.ptp(upper_m, axis=0) < 1e-6
    assert keep.any() and not keep.all()
    assert not (record.still[rows] & ~keep).any()  # none that changes is taken for one that does not
    pose = record.body_poses(times)
    between = inverse(pose[:, pairs[:, 0]]) @ pose[:, pairs[:, 1]]
    stiff = np.abs(between - between[0]).max(axis=(0, 2, 3)) < 1e-9
    missed = table.rows(rows[stiff & ~record.still[rows]])  # but the box, which is let go of where it is
    assert all("pump_box" in (row.body_a + row.body_b) for row in missed)
    # the drum at the arm's foot turns, about its own axis
    drum = [row for row, still in zip(table.rows(rows), record.still[rows], strict=True)
            if {row.body_a.split("/")[0], row.body_b.split("/")[0]} == {"platform", "arm"} and still]  # fmt: skip
    assert any(not stiff[k] for k in np.flatnonzero(record.still[rows])) and drum


def test_bodies_at_rest_are_no_headline_but_where_they_fail(short_run):
    record = short_run[0]
    table = record.table
    k = int(np.flatnonzero(record.still & table.judged & ~table.own & (table.required_m > 0.0))[0])
    for share, weight in ((0.01, 0.01), (1.2, np.inf)):
        row = replace(record.pairs[k], lower_m=share * record.pairs[k].required_m)
        alone = replace(record, pairs=(*record.pairs[:k], row, *record.pairs[k + 1 :]))
        assert alone.weight_of(row) == pytest.approx(weight)
        assert (alone.tightest is row) == (share < 1.0)
    own = table.own & (table.required_m > 0.0)
    assert own.any() and np.isinf(record.weights[own & (table.lower_m >= table.required_m)]).all()
