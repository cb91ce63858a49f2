"""What is told of ways on: whether each holds and why not; steps by what was written where all of it is left out."""

from __future__ import annotations

from dataclasses import replace

import pytest

from armcarry.record.finding import Verdict
from armcarry.scheduling.flown import Proof
from armcarry.scheduling.way_on import WayOn
from armcarry.views.ways_on import HEADINGS, changes, row, told

GOOD = Proof(Verdict.PASS, Verdict.PASS, "arm to ev1, 0.7 m", (), 0, (), (), (), 100.0)
FETCH = "day.yaml:5 (fetch: {what: box})"
WAY = WayOn(
    "home", ("off", "in"), ("to_rack", "loosen", "take"), margins_s={"cut_off": 900.0, "air": 60.0}, end_s=600.0,
    why={"to_rack": "all go home", "loosen": "all go home", "take": "all go home"},
    written={"to_rack": FETCH, "loosen": FETCH, "take": FETCH, "off": "day.yaml:9 (leave: {at: porch})"}, proof=GOOD,
)  # fmt: skip


def _cells(way):
    return dict(zip(HEADINGS, row(0, way), strict=True))


def test_a_row_tells_what_is_least_left_and_that_it_holds():
    cells = _cells(WAY)
    assert (cells["keeps"], cells["drops"], cells["ends"]) == ("2", "3", "0:10:00")
    assert (cells["least left"], cells["holds"]) == ("air 0:01:00", "yes")
    assert "left at the end: cut off 0:15:00, air 0:01:00" in list(told(WAY))


@pytest.mark.parametrize(("changed", "why"), [
    ({"margins_s": {"cut_off": -61.0, "air": -5.0}}, "cut off is exceeded by 0:01:01; air is exceeded by 0:00:05"),
    ({"still": ("seat",)}, "it asks work of somebody who is unable"),
    ({"proof": None, "not_flown": "no such thing"}, "it was not flown: no such thing"),
    ({"proof": replace(GOOD, failed=("too near", "and more"))}, "too near (and more)"),
    ({"proof": replace(GOOD, unsafe=("box is left with 2 of 4 bolts tight",))},
     "to be made safe: box is left with 2 of 4 bolts tight"),
    ({"proof": replace(GOOD, clearance=Verdict.NOT_ASSESSED)}, "it was not judged to its end"),
])  # fmt: skip
def test_a_row_tells_why_a_way_does_not_hold(changed, why):
    way = replace(WAY, **changed)
    assert _cells(way)["holds"] == f"no: {why}" and not way.holds


def test_of_what_is_no_way_on_the_reason_alone_is_told():
    told_of = row(3, WayOn("as written, later", why_not="it cannot be"))
    assert told_of == ("3", "as written, later", *[""] * 4, "it cannot be")


def test_steps_are_told_by_what_was_written_where_all_that_it_became_is_left_out():
    assert list(changes(WAY)) == [f"not done (all go home): {FETCH}, 3 steps"]
    some = replace(WAY, keeps=(*WAY.keeps, "to_rack"), drops=("loosen", "take"))
    assert list(changes(some)) == ["not done (all go home): loosen, take"]
    two = replace(WAY, why={**WAY.why, "take": "box failed"})
    assert list(changes(two)) == ["not done (all go home): to_rack, loosen", "not done (box failed): take"]


def test_more_bolts_and_flights_before_are_told():
    way = replace(WAY, bolts={"tighten": (2, 4)}, not_so=("ev1 and box touch",))
    assert "tighten: 4 bolts instead of 2, so that it is safe to leave" in list(changes(way))
    assert "flown otherwise before: ev1 and box touch" in list(told(way))
