"""What everybody does is told from the plan of a day, and nothing where there is none."""

from dataclasses import replace
from types import SimpleNamespace

from armcarry.views.cuts import Cut
from armcarry.views.doing import doing_at, doings
from armcarry.views.filming import _caption
from armcarry.views.player.session import Session


class Day:
    """A plan of three steps, two at once."""

    schedule = SimpleNamespace(slots=[
        SimpleNamespace(name="push", actors=("ev2",), start_s=600.0, end_s=700.0),
        SimpleNamespace(name="look", actors=("ev1",), start_s=560.0, end_s=660.0),
        SimpleNamespace(name="ride", actors=("arm", "ev1"), start_s=0.0, end_s=560.0),
    ])  # fmt: skip

    @staticmethod
    def step(name):
        return SimpleNamespace(name=name, title={"push": "push cart 1"}.get(name, ""))


def with_day(record):
    made = replace(record)
    made.__dict__["ledger"] = record.ledger  # of the moves: this plan has no acts
    made.__dict__["plan"] = Day()
    return made


def test_steps_are_told_in_order_of_time(small_run):
    record = with_day(small_run[0])
    assert [each.words for each in doings(record)] == ["arm, ev1: ride", "ev1: look", "ev2: push cart 1"]
    assert doing_at(record, 100.0) == "arm, ev1: ride"
    assert doing_at(record, 620.0) == "ev1: look · ev2: push cart 1"
    assert doing_at(record, 700.0) == ""
    assert doings(small_run[0]) == () and doing_at(small_run[0], 100.0) == ""


def test_player_and_movie_say_what_is_done_while_the_arm_stands_still(small_run):
    record, findings = small_run
    day = with_day(record)
    said = []
    sheet = SimpleNamespace(caption=said.append)
    for made in (record, day):
        _caption(made, sheet, 100.0, Cut(0.0, 500.0, 10.0))
    assert said[0][0] == said[1][0] != ""
    assert said[1][1].endswith("10× · arm, ev1: ride") and "ride" not in said[0][1]
    session = Session(day, findings)
    still_s = record.moves[-1].end_s
    session.seek(100.0)
    assert session.caption == said[0][0]
    free = replace(record, moves=())
    session = Session(with_day(free), findings)
    session.seek(min(still_s, 500.0))
    assert session.caption == "arm, ev1: ride"
