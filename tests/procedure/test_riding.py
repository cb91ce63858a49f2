"""Legs are told in the rider's own sense at that time, joined until somebody can follow them."""

import numpy as np
import pytest

from armcarry.procedure import riding
from armcarry.procedure.riding import Leg, curved, spoken, told


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(1, "5 seconds"), (44, "45 seconds"), (59, "1 minute"), (75, "75 seconds"), (89, "1½ minutes"),
     (119, "2 minutes"), (190, "3 minutes"), (200, "3½ minutes")],
)  # fmt: skip
def test_time_is_told_as_people_say_it(seconds, words):
    assert spoken(seconds) == words


def test_legs_join_to_one_call():
    first = Leg(("up", "back"), 180.0, 14.23, "turning left 40°")
    assert told([first, Leg(("left",), 240.0, 20.1, "", "past bay 9")]) == (
        "up and back for 3 minutes, 14.2 m, turning left 40°; then left for 4 minutes, 20.1 m, past bay 9"
    )
    assert told([Leg((), 30.0, 0.0, "turning right 90°")]) == "in place for 30 seconds, turning right 90°"
    assert told([]) == "you stay where you are"
    assert curved([first]) and not curved([Leg(("up",), 10.0, 1.0)])


def test_legs_cover_the_ride_and_each_goes_where_it_says(day_record):
    ride = next(move for move in day_record.moves if move.carry == "close_in")
    found = riding.legs(day_record, "ev1", ride.start_s, ride.end_s)
    times = np.linspace(ride.start_s, np.nextafter(ride.end_s, 0), 2001)
    path = day_record.link_path("ev1/chest", times)
    whole = np.linalg.norm(np.diff(path[:, :3, 3], axis=0), axis=1).sum()
    assert sum(leg.length_m for leg in found) == pytest.approx(whole, rel=0.02)
    assert sum(leg.lasting_s for leg in found) == pytest.approx(ride.end_s - ride.start_s, rel=0.02)
    # of each leg the way as it is felt, summed in the rider's own axes, goes to the side that is called
    start = ride.start_s
    for leg in found:
        mine = np.linspace(start, min(start + leg.lasting_s, times[-1]), 400)
        poses = day_record.link_path("ev1/chest", mine)
        felt = np.einsum("tji,tj->i", poses[:-1, :3, :3], np.diff(poses[:, :3, 3], axis=0))
        for word in leg.ways:
            axis = next(k for k, pair in enumerate(riding.WORDS) if word in pair)
            assert (felt[axis] < 0) == (riding.WORDS[axis].index(word) == 1), (leg, felt)
        start += leg.lasting_s


def test_no_time_or_no_way_is_no_leg(day_record):
    ride = next(move for move in day_record.moves if move.carry == "close_in")
    assert riding.legs(day_record, "ev1", ride.start_s, ride.start_s) == ()
    hold = next(move for move in day_record.moves if move.kind == "hold")
    assert riding.legs(day_record, "ev1", hold.start_s, hold.end_s) == ()
