"""Work shared out to processes beside this one: the same to the bit as done here, sooner.

A process beside is a fork: it has everything as it is, and sends what it worked out. What one of them could not work
out or send is worked out here instead, so whatever goes wrong there shows here as if nothing had stood beside. Only
Linux forks safely with numerical libraries loaded; elsewhere everything is worked out here.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, suppress
from typing import TypeVar

T = TypeVar("T")


def cores() -> int:
    """Return how many processes can work side by side here: the cores that this process may use, 1 where none forks."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


def side_by_side(jobs: Sequence[Callable[[], T]], processes: int) -> list[T]:
    """Return what each job gives, in their order, worked out in so many processes at once, this one among them.

    This process begins with the first job; of the others each process takes the next whenever it is free, so jobs that
    take long stand first. What a process beside could not work out is worked out here. What a job gives must be such
    as can be sent.
    """
    processes = min(processes, len(jobs)) if cores() > 1 else 1
    if processes < 2:
        return [job() for job in jobs]
    given: dict[int, T] = {}
    with ExitStack() as stack:
        queue = _Queue(range(1, len(jobs)))
        stack.callback(queue.close)
        others = []
        for _ in range(processes - 1):
            try:
                others.append(_Fork(lambda: _sent(jobs, queue)))
            except OSError:  # no further process may be started here
                break
            stack.callback(others[-1].end)
        given[0] = jobs[0]()
        for k in queue:
            given[k] = jobs[k]()
        for fork in others:
            given |= {k: pickle.loads(data) for k, data in fork.take().items()}  # noqa: S301  # from our own fork alone
    return [given[k] if k in given else job() for k, job in enumerate(jobs)]


def _sent(jobs: Sequence[Callable[[], T]], queue: _Queue) -> dict[int, bytes]:
    """Return what the jobs gave that this process came to, each as it is sent; left out is what broke off."""
    sent = {}
    for k in queue:
        with suppress(Exception):
            sent[k] = pickle.dumps(jobs[k](), protocol=pickle.HIGHEST_PROTOCOL)
    return sent


class _Queue:
    """Numbers of jobs, of which each process takes the next: a pipe with nothing but them in it."""

    _BYTES = 4

    def __init__(self, numbers: range) -> None:
        self._reads, writes = os.pipe()
        os.write(writes, b"".join(k.to_bytes(self._BYTES, "big") for k in numbers))  # few: all of them fit into a pipe
        os.close(writes)

    def __iter__(self) -> Iterator[int]:
        while data := os.read(self._reads, self._BYTES):
            yield int.from_bytes(data, "big")

    def close(self) -> None:
        os.close(self._reads)


class _Fork:
    """A process of our own that works something out and sends it."""

    def __init__(self, work: Callable[[], dict[int, bytes]]) -> None:
        self._taken = False
        self._reads, writes = os.pipe()
        try:
            with warnings.catch_warnings():
                # of threads: those of the numerical libraries wait, and the fork starts its own
                warnings.simplefilter("ignore", DeprecationWarning)
                self._pid = os.fork()
        except OSError:
            os.close(self._reads)
            os.close(writes)
            raise
        if self._pid == 0:
            _send(work, writes)
        os.close(writes)

    def take(self) -> dict[int, bytes]:
        """Return what was sent, waiting for it; nothing where it broke off."""
        self._taken = True
        with suppress(OSError, pickle.UnpicklingError, EOFError), os.fdopen(os.dup(self._reads), "rb") as stream:
            sent: dict[int, bytes] = pickle.load(stream)  # noqa: S301  # from our own fork alone
            return sent
        return {}  # it was ended

    def end(self) -> None:
        """End the process if it still works."""
        os.close(self._reads)
        if not self._taken:
            with suppress(ProcessLookupError):
                os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)


def _send(work: Callable[[], dict[int, bytes]], writes: int) -> None:
    """Work something out in the fork and send it; never returns, and leaves nothing of its own behind."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        with suppress(Exception), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # told where it is asked for, if at all
            sent = work()
            with os.fdopen(writes, "wb") as stream:
                pickle.dump(sent, stream, protocol=pickle.HIGHEST_PROTOCOL)
    finally:
        os._exit(0)
