"""Who computes the chunks: this process, or workers of Dask: processes of this machine, or an existing scheduler's."""

from __future__ import annotations

import importlib.util
import logging
import os
import pickle
import signal
import tempfile
import threading
import warnings
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from dataclasses import dataclass
from itertools import islice
from pathlib import Path
from typing import Any

from armcarry.dispersion.chunks import chunk_ranges
from armcarry.dispersion.problem import Outcome, Problem, prove_runs
from armcarry.errors import ArmcarryError, InputError, MissingExtraError
from armcarry.version import VERSION

_GOES_ON = "finished runs are kept, the same command goes on from them"
#: chunks a process, from which on it proves more than its start costs
PAYS = 4
#: chunks handed out at a time: enough for any cluster, and a million runs cost the scheduler no more than these
AHEAD = 1000
_THREADS = ("OMP_NUM_THREADS", "MKL_NUM_THREADS", "OPENBLAS_NUM_THREADS")
#: the problem that this worker process has unpacked, by the campaign's key: once a process, not once a chunk
_UNPACKED: dict[str, Problem] = {}


@dataclass(frozen=True)
class Tls:
    """Files by which a scheduler and this program know each other: authority, own certificate, its key (PEM)."""

    ca: Path
    cert: Path
    key: Path


def tls_of(ca: Path | None, cert: Path | None, key: Path | None, cluster: str | None) -> Tls | None:
    """Return the three files, None when none is given.

    Raises:
        InputError: some but not all are given, one is missing, or there is no scheduler to use them with.
    """
    given = {"--tls-ca": ca, "--tls-cert": cert, "--tls-key": key}
    if ca is None and cert is None and key is None:
        return None
    if ca is None or cert is None or key is None:
        missing = ", ".join(option for option, path in given.items() if path is None)
        raise InputError("TLS needs all three of its files", accepted=f"{missing} too")
    if cluster is None:
        raise InputError("TLS is for a scheduler that runs already", accepted="--cluster tls://HOST:PORT")
    for option, path in given.items():
        if path is None or not path.is_file():
            raise InputError("no such file", file=path, accepted=f"a PEM file for {option}")
    return Tls(ca, cert, key)


def usual_workers(runs: int) -> int:
    """Return how many processes that many runs use unless told: this one without Dask, else up to one a core."""
    if _missing():
        return 1
    from dask.system import CPU_COUNT

    return max(1, min(int(CPU_COUNT), len(chunk_ranges(runs)) // PAYS))


def _missing() -> list[str]:
    return [name for name in ("distributed", "cryptography") if importlib.util.find_spec(name) is None]


def outcomes(
    problem: Problem, seed: int, chunks: Sequence[range], *, workers: int = 1, cluster: str | None = None,
    tls: Tls | None = None,
) -> Iterator[Outcome]:
    """Compute chunks and give each as soon as it is done, in any order.

    Args:
        problem: what is proven.
        seed: of the campaign.
        chunks: numbers of the runs.
        workers: processes of this machine; 1 computes here, more are workers of a Dask scheduler of our own that
            listens on the loopback only. They import ``__main__`` again: a script needs its
            ``if __name__ == "__main__"``.
        cluster: address of a Dask scheduler, instead of processes of this machine. Its messages are pickles: whoever
            may send them runs what they like here, so it must be known by TLS or stand on a network of its own.
        tls: files by which it is known.

    Raises:
        MissingExtraError: more than one process is asked for and Dask is not installed.
        ArmcarryError: workers end again and again, the scheduler cannot be reached or goes away, or a worker has
            another armcarry.
    """
    if not chunks:
        return
    if cluster is None and min(workers, len(chunks)) <= 1:
        for runs in chunks:
            yield prove_runs(problem, seed, runs)
        return
    if _missing():
        raise MissingExtraError(" and ".join(_missing()), "cluster", "a campaign on more than one process")
    with ExitStack() as stack:
        stack.enter_context(_quiet())
        where = cluster or stack.enter_context(_processes(min(workers, len(chunks))))
        yield from _on_dask(stack.enter_context(_client(where, tls)), problem, seed, chunks)


def _on_dask(client: Any, problem: Problem, seed: int, chunks: Sequence[range]) -> Iterator[Outcome]:
    from distributed import CancelledError, KilledWorker, as_completed

    key = os.urandom(8).hex()
    # a task, not scattered data: when every worker that holds it ends, the scheduler makes it again
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # Dask finds a task of some megabytes large
        packed = client.submit(_packed, pickle.dumps(problem), pure=False)
    waiting = iter(chunks)

    def next_ones(count: int) -> list[Any]:
        return [client.submit(_prove, packed, key, VERSION, seed, runs, pure=False, retries=5)
                for runs in islice(waiting, count)]  # fmt: skip

    # only the iterator holds on to the tasks, so that workers drop each result once it is here
    results = as_completed(next_ones(AHEAD), loop=client.loop)
    try:
        for future in results:
            yield future.result()
            del future
            for following in next_ones(1):
                results.add(following)
    except KilledWorker as error:
        raise ArmcarryError(f"worker processes end again and again (out of memory?); {_GOES_ON}") from error
    except (CancelledError, OSError) as error:
        raise ArmcarryError(f"the Dask scheduler went away; {_GOES_ON}") from error
    except ImportError as error:
        raise ArmcarryError(f"a worker cannot import what a campaign needs: {error}; {_GOES_ON}") from error


def _packed(data: bytes) -> bytes:
    return data


def _prove(data: bytes, key: str, version: str, seed: int, runs: range) -> Outcome:
    """Prove a chunk in a worker process."""
    if version != VERSION:
        raise ArmcarryError(f"a worker has armcarry {VERSION}, this is {version}: both must be the same")
    if key not in _UNPACKED:
        _UNPACKED.clear()
        _UNPACKED[key] = pickle.loads(data)  # noqa: S301  # from the client of this campaign
    return prove_runs(_UNPACKED[key], seed, runs)


# -- Dask --------------------------------------------------------------------------------------------------


@contextmanager
def _client(where: Any, tls: Tls | None = None) -> Iterator[Any]:
    from distributed import Client
    from distributed.security import Security

    security = None
    if tls is not None:
        security = Security(
            require_encryption=True, tls_ca_file=str(tls.ca), tls_client_cert=str(tls.cert), tls_client_key=str(tls.key)
        )

    try:
        client = Client(where, timeout="15s", set_as_default=False, security=security)
    except (OSError, ValueError, RuntimeError) as error:
        known = " that knows these certificates" if tls is not None else ""
        raise ArmcarryError(f"no Dask scheduler{known} answers at {where}") from error
    try:
        yield client
    finally:
        with suppress(TimeoutError, OSError):  # of a scheduler that went away
            client.close(timeout=2)


@contextmanager
def _processes(workers: int) -> Iterator[Any]:
    """Run worker processes of this machine: loopback, encrypted, no dashboard, and nothing left behind."""
    import dask
    from distributed import LocalCluster

    with tempfile.TemporaryDirectory(prefix="armcarry_", ignore_cleanup_errors=True) as scratch:
        plain = {
            "distributed.scheduler.http.routes": [], "distributed.worker.http.routes": [],
            # watching that is for a dashboard, which there is none of: it costs as long as a campaign lasts
            "distributed.worker.profile.enabled": False, "distributed.admin.tick.interval": "1s",
            "distributed.admin.system-monitor.interval": "10s", "distributed.admin.system-monitor.gil.enabled": False,
            "temporary-directory": scratch,
            # one thread a worker; Dask's own malloc setting costs a quarter of the processor in page faults
            "distributed.nanny.pre-spawn-environ": dict.fromkeys(_THREADS, 1),
        }  # fmt: skip
        with dask.config.set(plain), ExitStack() as stack:
            with _deaf():
                cluster = LocalCluster(
                    n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1", security=True,
                    dashboard_address=None, scheduler_kwargs={"dashboard": False, "dashboard_address": "127.0.0.1:0"},
                    worker_dashboard_address=None, silence_logs=logging.CRITICAL, local_directory=scratch,
                    memory_limit=0, preload=[__name__],
                )  # fmt: skip
                stack.callback(_close, cluster)
            yield cluster


def _close(cluster: Any) -> None:
    with suppress(TimeoutError):  # what has not ended by then ends with this process
        cluster.close(timeout=60)


@contextmanager
def _deaf() -> Iterator[None]:
    """Ignore Ctrl-C for the seconds in which workers start: a half-made cluster cannot be taken down in order.

    They inherit it, so that Ctrl-C, which a terminal sends to every process, only reaches who started the campaign.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)


def dask_setup(worker: Any) -> None:
    """Ignore Ctrl-C in a worker that Dask started later in the place of another."""
    if threading.current_thread() is threading.main_thread():
        signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def _quiet() -> Iterator[None]:
    """Keep Dask's notes on lost workers off the terminal: what matters comes as an error of ours."""
    loggers = [logging.getLogger(name) for name in ("distributed", "tornado.application", "asyncio")]
    before = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        for logger, level in zip(loggers, before, strict=True):
            logger.setLevel(level)
