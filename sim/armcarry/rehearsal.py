"""The one page that says what a rehearsal is.

A script becomes a scene; its carries become a motion on the clock; every pair of bodies that moves is
measured over the whole run; the checks judge what came out.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Mapping
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

from armcarry.asked.zones import granted
from armcarry.checks import run_checks
from armcarry.errors import InputError
from armcarry.files.load import validate_files
from armcarry.files.motion_log import SUFFIXES, MotionLog, read_motion_log
from armcarry.planning.left_open import settle
from armcarry.proving.proof import prove_run
from armcarry.record.beside import cores
from armcarry.record.consistent import LONGEST_S
from armcarry.record.finding import Finding, Findings
from armcarry.record.record import Record
from armcarry.record.store import load
from armcarry.scene.build import Scene, build_scene
from armcarry.timeline.carry import run_carries
from armcarry.timeline.day_run import run_day
from armcarry.timeline.logged import Pieces, run_log
from armcarry.timeline.plan import check_order
from armcarry.timeline.run import Run

#: told what is being done and how far it is (0 to 1)
Progress = Callable[[str, float], None]


def rehearse(
    scenario: Path | str | Scene,
    progress: Progress | None = None,
    *,
    slip: Mapping[str, float] | None = None,
    failed: Collection[str] = (),
    motion: Path | str | MotionLog | None = None,
    pieces: Pieces = "linear",
    run: Run | None = None,
    since_s: float = 0.0,
    processes: int | None = 1,
) -> Record:
    """Compute a run from a scenario file: its day if it has one, else its carries one after another.

    With ``motion`` the scenario gives the scene and a log the motion; its carries and day are not planned.

    Args:
        scenario: the script, a YAML file, or the scene that one gave.
        progress: told what is being done.
        slip: step of the day -> seconds it takes longer.
        failed: steps of the day that are tried, fail and are followed by their fallback.
        motion: logged joint positions, CSV or Parquet, or what ``read_motion_log`` gave.
        pieces: how joints move between the rows of a log: ``linear`` or ``cubic`` (monotone).
        run: the day as it was worked out before, with this slip and these failures.
        since_s: what was before is over: phases and proof begin here, and no curves are drawn. Such a record is judged,
            not kept.
        processes: how many may prove side by side, None for as many as there are cores; the record is the same.

    Returns:
        The record; judge it with ``judge``, keep it with ``record.store.save``.

    Raises:
        InputError: a file does not hold what it must; the message names file and line.
        FrameError: slip or failed names no step.
    """
    tell = progress or (lambda words, share: None)
    tell("reading the script", 0.0)
    scene = scenario if isinstance(scenario, Scene) else build_scene(settle(scenario, _part(tell)))
    path = scene.loaded.path
    clock = [time.perf_counter()]
    tell("planning the motion", 0.1)
    logged, log_data, log_columns = None, b"", b""
    if motion is not None:
        if slip or failed:
            raise InputError("a logged motion has no day, so no step of it can slip or fail", file=path)
        log = motion if isinstance(motion, MotionLog) else read_motion_log(Path(motion))
        run, logged = run_log(scene, log, pieces)
        log_data, log_columns = log.data, log.meanings
    elif run is not None:
        pass
    elif scene.loaded.scenario.day is not None:
        run = run_day(scene, tell, slip=slip, failed=failed)
    elif slip or failed:
        raise InputError("the scenario has no day, so no step of it can slip or fail", file=path)
    else:
        run = run_carries(scene, tell)
    if run.motion.end_s > LONGEST_S:
        raise InputError("a run too long to be rehearsed", file=path, found=f"{run.motion.end_s:g} s",
                         accepted=f"at most {LONGEST_S:g} s")  # fmt: skip
    run = _with_places(scene, run, since_s)
    clock.append(time.perf_counter())
    tell("proving clearances", 0.6)
    pairs, curves = prove_run(scene, run, tell, drawn=since_s <= 0.0, processes=processes or cores())
    clock.append(time.perf_counter())
    took = dict(zip(("motion", "clearance"), (b - a for a, b in pairwise(clock)), strict=True))
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
        logged=logged,
        log_data=log_data,
        log_columns=log_columns,
        kept=run.ledger,
    )


def _with_places(scene: Scene, run: Run, since_s: float) -> Run:
    """Return a run with what places grant in it, from an instant on."""
    places = granted(scene, [(phase.tree, phase.start_s, phase.end_s) for phase in run.phases], run.motion)
    run = replace(run, relaxed=(*run.relaxed, *places))
    if since_s <= 0.0:
        return run
    rest = [phase for phase in run.phases if phase.end_s > since_s] or run.phases[-1:]
    cut = (replace(one, start_s=min(max(one.start_s, since_s), one.end_s)) for one in rest)
    return replace(run, phases=tuple(cut))


def _part(tell: Progress) -> Progress:
    """Tell of what is found for a script as the first tenth of a rehearsal."""
    return lambda words, share: tell(words, 0.1 * share)


def validate(paths: list[Path]) -> list[InputError]:
    """Return every problem for which a rehearsal would refuse one of the files, and every one of model files alone."""
    return validate_files(paths, check_order)


def judge(record: Record, processes: int | None = 1) -> Findings:
    """Run every check on a record; failures first.

    Args:
        record: the run.
        processes: how many may work side by side, None for as many as there are cores; the findings are the same.
    """
    return Findings(run_checks(record, processes or cores()))


def second_run(
    first: Path, second: Path, progress: Progress | None = None, *, pieces: Pieces = "linear", leave_out: bool = False,
    columns: Path | None = None,
) -> tuple[Record, tuple[Finding, ...]]:
    """Return what a run is compared with: another run folder, or a log replayed in the scene of the first.

    Args:
        first: a run folder.
        second: another one, or a log of joint positions.
        progress: told what is being done.
        pieces, leave_out, columns: how a log is read.

    Raises:
        InputError: the log holds what it must not.
        RecordError: a folder is no run folder or is damaged.
    """
    if second.is_dir() or second.suffix.lower() not in SUFFIXES:
        return load(second)
    log = read_motion_log(second, columns=columns, leave_out=leave_out)
    record = rehearse(first / "scenario" / "scenario.yaml", progress, motion=log, pieces=pieces)
    return record, judge(record)
