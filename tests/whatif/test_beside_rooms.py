"""When rooms of the platform ask something of what the arm moves: stretch by stretch, and only while they are on."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.whatif import beside_rooms
from armcarry.whatif.beside_rooms import room_windows


class _Rooms:
    """Two pairs of the first room, one of the second."""

    pairs, room = np.array([[0, 5], [1, 5], [0, 6]]), np.array([0, 0, 1])

    def asked(self, start_s, end_s, rows, remainder_m):
        return start_s, end_s, rows.tolist(), remainder_m


@pytest.fixture
def windows(monkeypatch):
    """Return (start, end, rows) of what rooms ask, by when each is on, over phases."""

    def build(phases, **on):
        monkeypatch.setattr(beside_rooms, "on_spans", lambda record, while_on: on[while_on])
        monkeypatch.setattr(beside_rooms, "arm_rooms", lambda scene, tree: _Rooms())
        monkeypatch.setattr(beside_rooms, "Side", lambda record, phase, pairs, rooms: (phase.tree, pairs, rooms))
        monkeypatch.setattr(beside_rooms, "Window", lambda side, asked: (side, asked))
        rooms = {name: SimpleNamespace(while_on=name) for name in on}
        document = SimpleNamespace(document=SimpleNamespace(rooms=rooms))
        loaded = SimpleNamespace(platform=document, rules=SimpleNamespace(stop_remainder=0.1))
        made = [SimpleNamespace(start_s=start, end_s=end, tree=f"tree at {start}") for start, end in phases]
        found = list(room_windows(SimpleNamespace(scene=SimpleNamespace(loaded=loaded), phases=made)))
        for (tree, pairs, of_rooms), (start_s, _, rows, remainder_m) in found:
            assert of_rooms is True and remainder_m == 0.1
            np.testing.assert_array_equal(pairs, _Rooms.pairs[rows])
            assert tree == max((one.tree for one in made if one.start_s <= start_s), key=lambda name: float(name[8:]))
        return [asked[:3] for _, asked in found]

    return build


def test_a_room_asks_while_it_is_on_and_what_changes_cuts_a_phase(windows):
    always = [(0.0, 100.0)]
    assert windows([(0.0, 40.0), (40.0, 100.0)], hot=always, fires=[(20.0, 60.0)]) == [
        (0.0, 20.0, [0, 1]), (20.0, 40.0, [0, 1, 2]), (40.0, 60.0, [0, 1, 2]), (60.0, 100.0, [0, 1]),
    ]  # fmt: skip
    # off, on again: what is behind a stretch in which nothing is on is looked at all the same
    assert windows([(0.0, 100.0)], hot=[(0.0, 10.0), (50.0, 60.0)], fires=[(55.0, 70.0)]) == [
        (0.0, 10.0, [0, 1]), (50.0, 55.0, [0, 1]), (55.0, 60.0, [0, 1, 2]), (60.0, 70.0, [2]),
    ]  # fmt: skip
    assert windows([(0.0, 30.0)], hot=[(30.0, 100.0)], fires=[]) == []


def test_a_platform_without_rooms_asks_nothing(windows):
    assert windows([(0.0, 100.0)]) == []
