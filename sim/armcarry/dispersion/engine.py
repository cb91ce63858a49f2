"""Who computes the chunks: this process, processes of this machine, or the workers of a Dask scheduler."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor, Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context
from typing import Any

from armcarry.dispersion.problem import Outcome, Problem, prove_runs
from armcarry.errors import ArmcarryError, MissingExtraError

_PROBLEM: dict[str, Problem] = {}


def outcomes(
    problem: Problem, seed: int, chunks: Sequence[range], *, workers: int = 1, cluster: str | None = None
) -> Iterator[Outcome]:
    """Compute chunks and give each as soon as it is done, in any order.

    Args:
        problem: what is proven.
        seed: of the campaign.
        chunks: numbers of the runs.
        workers: processes of this machine; 1 computes here.
        cluster: address of a Dask scheduler, instead of processes of this machine.

    Raises:
        MissingExtraError: a cluster is asked for and Dask is not installed.
        ArmcarryError: worker processes were ended from outside, or the scheduler cannot be reached.
    """
    if cluster is not None:
        yield from _on_cluster(problem, seed, chunks, cluster)
    elif workers <= 1 or len(chunks) <= 1:
        for runs in chunks:
            yield prove_runs(problem, seed, runs)
    else:
        yield from _on_processes(problem, seed, chunks, workers)


def _on_processes(problem: Problem, seed: int, chunks: Sequence[range], workers: int) -> Iterator[Outcome]:
    pool: Executor = ProcessPoolExecutor(
        min(workers, len(chunks)), get_context("spawn"), _take, (pickle.dumps(problem),)
    )
    try:
        futures: list[Future[Outcome]] = [pool.submit(_of_process, seed, runs) for runs in chunks]
        for future in as_completed(futures):
            yield future.result()
    except BrokenProcessPool as error:
        raise ArmcarryError(
            "a worker process was ended from outside (memory?); finished runs are kept, the same command goes on from "
            "them"
        ) from error
    finally:
        pool.shutdown(wait=True, cancel_futures=True)


def _take(data: bytes) -> None:
    """Keep the problem in a worker process."""
    _PROBLEM["here"] = pickle.loads(data)  # noqa: S301  # from our own parent process


def _of_process(seed: int, runs: range) -> Outcome:
    return prove_runs(_PROBLEM["here"], seed, runs)


def _on_cluster(problem: Problem, seed: int, chunks: Sequence[range], address: str) -> Iterator[Outcome]:
    try:
        from distributed import Client, as_completed
    except ImportError as error:
        raise MissingExtraError("dask.distributed", "cluster", "a campaign on a cluster") from error
    try:
        client: Any = Client(address, timeout="15s")
    except (OSError, ValueError) as error:
        raise ArmcarryError(f"no Dask scheduler answers at {address}") from error
    with client:
        # a worker that ends takes its runs with it: the scheduler gives them to another, as often as it takes
        there = client.scatter(pickle.dumps(problem), broadcast=True, hash=False)
        submit: Callable[..., Any] = client.submit
        futures = [submit(_of_worker, there, seed, runs, pure=False, retries=5) for runs in chunks]
        for future in as_completed(futures):
            yield future.result()


def _of_worker(data: bytes, seed: int, runs: range) -> Outcome:
    return prove_runs(pickle.loads(data), seed, runs)  # noqa: S301  # from the client of this campaign
