"""What is said of a day: its limits, the chance of keeping them, conflicts, ways, stated times, what is left out."""

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from armcarry.checks import schedule
from armcarry.geometry import poses
from armcarry.geometry.model import Body
from armcarry.geometry.shapes import Sphere
from armcarry.quantities import rounded_down
from armcarry.record.finding import Verdict
from armcarry.record.record import MoveSpan


@pytest.fixture
def judged(rider_scene, moving_record):
    """Judge the day of a rider and a worker."""

    def build(steps, rules=None, carries=(), moves=(), frames=None, platform=None, crew=None, **day):
        frames = {"spot": poses.translation((0.0, 3.0, 0.0)), **(frames or {})}
        script = {"day": {"steps": steps, **day}, "carries": list(carries), **({} if crew is None else {"crew": crew})}
        far = [Body("keel", "yard", Sphere(0.1), poses.translation((0.0, 0.0, -9.0)))]
        scene = rider_scene(
            {}, bodies=far, frames=frames, platform=platform, script=script, rules=rules, worker_at="platform/spot"
        )
        return schedule.check(moving_record(scene, {}, moves=moves))

    return build


def _note(name, takes, who="ev2", **more):
    return {"name": name, "actors": [who], "note": "work", "takes": takes, **more}


def _about(findings, other):
    return [item for item in findings if item.other == other]


def test_nothing_is_said_without_a_day(rider_scene, moving_record):
    assert schedule.check(moving_record(rider_scene({}), {})) == ()


@pytest.mark.parametrize(("cut_off", "verdict", "words"), [
    ("20 min", Verdict.PASS, "0:00:00.0 before"), ("19.99 min", Verdict.FAIL, "0:00:00.6 after"),
    ("25 min", Verdict.PASS, "0:05:00.0 before"),
])  # fmt: skip
def test_the_likely_end_is_judged_against_the_cut_off(judged, cut_off, verdict, words):
    (found,) = _about(judged([_note("work", "12 min"), _note("more", "8 min")], cut_off=cut_off), "cut_off")
    assert found.verdict is verdict
    assert found.message == f"with likely durations the last step, more, ends {words} cut off"
    assert (found.value, found.unit, found.subject) == (pytest.approx(1200.0), "s", "day")
    assert (found.start_s, found.end_s) == (0.0, 1200.0)
    assert found.limit == pytest.approx({"20 min": 1200.0, "19.99 min": 1199.4, "25 min": 1500.0}[cut_off])
    shorter = "shorten or move a step of the critical path: work, more"
    assert found.remedy == ("" if verdict is Verdict.PASS else shorter)


def test_the_last_six_steps_of_a_long_critical_path_are_named(judged):
    steps = [_note(f"s{k}", "1 min") for k in range(9)]
    (found,) = _about(judged(steps, cut_off="8 min"), "cut_off")
    assert found.remedy.endswith("path: s3, s4, s5, s6, s7, s8")


def test_what_runs_out_is_judged_by_its_own_limit(judged):
    air = {"air_tank": {"lasts": "15 min", "keep": "5 min", "actors": ["ev2"]}}
    (found,) = _about(judged([_note("work", "11 min")], consumables=air), "air_tank")
    assert found.verdict is Verdict.FAIL
    assert found.message.endswith("the last step, work, ends 0:01:00.0 after air tank")
    assert found.limit == 600.0


@pytest.mark.parametrize(("keep", "verdict"), [("1 h", Verdict.PASS), ("61 min", Verdict.FAIL)])
def test_a_tank_is_judged_by_what_its_wearer_does_and_home_only_where_a_way_is_known(judged, keep, verdict):
    tank = {"rest": "10 h", "light": "5 h", "heavy": "2.5 h", "keep": keep}
    crew = {"ev1": {"posture": "upright", "at": "arm", "size": "plain", "suit": "plain"}}
    found = judged([_note("work", "2 h", "ev1", effort="heavy")], rules={"suits": {"plain": {"tanks": {"air": tank}}}},
                   crew=crew)  # fmt: skip
    (left,) = _about(found, "air")
    assert (left.verdict, left.subject, left.value) == (verdict, "ev1", pytest.approx(3600.0))
    assert left.message.startswith("1:00:00.0 of air is left when the last step of ev1, work, ends, ")
    assert left.remedy == ("" if verdict is Verdict.PASS else "let ev1 end earlier, or give heavy work to another")
    (home,) = _about(found, "air, way home")
    assert home.verdict is Verdict.NOT_ASSESSED
    assert home.message == "how much air the way home leaves is not known"


@pytest.mark.parametrize(("return_s", "verdict"), [(1800.0, Verdict.PASS), (1801.0, Verdict.FAIL)])
def test_a_tank_must_last_home_from_every_instant(judged, monkeypatch, return_s, verdict):
    tank = {"rest": "10 h", "light": "5 h", "heavy": "2.5 h", "keep": "2 h"}
    crew = {"ev1": {"posture": "upright", "at": "arm", "size": "plain", "suit": "plain"}}
    back = SimpleNamespace(crew="ev1", time_s=np.array([0.0, 3600.0, 7200.0]),
                           return_time_s=np.array([600.0, return_s, 0.0]))  # fmt: skip
    monkeypatch.setattr(schedule, "ways_back", lambda record: (back,))
    home_by = {"leave_restraint": "0 s", "stow_held": "0 s", "cross_gap": "0 s", "go_in": "0 s"}
    rules = {"suits": {"plain": {"tanks": {"air": tank}}}, "way_home": home_by}
    steps = [_note("hard", "1 h", "ev1", effort="heavy"), _note("sit", "1 h", "ev1", effort="rest")]
    (home,) = _about(judged(steps, rules=rules, crew=crew), "air, way home")
    assert (home.verdict, home.start_s) == (verdict, 3600.0)
    assert home.value == pytest.approx(5 * 3600.0 - 2 * 3600.0 - 2 * return_s)  # going by hand is heavy


@pytest.mark.parametrize(("confidence", "verdict"), [(0.45, Verdict.PASS), (0.7, Verdict.FAIL)])
def test_the_chance_is_judged_against_the_confidence_asked_for(judged, confidence, verdict):
    takes = {"least": "5 min", "likely": "10 min", "most": "15 min"}  # symmetric: half of the days end by the likely
    (found,) = _about(judged([_note("work", takes)], cut_off="10 min", rules={"confidence": confidence}), "chance")
    assert found.verdict is verdict
    assert found.value == pytest.approx(0.5, abs=0.02)
    assert (found.limit, found.unit, found.subject) == (confidence, "", "day")
    assert (found.start_s, found.end_s) == (0.0, 600.0)
    share = f"{rounded_down(found.value * 100, 1):.1f} % of 20000 sampled days keep every limit, "
    assert found.message.startswith(f"{share}{confidence * 100:.0f} % are asked for; ")
    assert " % end by 0:10:00.0, the cut off (the critical path alone: 50.0 %), " in found.message
    assert f", {confidence * 100:.0f} % by 0:{'09:' if confidence < 0.5 else '1'}" in found.message
    assert "; the uncertainty of work costs most, 5" in found.message  # sure of 10 min, every day would be in time
    assert found.message.endswith("; 0:10:00.0 more of each limit would make it 100.0 %")
    practise = "practise or shorten the steps whose uncertainty costs most of the chance: work (5"
    assert found.remedy == "" if verdict is Verdict.PASS else found.remedy.startswith(practise)


def test_what_time_permits_is_told_with_its_chance_and_what_more_time_would_reach(judged):
    takes = {"least": "5 min", "likely": "10 min", "most": "15 min"}
    steps = [_note("work", takes), _note("extra", "5 min", as_time_permits={})]
    found = _about(judged(steps, cut_off="15 min"), "chance")
    day, extra = found[0], next(one for one in found if one.subject == "extra")
    assert extra.verdict is Verdict.PASS and extra.value == pytest.approx(0.5, abs=0.02)
    assert extra.message == f"extra is reached on {extra.value * 100:.1f} % of sampled days"
    assert day.value == 1.0  # it is left out on the day where it does not fit, so no day is late
    assert day.message.endswith("would make it 100.0 %, and reach extra on 100.0 %")


def test_the_least_certain_steps_come_first_and_the_nearest_limit_counts(judged):
    steps = [_note("sure", "5 min"), _note("unsure", {"least": "1 min", "likely": "5 min", "most": "30 min"})]
    lasting = {"air": {"lasts": "11 min", "actors": ["ev2"]}}
    lasting["late"] = {"lasts": "30 min", "actors": ["ev2"], "since": "unsure"}  # not counted from the day's start
    (found,) = _about(judged(steps, cut_off="60 min", consumables=lasting), "chance")
    assert ", the air (" in found.message
    assert ": unsure (" in found.remedy and "sure (" not in found.remedy.replace("unsure (", "")
    (found,) = _about(judged(steps, cut_off="9 min"), "chance")  # with its likely time it is never in time
    assert found.remedy == "shorten steps of the critical path: no single step's uncertainty costs any of the chance"


def test_no_chance_is_told_without_a_limit(judged):
    assert _about(judged([_note("work", "12 min")]), "chance") == []


def test_nobody_in_two_places_is_said(judged):
    (found,) = [item for item in judged([_note("work", "12 min")]) if item.subject == "actors"]
    assert (found.verdict, found.start_s, found.end_s) == (Verdict.PASS, 0.0, 720.0)
    assert found.message == (
        "nobody is in two places, everybody is beside what they work on, nobody rides outside the restraint"
    )


def test_a_conflict_fails_and_takes_the_place_of_that(judged):
    climb = {"name": "out", "actors": ["ev2"], "leave_restraint": {}, "takes": "5 min"}
    findings = judged([climb])
    assert [item for item in findings if item.subject == "actors"] == []
    (found,) = _about(findings, "out")
    assert (found.verdict, found.subject) == (Verdict.FAIL, "ev2")
    assert found.message
    assert found.remedy
    assert (found.start_s, found.end_s) == (0.0, 300.0)


RAILS = {
    "one_a": poses.translation((0.0, 3.0, 1.0)), "one_b": poses.translation((3.0, 3.0, 1.0)),
    "two_a": poses.translation((3.5, 3.0, 1.0)), "two_b": poses.translation((6.0, 3.0, 1.0)),
    "goal": poses.translation((6.0, 3.0, 0.0)),
}


@pytest.mark.parametrize(("gap", "verdict"), [("0.51 m", Verdict.PASS), ("0.49 m", Verdict.FAIL)])
def test_a_way_along_handrails_is_told_or_missed(judged, gap, verdict):
    platform = {"handrails": {"one": {"start": "one_a", "end": "one_b"}, "two": {"start": "two_a", "end": "two_b"}}}
    walk = {"name": "walk", "actors": ["ev2"], "translate": {"from": "platform/spot", "to": "platform/goal"}}
    found = _about(judged([walk], frames=RAILS, platform=platform, rail_gap=gap), "walk")[0]
    assert (found.verdict, found.subject, found.unit) == (verdict, "ev2", "m")
    assert found.value == pytest.approx(0.5, abs=1e-9)
    assert found.limit == pytest.approx(float(gap.split()[0]))
    assert found.message.startswith("ev2 from platform/spot to platform/goal: ")
    if verdict is Verdict.PASS:
        length = found.message.removeprefix("ev2 from platform/spot to platform/goal: ").split(" m along ")[0]
        assert len(length.split(".")[1]) == 1  # decimetres
        assert found.message.endswith(" m along 2 handrails, widest gap 0.50 m")
        assert found.remedy == ""
        assert found.end_s > found.start_s == 0.0
    else:
        assert found.remedy == "add a handrail or a tether there, or take another way in several steps"


@pytest.mark.parametrize(("takes", "told"), [("9.9 s", True), ("10 s", False), ("11 s", False)])
def test_a_carry_must_fit_into_the_time_stated_for_it(judged, takes, told):
    carry = {"name": "ride", "actors": ["arm", "ev1"], "carry": "round", "takes": takes}
    moves = (MoveSpan("round", 1, "swing", "to_joints", 0.0, 10.0, "rider"),)
    findings = _about(
        judged([carry], carries=[{"name": "round", "moves": [{"hold": "10 s"}]}], moves=moves), "takes"
    )
    assert len(findings) == told
    for found in findings:
        assert found.verdict is Verdict.FAIL
        assert found.message == "ride is to take 0:00:09.9, but its motion takes 0:00:10.0"
        assert (found.value, found.limit, found.remedy) == (9.9, 10.0, "state at least 0:00:10.0 for ride")
        assert (found.start_s, found.end_s, found.unit, found.subject) == (0.0, 10.0, "s", "ride")


def test_what_is_left_out_is_told_and_no_failure(judged):
    steps = [_note("must", "10 min"), _note("may", "10 min", as_time_permits={"priority": 1}, fallback="glance"),
             _note("glance", "1 min")]  # fmt: skip
    (found,) = _about(judged(steps, cut_off="12 min"), "left_out")
    assert (found.verdict, found.subject) == (Verdict.PASS, "may")
    assert found.message.startswith("may is left out as time does not permit: ")
    assert found.message.endswith("; glance is done instead")
    steps = [_note("must", "10 min"), _note("may", "10 min", as_time_permits={"priority": 1})]
    (alone,) = _about(judged(steps, cut_off="12 min"), "left_out")
    assert "instead" not in alone.message


def test_a_logged_motion_has_no_day(rider_scene, moving_record):
    record = moving_record(rider_scene({}, script={"day": {"steps": [_note("work", "12 min", who="ev1")]}}), {})
    assert schedule.check(record) != ()
    assert schedule.check(replace(record, logged=object())) == ()


def test_conflicts_are_told_in_the_order_of_time(judged):
    steps = [_note("work", "5 min", who="ev2"),
             {"name": "out", "actors": ["ev2"], "leave_restraint": {}, "takes": "5 min"},
             {"name": "down", "actors": ["ev2"], "leave_restraint": {}, "takes": "5 min"}]  # fmt: skip
    told = [item for item in judged(steps) if item.verdict is Verdict.FAIL]
    assert [item.other for item in told] == ["out", "down"]
    assert [(item.start_s, item.end_s) for item in told] == [(300.0, 600.0), (600.0, 900.0)]


def test_a_latest_end_a_window_and_what_must_be_left_are_judged(judged):
    steps = [
        _note("work", "12 min"),
        _note("look", "8 min", latest="19 min", needs="relay", go_if={"left": "10 min"}),
    ]
    windows = {"relay": [{"start": "0:10", "end": "0:20"}]}
    found = {item.other: item for item in judged(steps, cut_off="22 min", windows=windows)}
    assert found["latest"].verdict is Verdict.FAIL
    assert "look (0:12:00.0 to 0:20:00.0) is to end by 0:19:00.0" in found["latest"].message
    assert found["relay"].verdict is Verdict.PASS
    assert found["go_if"].verdict is Verdict.PASS
    assert found["go_if"].value == 600.0 and found["go_if"].limit == 600.0
    late = {item.other: item for item in judged([_note("more", "1 min"), *steps], cut_off="22 min", windows=windows)}
    assert late["relay"].verdict is Verdict.FAIL
    assert "is not within relay, which is 0:10:00.0 to 0:20:00.0" in late["relay"].message
    assert late["go_if"].verdict is Verdict.FAIL
    assert late["go_if"].remedy == "no-go: leave out look, or let it begin earlier"


def test_what_must_be_left_of_a_consumable_counts_from_where_its_use_begins(judged):
    look = _note("look", "5 min", go_if={"left": "20 min", "of": "air"})
    steps = [_note("inside", "30 min"), _note("out", "5 min"), look]
    air = {"air": {"lasts": "25 min", "actors": ["ev2"], "since": "out"}}
    (found,) = _about(judged(steps, consumables=air), "go_if")
    assert (found.verdict, found.value) == (Verdict.PASS, 1200.0)


def test_what_the_script_leaves_out_is_told_as_that(judged):
    (found,) = _about(judged([_note("work", "5 min"), _note("more", "5 min")], left_out=["more"]), "left_out")
    assert found.message == "more is left out, as the script says"
