"""The hand work of the day at Tern Yard shared out freely: what is best by the clock does not hold."""

from __future__ import annotations

import pytest

from armcarry.scheduling.best import best_day
from armcarry.scheduling.proven import best_proven
from shared_day import shared_out


@pytest.mark.long
def test_shared_out_by_the_clock_alone_is_shorter_but_only_the_day_as_written_passes_every_check(tmp_path):
    path = tmp_path / "day.yaml"
    assert len(shared_out(path)) >= 15
    by_the_clock = best_day(path)
    before_s = by_the_clock.before.schedule.end_s
    assert by_the_clock.agrees and by_the_clock.after.ledger.violations == by_the_clock.before.ledger.violations
    assert by_the_clock.after.schedule.end_s < before_s - 600.0
    found = best_proven(path)
    assert found.against == () and found.refused >= 1 and found.best.solved.optimal
    assert found.best.bound_s == pytest.approx(found.best.after.schedule.end_s, abs=0.5)
    assert found.best.after.schedule.end_s == pytest.approx(before_s, abs=0.5)
