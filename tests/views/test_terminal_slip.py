"""What the terminal says of a day that slips, and how a slip is written."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from armcarry.cli.base import slip_of
from armcarry.errors import InputError, QuantityError
from armcarry.timeline.schedule import schedule, slipped
from armcarry.timeline.task import Duration, Limit, Task
from armcarry.views.terminal import slip_lines

TASKS = (
    Task("work", ("ev1",), Duration(600.0, 1200.0, 2400.0)),
    Task("snaps", ("ev1",), Duration.exactly(900.0), priority=2, fallback="lace"),
    Task("lace", ("ev1",), Duration.exactly(300.0)),
    Task("look", ("ev1",), Duration.exactly(600.0), priority=1),
    Task("home", ("ev1",), Duration.exactly(300.0)),
)
LIMITS = (Limit("cut_off", 3000.0),)


@dataclass
class Plan:
    slip: dict
    failed: tuple = ()

    def __post_init__(self):
        self.tasks, self.limits = slipped(TASKS, self.slip), LIMITS
        self.schedule = schedule(self.tasks, LIMITS, failed=self.failed)


def test_a_slip_is_told_with_what_is_left_out():
    lines = slip_lines(Plan({"work": 600.0}))
    assert lines[0] == "The day ends 0:00:00.0 later, at 0:50:00.0."
    assert lines[1] == "Left out now: snaps (cut_off is exceeded by 0:10:00.0 without this); lace is done instead."
    assert lines[2] == "Done now: lace."


def test_slips_as_written():
    assert slip_of("work=+20min") == ("work", 1200.0)
    assert slip_of("work=-30 s") == ("work", -30.0)
    with pytest.raises(InputError, match=r"not a slip; found 'work'; accepted: STEP=\+20min"):
        slip_of("work")
    with pytest.raises(QuantityError, match="the unit is missing"):
        slip_of("work=20")
