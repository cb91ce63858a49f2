"""Every row of the table of pairs holds at every instant of its window, measured with coal; every pair has a row."""

from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from armcarry.asked.pairs import judged_pairs
from armcarry.asked.relaxed import Relaxed
from armcarry.files.load import load_scenario
from armcarry.proving.proof import prove_run
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day
from armcarry.timeline.near import STANDING
from armcarry.timeline.run import Run

CARRY = Path(__file__).parents[2] / "scenarios" / "pump_box_to_bay_7.yaml"
DAY = Path(__file__).parents[1] / "timeline" / "short_day.yaml"
#: instants of every phase, beside those at which any row begins or ends
SAMPLES = 12
#: pairs with less than this proven are measured at every instant; of the others, so many
NEAR_M, FAR = 0.5, 800


@pytest.fixture(scope="module")
def day():
    """A short day in which things are taken, carried, pushed and laid down, and people climb on and off."""
    scene = build_scene(load_scenario(DAY))
    run = run_day(scene)
    return scene, run, prove_run(scene, run)[0]


@pytest.fixture(scope="module")
def carry(short_run):
    """A short carry with a relaxation that holds between two stretches under the rule, and one that overlaps it."""
    record, _ = short_run
    granted = (
        Relaxed("ev1/*", "pump_box/case", 0.005, 100.0, 200.0, "the hand comes close"),
        Relaxed("ev1/forearm_right", "pump_box/*", 0.01, 150.0, 250.0, "it stays a little"),
    )
    run = Run(record.phases, record.motion, record.moves, record.events, granted, ())
    return record.scene, run, prove_run(record.scene, run)[0]


@pytest.fixture(scope="module")
def grasp():
    """A box that is taken out of its seat 5 mm beside where the hands hold it, carried, and put into another seat."""
    scene = build_scene(load_scenario(CARRY))
    run = run_carries(scene, lambda words, share: None)
    assert max(event.gap_m for event in run.events) > 4e-3
    return scene, run, prove_run(scene, run)[0]


@pytest.mark.parametrize("what", ["carry", "grasp", pytest.param("day", marks=pytest.mark.long)])
def test_no_row_is_beaten_by_coal_at_any_instant_of_its_window(what, request, pinocchio_engine):
    scene, run, rows = request.getfixturevalue(what)
    judged = [row for row in rows if row.status != "intended"]
    key = {pair: k for k, pair in enumerate(dict.fromkeys((row.body_a, row.body_b) for row in judged))}
    of = np.array([key[row.body_a, row.body_b] for row in judged])
    start, end, lower = (np.array([getattr(row, name) for row in judged]) for name in ("start_s", "end_s", "lower_m"))
    least = np.full(len(key), np.inf)
    np.minimum.at(least, of, lower)
    far = np.random.default_rng(0).permutation(np.flatnonzero(least >= NEAR_M))[:FAR]
    names = list(key)
    people, things = scene.loaded.crew, scene.loaded.hardware
    held = np.array([{name.split("/")[0] in people for name in pair} == {True, False} and any(
        name.split("/")[0] in things for name in pair) for pair in names])  # fmt: skip
    chosen = np.flatnonzero(np.isin(np.arange(len(key)), far) | (least < NEAR_M) | held)
    compared = 0
    for phase in run.phases:
        number = {body.name: k for k, body in enumerate(phase.tree.bodies)}
        engine = pinocchio_engine(phase.tree, [[number[name] for name in names[k]] for k in chosen])
        edges = np.concatenate([start, end])
        times = np.linspace(phase.start_s, phase.end_s, SAMPLES)
        for time in np.unique([*times, *edges[(edges > phase.start_s) & (edges < phase.end_s)]]):
            # at a switch each row speaks of its own phase
            mine = (start <= time) & (end >= time) & (start < phase.end_s) & (end > phase.start_s)
            side = "left" if time == phase.end_s else "right"
            found = np.full(len(key), np.inf)
            found[chosen] = engine.distances(run.motion.at(time, side=side))
            low = lower[mine]
            bad = np.flatnonzero(low > np.maximum(found[of[mine]], 0.0) + 1e-6)
            assert not len(bad), [(judged[k], found[of[k]]) for k in np.flatnonzero(mine)[bad[:3]]]
            compared += int(np.isfinite(found[of[mine]]).sum())
    assert compared > 10_000


@pytest.mark.parametrize("what", ["carry", "grasp", "day"])
def test_every_judged_pair_has_one_row_at_every_instant(what, request):
    scene, run, rows = request.getfixturevalue(what)
    spans = {}
    for row in rows:
        spans.setdefault((row.body_a, row.body_b), []).append((row.start_s, row.end_s))
    for phase in run.phases:
        classes, bodies = scene.body_classes(phase.tree), phase.tree.bodies
        part = run.motion.between(phase.start_s, phase.end_s) if phase.end_s > phase.start_s else None
        pairs, moves = judged_pairs(scene, phase.tree, part)
        middle = (phase.start_s + phase.end_s) / 2
        for (a, b), moving in zip(pairs.tolist(), moves.tolist(), strict=True):
            if not moving and classes[a] in STANDING and classes[b] in STANDING:
                continue  # as they were built
            mine = spans.get((bodies[a].name, bodies[b].name), [])
            assert sum(start <= middle <= end for start, end in mine) == 1, (bodies[a].name, bodies[b].name, middle)


def test_no_row_encloses_another_of_its_pair(carry):
    _, _, rows = carry
    spans = {}
    for row in rows:
        spans.setdefault((row.body_a, row.body_b), []).append((row.start_s, row.end_s, row.why))
    for mine in spans.values():
        mine.sort()
        assert all(one[1] <= other[0] for one, other in pairwise(mine))
    assert [(a, b, why) for a, b, why in spans["ev1/forearm_right", "pump_box/case"]] == [
        (0.0, 100.0, "rule"), (100.0, 200.0, "the hand comes close"), (200.0, 250.0, "it stays a little"),
        (250.0, pytest.approx(spans["ev1/forearm_right", "pump_box/case"][-1][1]), "rule"),
    ]  # fmt: skip
