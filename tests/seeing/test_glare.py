"""The sun in visors over several phases, for who is outside; when a later start keeps it out."""

from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.geometry import poses
from armcarry.scene.camera import View
from armcarry.seeing import glare as room
from armcarry.seeing.glare import Dazzle, glare


def _phase(start_s, end_s):
    return SimpleNamespace(start_s=start_s, end_s=end_s, tree=None)


@pytest.fixture
def found(monkeypatch):
    """Put cells together by phases: each (start, end, cells), a cell (start, end, angle, inside, shaded)."""

    def build(*phases, outside=lambda phase: True, up=None):
        cells = {(start, end): rows for start, end, rows in phases}
        monkeypatch.setattr(room, "Watch", lambda record, phase, cameras: cameras)

        def of(sun, watch, phase, visor):
            assert watch == (visor,) and (visor.name, visor.link) == ("ev1/visor", "ev1/glass")
            return tuple(np.array(column) for column in zip(*cells[phase.start_s, phase.end_s], strict=True))

        monkeypatch.setattr(room, "_visor_cells", of)
        monkeypatch.setattr(room, "_outside", lambda sun, phase, crew: outside(phase))
        crew = {"ev1": SimpleNamespace(document=SimpleNamespace(visor="glass"))}
        record = SimpleNamespace(phases=[_phase(a, b) for a, b, _ in phases],
                                 scene=SimpleNamespace(loaded=SimpleNamespace(crew=crew)))  # fmt: skip
        sun = SimpleNamespace(record=record, up=up or (lambda times: np.ones(len(times), dtype=bool)))
        return glare(sun, "ev1")

    return build


LATER = (10.0, 30.0, [(10.0, 14.0, 0.2, True, False), (14.0, 20.0, 0.1, True, True), (20.0, 30.0, 0.3, True, False)])
EARLIER = (0.0, 10.0, [(0.0, 4.0, 0.9, False, False), (4.0, 10.0, 0.25, True, False)])


def test_cells_of_all_phases_are_told_in_the_order_of_time(found):
    told = found(LATER, EARLIER)
    assert told.crew == "ev1"
    assert told.stretches == ((4.0, 14.0), (20.0, 30.0))
    assert (told.nearest_rad, told.nearest_s, told.shaded_s) == (0.2, 12.0, 6.0)  # while shaded it does not count


def test_where_it_never_is_within_the_limit_the_nearest_while_the_sun_is_up_is_told(found):
    cells = [(0.0, 4.0, 0.9, False, False), (4.0, 10.0, 0.5, False, False), (10.0, 12.0, 0.6, True, True)]
    told = found((0.0, 12.0, cells))
    assert (told.stretches, told.nearest_rad, told.nearest_s, told.shaded_s) == ((), 0.5, 7.0, 2.0)
    risen = found((0.0, 12.0, cells), up=lambda times: np.isin(times, [2.0, 11.0]))
    assert (risen.nearest_rad, risen.nearest_s) == (0.6, 11.0)
    down = found((0.0, 12.0, cells), up=lambda times: np.zeros(len(times), dtype=bool))
    assert (down.stretches, down.nearest_s, down.nearest_rad, down.shaded_s) == ((), None, np.pi, 2.0)


def test_who_is_never_outside_has_no_sun_in_the_visor(found):
    assert found(LATER, EARLIER, outside=lambda phase: False) is None
    assert found((5.0, 5.0, [])) is None
    assert found(LATER, EARLIER, outside=lambda phase: phase.start_s > 5.0).stretches == ((10.0, 14.0), (20.0, 30.0))


@pytest.mark.parametrize(("where", "outside"), [("rider", True), ("worker", True), ("inside", False), (None, False)])
def test_riders_and_workers_are_outside(monkeypatch, where, outside):
    monkeypatch.setattr(room, "whereabouts", lambda scene, tree: {} if where is None else {"ev1": where})
    sun = SimpleNamespace(record=SimpleNamespace(scene=None))
    assert room._outside(sun, _phase(0.0, 1.0), "ev1") is outside


@pytest.mark.parametrize(("clear_from_s", "delay_s"), [(250.0, 300.0), (301.0, 600.0), (1e9, None)])
def test_the_first_start_that_keeps_the_sun_out_all_the_time_outside_is_told(monkeypatch, clear_from_s, delay_s):
    monkeypatch.setattr(room, "_outside", lambda sun, phase, crew: phase == "out")
    asked = []
    axis = lambda link, times: asked.append((link, times)) or times  # noqa: E731
    crew = {"ev1": SimpleNamespace(document=SimpleNamespace(visor="glass"))}
    record = SimpleNamespace(
        duration_s=100.0, scene=SimpleNamespace(loaded=SimpleNamespace(crew=crew)), link_path=axis,
        phase_at=lambda time_s: "out" if time_s >= 50.0 else "in",
    )
    # the sun leaves the visor at clear_from_s for whoever looks then; up all the time
    away = lambda axis, towards: np.where(towards < clear_from_s + 50.0, 0.0, 1.0)  # noqa: E731
    monkeypatch.setattr(room, "direction_off_axis_rad", away)
    sky = SimpleNamespace(orbit=SimpleNamespace(period_s=5400.0), sun_direction=lambda times: times)
    sun = SimpleNamespace(record=record, sky=sky, limits=SimpleNamespace(visor=0.5),
                          up=lambda times: np.ones(len(times), dtype=bool))  # fmt: skip
    assert room.clear_delay_s(sun, "ev1") == delay_s
    ((link, times),) = asked
    assert link == "ev1/glass" and times.min() >= 50.0 and times.max() == 100.0 and len(times) == 200
    sun.up = lambda times: np.zeros(len(times), dtype=bool)
    assert room.clear_delay_s(sun, "ev1") == 300.0
    sun.up = lambda times: times < 1000.0  # from then on it is night
    assert room.clear_delay_s(sun, "ev1") == min(delay_s or 1200.0, 1200.0)


def test_what_is_lost_is_what_the_sun_takes_from_every_camera_that_sees():
    edges = np.array([0.0, 1.0, 3.0, 6.0, 10.0])
    seen = np.array([[True, True], [True, False], [False, False], [True, True]])
    blinded = np.array([[True, False], [True, True], [True, True], [True, True]])
    assert Dazzle("ev1", edges, seen, blinded).lost == ((1.0, 3.0), (6.0, 10.0))


def test_cameras_are_looked_at_in_the_middle_of_short_cells_of_their_phase(monkeypatch):
    asked = []

    def blinded(sun, watch, link, middles, seen, half_s):
        asked.append((watch, link, middles.tolist(), seen[:, 0].tolist(), half_s.tolist()))
        return seen & (middles > 12.0)[:, None]

    links = {"early": "ev1/chest", "late": "ev1/back"}
    spans = (("early", 0.0, 8.0), ("late", 8.0, 20.0))
    phases = [SimpleNamespace(start_s=start, end_s=end, tree=tree) for tree, start, end in spans]
    monkeypatch.setattr(room, "LOOK_STEP_S", 5.0)
    monkeypatch.setattr(room, "_blinded", blinded)
    monkeypatch.setattr(room, "Watch", lambda record, phase, cameras: phase.tree)
    monkeypatch.setattr(room, "scene_cameras", lambda scene: ("one",))
    monkeypatch.setattr(room, "targets", lambda scene, tree: [SimpleNamespace(name="ev1", link=links[tree])])
    glimpsed = np.array([True, False, True])[:, None, None]
    found = SimpleNamespace(edges_s=np.array([0.0, 8.0, 11.0, 20.0]), targets=("ev1",), glimpsed=glimpsed)
    (told,) = room.dazzle(SimpleNamespace(record=SimpleNamespace(phases=phases, scene=None)), found)
    assert asked == [("early", "ev1/chest", [2.0, 6.0], [True, True], [2.0, 2.0]),
                     ("late", "ev1/back", [9.5, 13.25, 17.75], [False, True, True], [1.5, 2.25, 2.25])]  # fmt: skip
    assert told.edges_s.tolist() == [0.0, 4.0, 8.0, 11.0, 15.5, 20.0]
    assert told.seen[:, 0].tolist() == [True, True, False, True, True]
    assert told.blinded[:, 0].tolist() == [False, False, False, True, True]


# -- visors and cameras, each instant by itself --------------------------------------------------------------


class _Still:
    """A sun that stands on the x axis, up all the time; which of three things shade it depends on the instant."""

    turn_rate_rad_s = 0.0

    def __init__(self, links, shaded_until_s):
        still = lambda times: np.tile([1.0, 0.0, 0.0], (len(times), 1))  # noqa: E731
        self.sky, self.until_s = SimpleNamespace(sun_direction=still), shaded_until_s
        self.limits = SimpleNamespace(visor=0.5, camera_margin=0.0)
        self.spans, self.asked = (), []
        self.record = SimpleNamespace(link_path=lambda link, times: np.tile(links[link], (len(times), 1, 1)))

    def up(self, times):
        return np.ones(len(times), dtype=bool)

    def shaders(self, watch, times, points, passed):
        self.asked.append(passed)
        flags = np.zeros((len(times), 3), dtype=bool)
        flags[:, 1] = times < self.until_s
        return flags


def test_a_visor_is_shaded_at_its_own_instants_alone():
    sun = _Still({"glass": np.eye(4)}, shaded_until_s=4.0)
    drift = SimpleNamespace(way=lambda link: (0.0, 0.0), reach=lambda way, middles, starts, ends: 0.0 * middles)
    watch = SimpleNamespace(drift=drift, housing=["own"])
    starts, ends, angle, inside, shaded = room._visor_cells(sun, watch, _phase(0.0, 8.0), SimpleNamespace(link="glass"))
    assert starts[0] == 0.0 and ends[-1] == 8.0 and inside.all() and not angle.any()
    assert np.array_equal(shaded, (starts + ends) / 2 < 4.0) and 0 < shaded.sum() < len(shaded)
    assert sun.asked == ["own"]


def test_a_camera_is_blinded_at_its_own_instants_and_where_it_looks_alone():
    away = poses.rotation_about((0.0, 0.0, 1.0), np.pi)
    goal = poses.translation((5.0, 0.0, 0.0))
    sun = _Still({"eye": np.eye(4), "other": away, "goal": goal}, shaded_until_s=4.0)
    view = View(0.5, 0.5)
    cameras = tuple(SimpleNamespace(link=link, view=view) for link in ("eye", "other"))
    watch = SimpleNamespace(cameras=cameras, housing=["own", "its"])
    times, seen = np.array([1.0, 3.0, 5.0, 7.0]), np.ones((4, 2), dtype=bool)
    seen[3, 0] = False
    found = room._blinded(sun, watch, "goal", times, seen, np.zeros(4))
    assert found[:, 0].tolist() == [False, False, True, False]
    assert not found[:, 1].any() and sun.asked == ["own"]  # it is turned from the sun
