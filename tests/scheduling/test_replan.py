"""Ways on when a day goes wrong: home first, what is begun goes on, and whoever cannot work any more does not."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import registry
from armcarry.errors import FrameError, InputError
from armcarry.files.load import load_scenario
from armcarry.record.finding import Finding, Verdict
from armcarry.rehearsal import rehearse
from armcarry.scene.build import build_scene
from armcarry.scheduling import flown as flown_module
from armcarry.scheduling import tries as tries_module
from armcarry.scheduling.day import DayProblem
from armcarry.scheduling.orders import _Orders
from armcarry.scheduling.replan import ways_on
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.turn import Turn
from armcarry.scheduling.ways import Travel
from armcarry.views.brief.rest import rest_files
from armcarry.views.ways_chart import ways_chart, write_ways
from armcarry.views.ways_kept import read_ways
from armcarry.views.ways_on import changes, told
from short_days import SHORT_DAY, flown

LATE_LAMP = Turn(300.0, {"far_lamp": 900.0})
DAY = Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml"


@pytest.fixture(scope="module")
def record():
    return flown(DAY)


@pytest.fixture(scope="module")
def late_lamp(record):
    """The ways on where work at the far lamp takes a quarter of an hour longer."""
    return ways_on(record, LATE_LAMP)


@pytest.fixture(scope="module")
def without_ev2(record):
    return ways_on(record, Turn(300.0, unable=("ev2",)))


def _not_flown(monkeypatch):
    """What is done and left out shows before anything is flown."""
    monkeypatch.setattr(tries_module, "fly", lambda onward, known: _refused())


def _refused():
    raise InputError("not today")


def _by_title(ways):
    return {way.title: way for way in ways}


def test_home_comes_first_keeps_what_was_begun_and_ends_first(record, late_lamp):
    ways = late_lamp
    assert ways[0].title == "come home now"
    assert set(ways[0].keeps) == {"look", "get_off", "far_lamp"}  # nobody stays on the arm at the day's end
    assert all(ways[0].end_s <= way.end_s + 1e-6 for way in ways[1:])
    begun = record.plan.schedule.slot("far_lamp").end_s
    assert all(way.end_s >= begun + 900.0 - 1e-6 for way in ways)


def test_another_order_ends_before_the_one_written(record, late_lamp):
    ways = _by_title(late_lamp)
    best, written = ways["what is worth most in time"], ways["as written, later"]
    assert (best.keeps, best.drops) == (written.keeps, ())
    assert best.end_s < written.end_s - 600.0
    assert best.handed["near_clamp"] == ("ev2", "ev1")
    assert best.new_ways and not written.new_ways
    assert best.margins_s["cut_off"] == pytest.approx(5400.0 - best.end_s, abs=1.0)
    assert best.as_dict()["clearance"] == "pass" and best.proof.failed == ()
    assert {one.of for one in best.proof.margins} == {limit.name for limit in record.plan.limits if limit.actors}


def test_whoever_is_unable_works_no_more(record, without_ev2):
    ways = without_ev2
    assert "as written, later" not in _by_title(ways)
    for way in ways[1:]:
        mine = {name for name in way.keeps if record.plan.step(name).actors == ["ev2"]} - {"far_lamp", "to_middle"}
        assert mine <= set(way.handed)
        assert {"middle_seal", "report"} <= set(way.drops)


def test_why_a_step_is_not_done_is_told_of_each_and_ways_that_are_no_better_say_so(record, monkeypatch):
    _not_flown(monkeypatch)
    unable = _by_title(ways_on(record, Turn(300.0, unable=("ev2",))))
    home, worth = unable["come home now"], unable["what is worth most in time"]
    assert {home.why[name] for name in home.drops} == {"all go home", "ev2 is unable"}
    assert worth.why["report"] == worth.why["middle_seal"] == "ev2 is unable"
    assert {worth.why[name] for name in worth.handed} == {"ev2 is unable"}
    assert set(worth.why) == {*worth.drops, *worth.handed, *worth.reordered}
    gone = [way for way in ways_on(record, Turn(300.0)) if way.why_not]
    assert gone and all("' does not, and ends " in way.why_not and not way.keeps for way in gone)
    late = _by_title(ways_on(record, LATE_LAMP))["what is worth most in time"]
    assert late.why["near_clamp"] == "all is done sooner so"


def test_ways_stand_side_by_side_on_a_page_with_what_is_otherwise_and_why(record, late_lamp, tmp_path):
    ways = late_lamp
    assert write_ways(tmp_path / "views" / "ways", ways, record.plan, 300.0) == []  # no files of a way were asked for
    page, kept, picture = ((tmp_path / "views" / "ways" / f"ways.{kind}") for kind in ("html", "json", "png"))
    found = read_ways(tmp_path / "views")  # as the run's own page and report take them
    assert kept.is_file() and found is not None and found.title.endswith("ways on from 0:05:00.0")
    assert found.tables[0][0] == "ways on" and len(found.tables[0][1].rows) == len(ways)
    text = page.read_text(encoding="utf-8")
    assert picture.is_file() and all(way.title in text for way in ways)
    assert "near_clamp: ev1 instead of ev2 (all is done sooner so)" in text and "not done (all go home): " in text
    flown_ways = [way for way in ways if way.slots]
    sheet = ways_chart(record.plan, flown_ways, 300.0)
    for axes, way in zip(sheet.axes, flown_ways, strict=True):
        bars = {patch.get_gid(): patch for patch in axes.patches}
        assert set(bars) == {slot.name for slot in way.slots if slot.end_s > 300.0}
        changed = {*way.handed, *way.reordered, *way.adds}
        assert {name for name, bar in bars.items() if bar.get_linewidth() > 1.0} == changed & set(bars)


def test_what_was_meant_as_one_may_be_broken_off_to_come_home_or_where_a_step_of_it_cannot_be_done(record):
    def rest(aim, *unable):
        return Rest(record.plan, Travel(record.scene), "worth", turn=Turn(300.0, unable=unable), aim=aim)

    assert rest("home").broken_off(["to_far"]) and not rest("worth").broken_off(["to_far", "report"])
    assert rest("worth", "ev2").broken_off(["to_far", "report"])  # nobody else may report
    assert not DayProblem.broken_off(rest("home"), ["report"])  # as planned it is done to its end
    for broken, follows in ((False, {"a": "b", "b": "c"}), (True, {})):
        loaded = SimpleNamespace(written_at=lambda kind, name: "day.yaml:7 (bring: {})")
        orders = object.__new__(_Orders)
        orders.names = ["a", "b", "c"]
        orders.day = SimpleNamespace(
            groups=(), scene=SimpleNamespace(loaded=loaded), broken_off=lambda steps, broken=broken: broken
        )
        assert orders._glued() == follows


def test_the_tightest_of_what_touches_is_no_distance_less_than_none():
    row = SimpleNamespace(body_a="a", body_b="b", lower_m=-np.inf, required_m=0.9, time_s=60.0)
    told = flown_module._tightest(SimpleNamespace(tightest=row))
    assert told == "a to b, 0.000 m of 0.900 m at 0:01:00.0"


def test_what_a_failed_step_is_about_is_left_as_it_is(monkeypatch):
    _not_flown(monkeypatch)
    record = flown(SHORT_DAY)
    ways = ways_on(record, Turn(300.0, failed=("fetch",)))
    for way in (way for way in ways if way.title != "as written, later" and "' does not, and" not in way.why_not):
        assert not way.why_not
        assert way.left_as_is == ("thermal_blanket",)
        assert "lay" in way.drops
    assert any({"push", "take", "seat"} <= set(way.keeps) and "lay" in way.drops for way in ways[1:])


@pytest.mark.long
def test_a_way_on_rehearsed_as_it_is_written_ends_and_keeps_clear_as_it_was_told(record):
    kept = []
    ways = ways_on(record, LATE_LAMP, files=lambda flown: kept.append(flown) or rest_files(flown, 300.0))
    way, flown = ways[1], kept[1]
    assert way.title == "what is worth most in time"
    text = flown.text.encode()
    again = rehearse(build_scene(load_scenario(DAY.with_name("on.yaml"), text=text)), slip=LATE_LAMP.late_s)
    assert again.duration_s == pytest.approx(way.end_s, abs=1e-6)
    least = min(row.margin_m for row in again.table.near if row.end_s > 300.0)
    assert min(row.margin_m for row in flown.record.table.near) == pytest.approx(least, abs=1e-3)
    begun = {slot.name: slot.start_s for slot in record.plan.schedule.slots}
    for slot in again.plan.schedule.slots:  # what is over stays, and nothing new begins before the instant
        assert slot.start_s == pytest.approx(begun.get(slot.name, -1.0)) or slot.start_s >= 300.0
    assert way.files["scenario/scenario.yaml"].decode() == flown.text
    told = way.files["procedure_ev1.md"].decode()
    assert "Look at the seat" in told  # is under way
    assert {"cards_ev1.pdf", "cards_ev2.pdf", "procedure_ev2.pdf"} <= set(way.files)
    later = ways_on(record, Turn(600.0), files=lambda flown: rest_files(flown, 600.0))[1].files["procedure_ev1.md"]
    assert "Look at the seat" not in later.decode() and "Free the clamp" in later.decode() + told


def test_what_fails_anew_on_a_way_is_told_and_what_failed_before_is_not(record):
    def with_a_gap_too_small(record, since_s):
        found = real(record, since_s)
        return (*found, _failing("reach", "arm"), _failing("clearance", "ev1/pack"), _failing("clearance", "ev1/head"))

    real, known = flown_module._judged, (_failing("reach", "arm"),)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flown_module, "_judged", with_a_gap_too_small)
        ways = ways_on(record, Turn(300.0), known=known)
    ways = [way for way in ways if not way.why_not]
    assert [way.proof.failed for way in ways] == [("too near (and 1 more of these two)",)] * len(ways)
    assert {(str(way.proof.clearance), way.proof.known, way.holds) for way in ways} == {("fail", 1, False)}


def _failing(check, subject):
    return Finding(check, Verdict.FAIL, subject, "too near", other="beam/tube", end_s=2000.0)


def test_what_cannot_be_flown_is_told(record):
    def refused(onward, known):
        raise InputError("no such thing", accepted="another")

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(tries_module, "fly", refused)
        ways = ways_on(record, Turn(300.0))
    ways = [way for way in ways if not way.why_not]
    assert {way.not_flown for way in ways} == {"no such thing; accepted: another"}
    assert {way.as_dict()["clearance"] for way in ways} == {"not_assessed"} and not any(way.holds for way in ways)


@pytest.mark.parametrize(("turn", "words"), [
    (Turn(9000.0), "this instant is not within the day; found '2:30:00.0'"),
    (Turn(600.0, {"look": 60.0}), "step 'look' has ended by then; found '0:10:00.0'; accepted: an instant before 0:08"),
])  # fmt: skip
def test_what_cannot_be_any_more_is_refused(record, turn, words):
    with pytest.raises(InputError) as caught:
        ways_on(record, turn)
    assert words in str(caught.value)


def test_names_that_are_not_there_are_told(record):
    with pytest.raises(FrameError, match="no step named 'lamp'"):
        ways_on(record, Turn(300.0, failed=("lamp",)))
    with pytest.raises(FrameError, match="no crewmember named 'ev3'"):
        ways_on(record, Turn(300.0, unable=("ev3",)))


def test_a_run_without_a_day_has_no_way_on(moving_record, rider_scene):
    with pytest.raises(InputError, match="this run has no day"):
        ways_on(moving_record(rider_scene({}), {}), Turn(0.0))


def test_every_way_names_what_was_not_assessed_of_it(late_lamp):
    way = late_lamp[0]
    assert {*way.proof.judged, *way.proof.not_assessed} == set(registry())
    assert not {*way.proof.judged} & {*way.proof.not_assessed} and "light" in way.proof.not_assessed
    assert {"near_people", "stopping", "slowing", "singularity", "budget"} <= {*way.proof.judged}
    assert any(words.startswith("not assessed: ") and "light" in words for words in told(way))


def test_a_rider_who_is_unable_with_hardware_in_hand_still_has_a_way_home_that_says_what_it_asks(monkeypatch):
    fly, flights = tries_module.fly, []

    def home_alone(onward, known):
        flights.append(onward)
        return fly(onward, known) if len(flights) == 1 else _refused()

    monkeypatch.setattr(tries_module, "fly", home_alone)
    record = flown(SHORT_DAY)
    carried = record.plan.schedule.slot("take")
    way = ways_on(record, Turn((carried.start_s + carried.end_s) / 2.0, unable=tuple(carried.actors)))[0]
    assert not way.why_not and way.keeps
    assert "seat" in way.still and not way.holds
    assert any(words.startswith("asked of who is unable: ") and "seat" in words for words in changes(way))


def test_what_is_left_as_it_may_not_be_is_told_as_to_be_made_safe(record):
    def left(record, since_s):
        return (*real(record, since_s), _failing("custody", "rail_cart_1"))

    real = flown_module._judged
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flown_module, "_judged", left)
        way = ways_on(record, Turn(300.0))[0]
    assert (way.proof.unsafe, way.proof.failed, way.holds) == (("too near",), (), False)
    assert "left unsafe, to be made safe before all leave: too near" in list(told(way))


def test_how_something_is_left_is_told_however_long_ago_it_was_touched_last(monkeypatch):
    def found(name, check, record, settings):
        return [replace(_failing(name, "rail_cart_1"), start_s=90.0, end_s=100.0)]

    monkeypatch.setattr(flown_module, "judged", found)
    record = SimpleNamespace(scene=SimpleNamespace(loaded=SimpleNamespace(rules=SimpleNamespace(checks={}))))
    assert [one.check for one in flown_module._judged(record, 300.0)] == ["custody"]
    assert len(flown_module._judged(record, 95.0)) == len(flown_module.JUDGED)


def test_a_way_that_fails_where_somebody_takes_over_is_tried_without(record):
    def handed_over(record, since_s):
        photos = [step for step in record.plan.day.steps if step.name == "photos" and step.actors == ["ev1"]]
        return (*real(record, since_s), *(_failing("clearance", "ev1/head") for _ in photos))

    real = flown_module._judged
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(flown_module, "_judged", handed_over)
        worth = _by_title(ways_on(record, Turn(300.0, unable=("ev2",))))["what is worth most in time"]
    assert worth.proof.failed == () and "photos" in worth.drops
