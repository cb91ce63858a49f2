"""A campaign: many perturbed runs of one rehearsal, proven, kept chunk by chunk, and judged together."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from armcarry import __version__
from armcarry.checks import run_checks
from armcarry.dispersion.chunks import CHUNK, Chunks, chunk_ranges
from armcarry.dispersion.engine import Tls, outcomes
from armcarry.dispersion.gathered import Gathered, Gathering, gathered
from armcarry.dispersion.problem import Outcome, Problem, make_problem
from armcarry.dispersion.terms import displacement, moved
from armcarry.errors import InputError, RecordError
from armcarry.files.loaded import LoadedScenario
from armcarry.geometry.poses import Array
from armcarry.planning.left_open import settle
from armcarry.proving.proof import prove_run
from armcarry.record.finding import Finding
from armcarry.record.record import PairRow, Phase, Record
from armcarry.rehearsal import rehearse
from armcarry.timeline.run import Run

Progress = Callable[[str, float], None]


@dataclass(frozen=True, eq=False)
class Campaign:
    """A finished campaign.

    Attributes:
        record: the nominal rehearsal.
        problem: what was proven of each run.
        seed: what the draws start from.
        gathered: every run, in order: its draw, its least margin, the pairs that came near.
        chunks: where all of it stands.
        taken_up: how many runs were found finished from an earlier start of the same campaign.
    """

    record: Record
    problem: Problem
    seed: int
    gathered: Gathered
    chunks: Chunks
    taken_up: int = 0

    @property
    def least_m(self) -> Array:
        """Least proven margin of each run (R,), m beyond what is required."""
        return self.gathered.least_m

    @property
    def worst(self) -> int:
        """Number of the run with the least margin; the first of several."""
        return int(self.gathered.runs[np.argmin(self.least_m)])

    def outcomes(self) -> Iterator[Outcome]:
        """Yield every watched pair of every run, chunk by chunk in order, read from the folder.

        Raises:
            RecordError: a chunk is gone or damaged meanwhile.
        """
        for part in chunk_ranges(len(self.gathered.runs)):
            outcome = self.chunks.find(part)
            if outcome is None:
                raise RecordError(
                    f"{self.chunks.folder} was changed meanwhile; the same command proves again what is gone"
                )
            yield outcome

    @property
    def outcome(self) -> Outcome:
        """All of them as one: gigabytes where runs are thousands."""
        return Outcome.joined(list(self.outcomes()))


def disperse(
    scenario: Path | str,
    runs: int,
    seed: int,
    folder: Path,
    *,
    workers: int = 1,
    cluster: str | None = None,
    tls: Tls | None = None,
    progress: Progress | None = None,
) -> Campaign:
    """Rehearse a scenario, then prove many runs of it that differ as the rules declare.

    The same files, seed and number give the same numbers, whoever computes them. Finished chunks stay in the
    folder; the same call goes on from them, also with a larger number of runs.

    Args:
        scenario: the script, a YAML file whose rules have a section ``dispersion``.
        runs: how many.
        seed: of the draws, not negative.
        folder: where chunks are kept.
        workers: processes of this machine; more than one need Dask, and a script its ``__main__`` guard.
        cluster: address of a Dask scheduler instead.
        progress: told what is being done and the share of the whole.

    Raises:
        InputError: no dispersion is declared, or a number is out of range.
        RecordError: the folder holds another campaign.
        MissingExtraError: more than one process is asked for and Dask is not installed.
        ArmcarryError: workers end again and again, or no scheduler answers.
    """
    if runs < 1 or seed < 0:
        raise InputError("not a campaign", found=f"{runs} runs, seed {seed}", accepted="at least 1 run, a seed from 0")
    tell = progress or (lambda words, share: None)
    # a folder of another campaign is told before minutes of work
    Chunks(folder, identity(settle(scenario), seed))
    record = rehearse(scenario, lambda words, share: tell(words, 0.1 * share))
    if record.shortfalls:
        raise InputError(
            f"the script cannot be flown as it is: {record.shortfalls[0].reason}", file=scenario,
            accepted="a script that rehearses to its end",
        )  # fmt: skip
    tell("finding pairs that can come near", 0.1)
    problem = make_problem(record)
    return run_campaign(record, problem, runs, seed, folder, workers=workers, cluster=cluster, tls=tls, progress=tell)


def run_campaign(
    record: Record, problem: Problem, runs: int, seed: int, folder: Path, *, workers: int = 1,
    cluster: str | None = None, tls: Tls | None = None, progress: Progress | None = None,
) -> Campaign:
    """Prove the runs of a campaign that are not yet in its folder; see disperse."""
    tell = progress or (lambda words, share: None)
    chunks = Chunks(folder, identity(record.scene.loaded, seed))
    found = Gathering(runs)
    taken_up = 0
    missing: list[range] = []
    for part in chunk_ranges(runs):
        known = chunks.find(part)
        if known is None:
            missing.append(part)
        else:
            found.add(gathered(known, problem.watch_m))
            taken_up += len(part)
    done, begun = taken_up, time.monotonic()
    if missing:
        who = f"workers of {cluster}" if cluster else "worker processes" if workers > 1 else "the first runs"
        tell(f"waiting for {who}", 0.15 + 0.8 * done / runs)
    for outcome in outcomes(problem, seed, missing, workers=workers, cluster=cluster, tls=tls):
        chunks.keep(outcome)
        found.add(gathered(outcome, problem.watch_m))
        done += len(outcome.runs)
        left_s = (time.monotonic() - begun) / (done - taken_up) * (runs - done)
        tell(f"run {done} of {runs}, {_in_words(left_s)} left", 0.15 + 0.8 * done / runs)
    return Campaign(record, problem, seed, found.finish(), chunks, taken_up)


def identity(loaded: LoadedScenario, seed: int) -> dict[str, Any]:
    """Return what decides the numbers of a run."""
    return {
        "format": "armcarry campaign 1",
        "armcarry": __version__,
        "seed": seed,
        "chunk": CHUNK,
        "inputs": {item.role_path: item.sha256 for item in loaded.inputs},
    }


def _in_words(seconds: float) -> str:
    return f"{seconds:.0f} s" if seconds < 90 else f"{seconds / 60:.0f} min"


def perturbed_record(campaign: Campaign, run: int) -> tuple[Record, tuple[Finding, ...]]:
    """Return one run of a campaign as a record of its own, proven and judged like any rehearsal.

    What may touch (0 m required) is guided there, as in the campaign; see guided.

    Raises:
        InputError: the campaign has no such run.
    """
    runs = campaign.gathered.runs
    row = np.flatnonzero(runs == run)
    if not len(row):
        raise InputError("no such run", found=run, accepted=f"0 to {int(runs[-1])}")
    values, numbers, nominal = campaign.gathered.values[row[0]], campaign.problem.numbers, campaign.record
    displaced = displacement(numbers, values)
    phases = tuple(Phase(p.start_s, p.end_s, displaced.of(p.tree)) for p in nominal.phases)
    motion = moved(numbers, values, nominal.motion)
    run_of = Run(phases, motion, nominal.moves, nominal.events, nominal.relaxed, nominal.shortfalls)
    pairs, curves = prove_run(nominal.scene, run_of)
    record = replace(
        nominal, phases=phases, motion=motion, pairs=tuple(map(guided, pairs)), curves=curves, engines=(), timings_s={},
        displaced=displaced,
    )  # fmt: skip
    return record, run_checks(record)


def guided(row: PairRow) -> PairRow:
    """Return a row in which a contact that is allowed (0 m required) is intended: a seat guides what it takes up."""
    if row.status != "contact" or row.required_m != 0.0:
        return row
    return replace(row, status="intended", required_m=None, lower_m=0.0, why=f"guided: {row.why}")
