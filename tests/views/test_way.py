from dataclasses import replace
from types import SimpleNamespace

import numpy as np

from armcarry.record.finding import Cause, Finding, Verdict
from armcarry.views.folded import people_in
from armcarry.views.way import NEAR, ROOMY, SHORT, near_stretches, tool_path, way


def test_the_path_goes_where_the_tool_goes_and_names_places_apart(small_run):
    record, _ = small_run
    planned = way(record)
    times = np.linspace(record.motion.start_s, record.motion.end_s, 200)
    off = np.linalg.norm(tool_path(record, times)[:, None] - planned.points_m[None], axis=2).min(axis=1)
    assert off.max() < 0.5
    names = [words for words, _ in planned.places]
    assert names[:2] == ["tool at the start", "tool at the end"] and len(set(names)) == len(names) > 2
    rest = np.array([at for _, at in planned.places[2:]])
    gaps = np.linalg.norm(rest[:, None] - rest[None], axis=2) + 9 * np.eye(len(rest))
    assert gaps.min() > 1.2


def test_what_keeps_little_of_what_is_required_is_apart_on_the_path(small_run):
    record, _ = small_run
    planned = way(record)
    kinds = {SHORT if short else NEAR for *_, short in near_stretches(record)}
    assert {ROOMY, *kinds} == set(planned.kept.tolist())
    parts = [part for kind in (ROOMY, NEAR, SHORT) for part in planned.stretches(kind)]
    assert sum(len(part) - 1 for part in parts) == len(planned.kept) - 1


def test_a_finding_is_about_the_people_that_it_names(small_run):
    record, _ = small_run
    about = lambda **named: people_in(record, Finding("reach", Verdict.PASS, **named))  # noqa: E731
    assert about(subject="ev1/helmet", message="") == ("ev1",)
    assert about(subject="arm/tip", message="brings ev1, at last") == ("ev1",)
    assert about(subject="arm/tip", message="as ev10 and level1 say") == ()


def test_a_finding_of_a_step_is_about_who_is_at_work_in_it_and_about_nobody_else():
    slots = [SimpleNamespace(name="look", actors=("ev2",)), SimpleNamespace(name="bolts", actors=("ev1",))]
    record = SimpleNamespace(plan=SimpleNamespace(schedule=SimpleNamespace(slots=slots)),
                             scene=SimpleNamespace(loaded=SimpleNamespace(crew=("ev1", "ev2"))))  # fmt: skip
    of_step = Finding("seen", Verdict.FAIL, subject="rack", message="", cause=Cause("step", "look"))
    assert people_in(record, of_step) == ("ev2",)
    assert people_in(record, replace(of_step, cause=Cause("move", "look"))) == ()
    record.plan = None
    assert people_in(record, of_step) == ()
