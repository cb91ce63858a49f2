"""The one page that says what a rehearsal is.

A script becomes a scene; its carries become a motion on the clock; every pair of bodies that moves is
measured over the whole run; the checks judge what came out.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping
from itertools import pairwise
from pathlib import Path

from armcarry.checks import run_checks
from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.record.finding import Finding
from armcarry.record.proof import prove_run
from armcarry.record.record import Record
from armcarry.scene.build import build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day

#: told what is being done and how far it is (0 to 1)
Progress = Callable[[str, float], None]


def rehearse(
    scenario: Path | str,
    progress: Progress | None = None,
    *,
    slip: Mapping[str, float] | None = None,
    failed: Collection[str] = (),
) -> Record:
    """Compute a run from a scenario file: its day if it has one, else its carries one after another.

    Args:
        scenario: the script, a YAML file.
        progress: told what is being done.
        slip: step of the day -> seconds it takes longer.
        failed: steps of the day that are tried, fail and are followed by their fallback.

    Returns:
        The record; judge it with ``judge``, keep it with ``record.store.save``.

    Raises:
        InputError: a file does not hold what it must; the message names file and line.
        FrameError: slip or failed names no step.
    """
    tell = progress or (lambda words, share: None)
    clock = [time.perf_counter()]
    tell("reading the script", 0.0)
    scene = build_scene(load_scenario(Path(scenario)))
    clock.append(time.perf_counter())
    tell("planning the motion", 0.1)
    if scene.loaded.scenario.day is not None:
        run = run_day(scene, tell, slip=slip, failed=failed)
    elif slip or failed:
        raise InputError("the scenario has no day, so no step of it can slip or fail", file=scenario)
    else:
        run = run_carries(scene, tell)
    clock.append(time.perf_counter())
    tell("proving clearances", 0.6)
    pairs, curves = prove_run(scene, run, tell)
    clock.append(time.perf_counter())
    took = dict(zip(("reading", "motion", "clearance"), (b - a for a, b in pairwise(clock)), strict=True))
    return Record(
        scene=scene,
        phases=run.phases,
        motion=run.motion,
        moves=run.moves,
        events=run.events,
        relaxed=run.relaxed,
        shortfalls=run.shortfalls,
        pairs=pairs,
        curves=curves,
        timings_s=took,
        slip=dict(slip or {}),
        failed=tuple(failed),
    )


def judge(record: Record) -> tuple[Finding, ...]:
    """Run every check on a record; failures first."""
    return run_checks(record)
