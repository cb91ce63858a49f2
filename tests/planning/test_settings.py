"""Settings of the restraint: who gets on and off comes first, then room before each worksite, each counted once."""

from types import SimpleNamespace

import pytest

from armcarry.planning import settings
from armcarry.planning.climbs import Room
from armcarry.planning.settings import ROOMY_M, SettingsSearch

SITES = ["porch", "bay_7", "porch"]
#: pitch -> room where people get on and off, room before porch and bay_7, m
ROOMS = {0.0: (-0.1, 0.3, 0.3), 0.5: (0.05, 0.15, 0.3), 1.0: (0.05, 0.2, 0.2), 1.5: (-0.02, 0.3, 0.3)}


@pytest.fixture
def search(monkeypatch):
    """A search over settings whose rooms a table says, with the rooms that were asked for."""
    asked = []

    class Taking:
        def __init__(self, scene, said, like=None):
            self.rooms = ROOMS[said["pitch"]]

        def rooms_to_climb(self, stop, base, plate):
            yield from ((climb.step, Room(self.rooms[0], "a and b")) for climb in stop.climbs)

        def room_m(self, stop, base):
            asked.append(SITES[stop.visit])
            return self.rooms[1 + (SITES[stop.visit] == "bay_7")]

    monkeypatch.setattr(settings, "Taking", Taking)
    monkeypatch.setattr(settings, "plate_at", lambda scene, visit, stop: None)
    monkeypatch.setattr(settings, "compared", lambda scene, bases, site: (None,))
    monkeypatch.setattr(settings, "replace", lambda stop, climbs: SimpleNamespace(climbs=climbs))
    climb = SimpleNamespace(step="ev1_gets_on")
    stops = [SimpleNamespace(visit=number, carry="c", climbs=(climb,) if number == 2 else ()) for number in range(3)]
    left = SimpleNamespace(settings=True, exchanges=(), visits=[SimpleNamespace(worksite=one) for one in SITES])
    loaded = SimpleNamespace(restraints={"restraint": 0}, written_at=lambda *key: "day.yaml:14 (board)")
    found = SettingsSearch(SimpleNamespace(loaded=loaded), left, stops, (None,), lambda words: None)
    found._workable = lambda: [{"pitch": one} for one in ROOMS]
    return found, asked


def test_settings_with_which_people_get_on_and_off_come_before_roomier_ones(search):
    found, _ = search
    ranked = found.ranked(4)
    assert [one.settings["pitch"] for one in ranked] == [0.5, 1.0, 1.5, 0.0]
    assert (ranked[0].lacking_m, ranked[0].told) == (0.0, "restraint: pitch 28.6479 deg")
    assert ranked[3].lacking_m == pytest.approx(0.1)
    assert "day.yaml:14 (board): a and b come 0.10 m too near one another" in ranked[3].told
    assert ranked[3].told.startswith("no way to get on and off as asked, in whatever setting of the restraint")


def test_each_worksite_counts_once_however_often_the_arm_comes_there(search):
    found, asked = search
    tight = found._tight_m(settings.Taking(None, {"pitch": 1.0}), float("inf"))
    assert tight == pytest.approx(2 * (ROOMY_M - 0.2)) and sorted(asked) == ["bay_7", "porch"]
