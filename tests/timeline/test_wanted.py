"""When steps are done that need a window, daylight or an end by some instant, and which are not done today."""

from __future__ import annotations

import copy
from pathlib import Path

import numpy as np
import pytest
from pydantic import ValidationError

from armcarry.errors import InputError
from armcarry.files.documents.day import Day
from armcarry.files.load import load_scenario
from armcarry.scene.build import build_scene
from armcarry.scene.sky import sky_of
from armcarry.timeline.policy import sampled_days
from armcarry.timeline.schedule import schedule
from armcarry.timeline.task import Duration, Task, tasks_of
from armcarry.timeline.wanted import known_windows, need_in_words, windows_of


def _task(name, seconds, who="one", **more):
    return Task(name, (who,), Duration.exactly(seconds), **more)


def test_a_step_waits_for_a_window_that_it_fits_into():
    tasks = [_task("before", 10.0), _task("look", 5.0, windows=((0.0, 14.0), (30.0, 34.0), (40.0, 60.0)))]
    planned = schedule(tasks)
    assert planned.slot("look").start_s == 40.0  # 10 to 15 is cut by the first, the second is too short
    assert planned.slot("look").latest_end_s == 45.0
    assert planned.slot("before").total_slack_s == 30.0


def test_slack_ends_with_the_window():
    tasks = [_task("look", 5.0, windows=((0.0, 12.0),)), _task("long", 60.0, "two")]
    assert schedule(tasks).slot("look").latest_end_s == 12.0


def test_where_no_window_is_left_the_step_is_done_without():
    assert schedule([_task("look", 5.0, windows=((0.0, 4.0),))]).slot("look").start_s == 0.0


def test_sampled_days_wait_for_windows_too():
    spread = Task("before", ("one",), Duration(5.0, 10.0, 35.0))
    tasks = [spread, _task("look", 5.0, windows=((0.0, 20.0), (60.0, 90.0)))]
    ends_s = sampled_days(tasks, (), samples=2000).ends_s
    assert set(ends_s[(ends_s > 20.0)]) == {65.0}
    assert 0.0 < (ends_s <= 20.0).mean() < 1.0


def test_a_pair_that_is_not_to_be_at_once_follows_in_the_order_listed():
    tasks = [_task("hot", 10.0, apart=("hot and near",)), _task("near", 5.0, "two", apart=("hot and near",))]
    assert schedule(tasks).slot("near").start_s == 10.0
    assert schedule(tasks[::-1]).slot("hot").start_s == 5.0


def test_steps_that_permit_it_are_left_out_for_one_that_is_to_end_by_some_instant():
    tasks = [_task("extra", 10.0, priority=1), _task("must", 10.0, ends_by_s=15.0)]
    (dropped,) = schedule(tasks).dropped
    assert (dropped.name, dropped.why) == ("extra", "must cannot end in time")


ROOT = Path(__file__).parents[2]
_NOTE = {"actors": ["ev1"], "note": "work", "takes": "5 min"}


def _day(*steps, **more):
    return Day.model_validate({"steps": [{"name": name, **_NOTE, **says} for name, says in steps], **more})


def test_of_alternatives_the_first_that_is_not_left_out_is_done():
    steps = [("snap", {}), ("lace", {}), ("glue", {})]
    first = tasks_of(_day(*steps, any_of=[["snap", "lace", "glue"]]), {})
    assert [task.left_out for task in first] == [False, True, True]
    second = tasks_of(_day(*steps, any_of=[["snap", "lace", "glue"]], left_out=["snap"]), {})
    assert [task.left_out for task in second] == [True, False, True]
    assert schedule(second).tasks_done() == {"lace"}


def test_practice_of_whoever_does_it_counts_and_of_two_the_slower():
    by = {"ev1": {"least": "1 min", "likely": "2 min", "most": "3 min"},
          "ev2": {"least": "2 min", "likely": "4 min", "most": "6 min"}}
    (task,) = tasks_of(_day(("both", {"actors": ["ev1", "ev2"], "takes_by": by})), {})
    assert task.duration == Duration(120.0, 240.0, 360.0)


def test_earliest_latest_and_what_must_be_left_become_instants():
    more = {"earliest": "0:20", "latest": "1:00", "go_if": {"left": "1:30"}, "as_time_permits": {"start_by": "0:40"}}
    (task,) = tasks_of(_day(("look", more), cut_off="2:00"), {})
    assert (task.not_before_s, task.ends_by_s, task.start_by_s) == (1200.0, 3600.0, 1800.0)


@pytest.mark.parametrize(("steps", "more", "words"), [
    ([("a", {"needs": "relay"})], {}, "step 'a' names window 'relay', which is not there"),
    ([("a", {"earliest": "1:00", "latest": "1:00"})], {}, "latest must be after earliest"),
    ([("a", {"takes_by": {"ev2": "1 min"}})], {}, "'ev2', who is no actor"),
    ([("a", {"sun": {"frame": "platform/b", "axis": "x", "least": "9 deg", "most": "9 deg"}})], {},
     "the sun never stands there: most must be larger than least"),
    ([("a", {"go_if": {"left": "1:00"}})], {}, "which has no cut_off"),
    ([("a", {"go_if": {"left": "1:00", "of": "air"}})], {}, "step 'a' names consumable 'air', which is not there"),
    ([("a", {"no_return_until": "b"})], {}, "step 'a' names step 'b', which is not there"),
    ([("a", {})], {"windows": {"relay": [{"start": "1:00", "end": "0:30"}]}}, "start before end"),
    ([("a", {})], {"may_vary": [{"steps": ["b"], "may_move": True}]}, "may_vary of the day names step 'b'"),
    ([("a", {})], {"may_vary": [{"steps": ["a"]}]}, "nothing varies here: state may_move or either"),
    ([("a", {})], {"may_vary": [{"steps": ["a", "a"], "may_move": True}]}, "a step is named twice: a, a"),
    ([("a", {})], {"may_vary": [{"steps": ["a"], "may_move": True}] * 2}, "step 'a' stands twice under may_vary"),
    ([("a", {})], {"not_at_once": [["a", "c"]]}, "not_at_once of the day names step 'c'"),
    ([("a", {})], {"any_of": [["a", "c"]]}, "any_of of the day names step 'c'"),
    ([("a", {})], {"left_out": ["c"]}, "left_out of the day names step 'c'"),
])  # fmt: skip
def test_what_cannot_be_meant_is_refused(steps, more, words):
    with pytest.raises(ValidationError) as caught:
        _day(*steps, **more)
    assert words in str(caught.value)


def test_who_may_do_it_must_be_of_the_crew():
    day = _day(("a", {}), may_vary=[{"steps": ["a"], "either": ["ev1", "ev7"]}])
    with pytest.raises(ValueError, match="either under may_vary names crewmember 'ev7', which is not there"):
        day.check_names(["ev1", "ev2"], [], [])


def test_daylight_is_not_known_without_an_environment(tmp_path):
    text = (ROOT / "scenarios" / "change_places.yaml").read_text()
    step = "{name: look, title: \"look at the seat\", actors: [ev1], "
    assert step in text
    start, end = text.index("environment:"), text.index("restraint: {model")
    file = tmp_path / "dark.yaml"
    file.write_text((text[:start] + text[end:]).replace(step, f"{step}needs: daylight, "))
    with pytest.raises(InputError) as caught:
        load_scenario(file)
    line = next(k for k, row in enumerate(file.read_text().splitlines(), start=1) if "needs: daylight" in row)
    assert f"{file}:{line}: when there is daylight is not known: no environment is stated" in str(caught.value)
    assert "accepted: an environment with start and orbit, or a window of the day" in str(caught.value)


@pytest.mark.parametrize("key", ["needs", "go_if", "no_return_until", "sun", "effort"])
def test_a_step_that_becomes_several_cannot_need_what_one_does(key):
    sun = {"frame": "platform/bay_7", "axis": "x", "most": "1 rad"}
    value = {"needs": "relay", "go_if": {"left": "1:00"}, "no_return_until": "b", "sun": sun, "effort": "rest"}[key]
    with pytest.raises(ValidationError, match=f"becomes several steps, of which {key} cannot be asked"):
        Day.model_validate(copy.deepcopy({"cut_off": "2:00", "windows": {"relay": [{"start": "0:10", "end": "1:00"}]},
                                          "steps": [{"name": "a", "ride": {"to": "bay_7"}, key: value}]}))


VARY = (ROOT / "scenarios" / "day_that_may_vary.yaml").read_text(encoding="utf-8")
SEAL = "needs: relay, takes: {least: 6 min, likely: 8 min, most: 10 min}"


def _with_sun(tmp_path, sun, changes=()):
    text = VARY.replace(SEAL, SEAL.replace("needs: relay", f"sun: {{{sun}}}"))
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    file = tmp_path / "sunny.yaml"
    file.write_text(text, encoding="utf-8")
    return file


@pytest.mark.parametrize(("axis", "all_day"), [("x", True), ("-x", False), ("y", False)])
def test_held_to_the_stars_the_sun_of_the_equinox_stands_on_one_axis_all_day(tmp_path, axis, all_day):
    """At the March equinox the sun is on the equator frame's x axis, by the frame's definition."""
    held = [("holds: local", "holds: inertial")]
    path = _with_sun(tmp_path, f"frame: platform/keel, axis: {axis}, most: 60 deg", held)
    scene = build_scene(load_scenario(path))
    spans = windows_of(scene)["middle_seal"]
    assert spans == (known_windows(scene.loaded.scenario)["daylight"] if all_day else ())


def test_the_sun_comes_to_a_given_angle_and_leaves_it(tmp_path):
    path = _with_sun(tmp_path, "frame: platform/bay_7_stand, axis: -z, least: 40 deg, most: 70 deg")
    scene = build_scene(load_scenario(path))
    spans = windows_of(scene)["middle_seal"]
    assert spans
    pose, sky = scene.tree.pose_of("platform/bay_7_stand", scene.position), sky_of(scene.loaded.scenario.environment)
    times = np.arange(0.0, 6 * 3600.0, 30.0)
    angle = np.degrees(np.arccos(-sky.sun_direction(times) @ pose[:3, 2]))
    wanted = (sky.sun_share(times) >= 1.0) & (angle >= 40.0) & (angle <= 70.0)
    inside = np.array([any(a <= t <= b for a, b in spans) for t in times])
    assert 0 < wanted.sum() < len(times) and (wanted == inside).all()
    seal = next(step for step in scene.loaded.scenario.day.steps if step.name == "middle_seal")
    assert need_in_words(seal) == "the sun 40 deg to 70 deg from -z of platform/bay_7_stand"


def test_a_window_in_the_dark_has_no_sun_though_it_stands_on_that_side_of_the_earth(tmp_path):
    sun = "frame: platform/bay_7_stand, axis: z, most: 180 deg"
    path = _with_sun(tmp_path, sun, [(f"sun: {{{sun}}}", f"needs: darkness, sun: {{{sun}}}")])
    scene = build_scene(load_scenario(path))
    assert windows_of(scene)["middle_seal"] == ()
    assert known_windows(scene.loaded.scenario)["darkness"]


@pytest.mark.parametrize(("sun", "changes", "words"), [
    ("frame: platform/nowhere, axis: z, most: 60 deg", (), "'platform' has no frame 'nowhere'"),
    ("frame: ev1/chest, axis: z, most: 60 deg", (), "not a frame of the platform, so where the sun stands is not kn"),
    ("frame: platform/bay_7_stand, axis: z, most: 60 deg",
     [(VARY[VARY.index("environment:"):VARY.index("carts:")], "")], "where the sun stands is not known: no env"),
])  # fmt: skip
def test_where_the_sun_stands_is_refused_at_its_line_where_it_cannot_be_known(tmp_path, sun, changes, words):
    path = _with_sun(tmp_path, sun, changes)
    line = next(k for k, row in enumerate(path.read_text().splitlines(), start=1) if "sun: {" in row)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert f"{path}:{line}: {words}" in str(caught.value)
