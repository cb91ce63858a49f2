from dataclasses import replace

import numpy as np
import pytest

from armcarry.errors import QuantityError
from armcarry.record.causes import worst_s
from armcarry.record.record import MoveSpan
from armcarry.views.folded import folded
from armcarry.views.idle import PASSES_S
from armcarry.views.player.session import (
    FRAME_S,
    SPEEDS,
    Session,
    captions,
    read_instant,
)
from armcarry.views.pointed import gap_of


@pytest.fixture
def session(small_run):
    return Session(*small_run)


def test_time_passes_at_the_speed_and_only_while_playing(session):
    assert not session.tick(1.0) and session.time_s == 0.0
    session.set_speed(5)
    session.play()
    assert session.tick(0.5) and session.time_s == pytest.approx(2.5)
    assert not session.tick(0.0)
    session.pause()
    assert not session.tick(1.0)


def test_what_stands_still_passes_quickly_where_that_is_asked(session):
    inner = [stretch for stretch in session.idle if stretch[1] < session.end_s - 10.0]
    start, end = max(inner, key=lambda stretch: stretch[1] - stretch[0])
    session.seek(start - 1.0)
    session.play()
    session.tick(1.0 + PASSES_S / 2)
    assert session.time_s == pytest.approx(start + PASSES_S / 2)  # as all else, until it is asked
    session.skips = True
    session.seek(start - 1.0)
    session.tick(1.0 + PASSES_S / 2)
    assert session.time_s == pytest.approx((start + end) / 2)
    session.tick(PASSES_S / 2 + 0.5)
    assert session.time_s == pytest.approx(end + 0.5)
    session.set_speed(60)  # faster than that already
    session.seek(start)
    session.tick(0.1)
    assert session.time_s == pytest.approx(start + max(6.0, 0.1 / PASSES_S * (end - start)))


def test_playing_stops_at_the_end_and_begins_again_there(session):
    session.seek(session.end_s - 1.0)
    session.play()
    assert session.tick(3.0)
    assert session.time_s == session.end_s == 540.0 and not session.playing
    session.toggle()
    assert session.playing and session.time_s == 0.0


def test_speeds_run_from_a_quarter_to_sixty(session):
    assert (SPEEDS[0], SPEEDS[-1], session.speed) == (0.25, 60.0, 1.0)
    assert [session.faster(-1) for _ in range(4)] == [0.5, 0.25, 0.25, 0.25]
    assert [session.faster(1) for _ in range(9)][-1] == 60.0
    assert session.set_speed(7.0) == 5.0


def test_a_frame_is_a_frame_of_the_present_speed(session):
    session.play()
    session.set_speed(30)
    session.seek(100.0)
    session.step_frames(2)
    assert session.time_s == pytest.approx(100.0 + 2 * 30 * FRAME_S) and not session.playing
    session.step_frames(-1000)
    assert session.time_s == 0.0


def test_steps_by_move_go_to_starts_of_moves_and_both_ends(session):
    assert session.stops_s == (0.0, 60.0, 75.0, 90.0, 330.0, 480.0, 540.0)
    seen = []
    for _ in range(7):
        session.step_moves(1)
        seen.append(session.time_s)
    assert seen == [60.0, 75.0, 90.0, 330.0, 480.0, 540.0, 540.0]
    session.seek(100.0)
    session.step_moves(-1)
    assert session.time_s == 90.0
    session.step_moves(-2)
    assert session.time_s == 60.0


def test_going_back_while_playing_does_not_stick_to_the_start_of_a_move(session):
    session.set_speed(10)
    session.seek(92.0)  # 0.2 s on the wall after the move began
    session.play()
    session.step_moves(-1)
    assert session.time_s == 75.0


def test_seeking_stays_in_the_run(session):
    session.seek(-3.0)
    assert session.time_s == 0.0
    session.seek(1e9)
    assert session.time_s == 540.0


def test_the_tightest_moment_is_that_of_the_record(session):
    session.play()
    assert session.to_tightest()
    assert session.time_s == session.record.tightest.time_s and not session.playing
    bare = Session(replace(session.record, pairs=()), ())
    assert not bare.to_tightest()


def test_findings_follow_one_another_round_both_ends(session):
    count = len(session.findings)
    in_order = [k for fold in folded(session.findings) for k in fold.rows]
    assert in_order == [0, 5, 1, 2, 3, 4]  # what failed, what was not assessed, what passed
    assert session.next_finding(-1) is session.findings[4]
    assert session.next_finding(1) is session.findings[0]
    assert session.time_s == session.findings[0].clearance.time_s
    session.to_finding(count + 4)
    assert session.finding == 4 and session.time_s == worst_s(session.findings[4]) == 60.0
    bare = Session(session.record, ())
    assert bare.next_finding() is None
    with pytest.raises(IndexError, match="no findings"):
        bare.to_finding(0)


def test_what_is_said_follows_time(session):
    said = []
    for time_s in (0.0, 61.0, 75.0, 78.0, 84.0, 100.0, 340.0, 500.0):
        session.seek(time_s)
        said.append(session.caption)
    assert said == [
        "Rider goes to the rack", "fetch move 3 (hold)", "Pump box in hand <now>", "Pump box in hand <now>",
        "Pump box in hand <now>", "Round the yard to bay 6", "Down to the seat", "Seat the box",
    ]
    session.seek(335.0)
    assert session.move_title == "approach"


def test_words_of_an_instant_stay_but_do_not_swallow_what_follows():
    def move(start, end, say, number):
        return MoveSpan("c", number, "", "hold", start, end, "free", say)

    class Run:
        moves = (move(0, 10, "one", 1), move(10, 10, "now", 2), move(10, 14, "short", 3), move(14, 40, "long", 4))

    assert captions(Run) == ((0, "one"), (10, "now"), (12.0, "short"), (14, "long"))
    Run.moves = ()
    assert captions(Run) == ()


@pytest.mark.parametrize(
    ("text", "seconds"), [("90", 90.0), (" 12:30 ", 750.0), ("1:02:03.5", 3723.5), ("5 min", 300.0), ("0:07", 7.0)]
)
def test_instants_are_read_as_they_are_shown(text, seconds):
    assert read_instant(text) == pytest.approx(seconds)


@pytest.mark.parametrize("text", ["", "soon", "1:2:3:4", "5 m", "-3"])
def test_what_is_no_instant_is_refused(text):
    with pytest.raises(QuantityError, match=r"not a quantity|not an accepted unit|unit is missing"):
        read_instant(text)


def test_a_run_without_moves_can_be_stepped_through(small_run):
    record, _ = small_run
    session = Session(replace(record, moves=()), ())
    session.step_moves(1)
    assert session.time_s == 540.0 and session.caption == "" and session.move_title == ""
    assert np.isfinite(session.time_s)


def test_a_finding_about_a_pair_is_shown_where_the_table_says(small_run):
    record, findings = small_run
    told = gap_of(record, findings[0])
    assert told.time_s == findings[0].clearance.time_s and told.bodies == (findings[0].subject, findings[0].other)
    turned = {"subject": findings[0].other, "other": findings[0].subject}
    bare = replace(findings[0], clearance=None, start_s=findings[0].clearance.time_s, **turned)
    found = gap_of(record, bare)
    assert (found.time_s, found.point_a) == (told.time_s, told.point_a)
    assert gap_of(record, findings[4]) is None
    assert gap_of(replace(record, pairs=()), bare) is None
    assert gap_of(record, replace(bare, start_s=bare.start_s + 1.0)) is None
