"""What a script can change about a joint that would run away: more where it moves the arm, a day where hands work."""

from types import SimpleNamespace

import pytest

from armcarry.checks.runaway import _by_script


def _told(kind, plan):
    move = None if kind is None else SimpleNamespace(kind=kind)
    record = SimpleNamespace(move_at=lambda time_s: move if time_s == 15.0 else None, plan=plan)
    return _by_script(SimpleNamespace(record=record), SimpleNamespace(start_s=10.0, end_s=20.0))


@pytest.mark.parametrize(("kind", "plan", "first"), [
    ("line", None, "stand farther off and pass the stretch without stopping, or come there from another base station"),
    (None, None, "stand farther off and pass the stretch without stopping, or come there from another base station"),
    ("hold", None, "make the work a step of a day: with arm_safe in the rules the arm is safe then"),
    ("attach", object(), "come there from another base station, on another branch or with other settings"),
])  # fmt: skip
def test_the_remedy_can_be_followed_where_the_arm_is_by_then(kind, plan, first):
    assert _told(kind, plan)[0].startswith(first)
