"""How soon an arm that still works brings its rider home: on along its way or back, within one stretch aboard."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.whatif.by_arm import home_s, within_reach_s

TIMES = np.arange(0.0, 101.0, 10.0)


def _record(moves, aboard, events=(), safe=None):
    phases = [SimpleNamespace(start_s=start, end_s=end, tree=who) for start, end, who in aboard]
    return SimpleNamespace(
        moves=[SimpleNamespace(kind=kind, start_s=start, end_s=end) for kind, start, end in moves],
        phases=phases, events=[SimpleNamespace(time_s=time) for time in events],
        scene=SimpleNamespace(aboard=lambda tree: tree, loaded=SimpleNamespace(rules=SimpleNamespace(arm_safe=safe))),
    )  # fmt: skip


def _item(gap_at=(), return_time_s=None):
    gap = np.where(np.isin(TIMES, gap_at), 0.0, 2.0)
    return SimpleNamespace(crew="ev1", time_s=TIMES, gap_m=gap, return_time_s=return_time_s)


#: 20 s, a hold of 30 s, 40 s
TWO_MOVES = (("line", 10.0, 30.0), ("hold", 30.0, 60.0), ("line", 60.0, 100.0))


def test_a_ride_takes_what_the_arm_moves_and_not_what_it_stands():
    record = _record(TWO_MOVES, [(0.0, 100.0, ["ev1"])])
    assert within_reach_s(record, _item([100.0])).tolist() == [60, 60, 50, 40, 40, 40, 40, 30, 20, 10, 0]
    assert within_reach_s(record, _item([0.0])).tolist() == [0, 0, 10, 20, 20, 20, 20, 30, 40, 50, 60]
    # the nearer of both: on, or back
    assert within_reach_s(record, _item([0.0, 100.0])).tolist() == [0, 0, 10, 20, 20, 20, 20, 30, 20, 10, 0]
    assert np.isinf(within_reach_s(record, _item())).all()


def test_only_a_stretch_aboard_in_which_nothing_changes_hands_is_ridden():
    off = _record(TWO_MOVES, [(0.0, 35.0, ["ev1"]), (35.0, 65.0, []), (65.0, 100.0, ["ev1", "ev2"])])
    found = within_reach_s(off, _item([0.0, 50.0, 100.0]))
    assert found[:4].tolist() == [0, 0, 10, 20] and np.isinf(found[4:7]).all()  # off the arm nobody is brought
    assert found[7:].tolist() == [30, 20, 10, 0]
    taken = within_reach_s(_record(TWO_MOVES, [(0.0, 100.0, ["ev1"])], events=(45.0,)), _item([100.0]))
    assert np.isinf(taken[:5]).all() and taken[5:].tolist() == [40, 40, 30, 20, 10, 0]
    assert np.isinf(within_reach_s(_record(TWO_MOVES, [(0.0, 100.0, ["ev2"])]), _item([100.0]))).all()


@pytest.mark.parametrize(("safe", "around"), [(None, 0.0), (SimpleNamespace(make_ready=4.0, make_safe=3.0), 7.0)])
def test_home_is_by_the_own_way_or_by_a_ride_with_what_is_around_it(safe, around):
    own = np.where(TIMES < 95.0, 500.0, 100.0)
    own[0] = 120.0
    found = home_s(_record(TWO_MOVES, [(0.0, 100.0, ["ev1"])], safe=safe), _item(return_time_s=own))
    by_ride = np.array([120, 120, 130, 140, 140, 140, 140, 130, 120, 110, 100]) + around
    assert found == pytest.approx(np.minimum(own, by_ride))
    assert (found < own).any() and (found == own).any()
