"""Results of a run worked out in processes beside this one, while it judges: the same to the bit, sooner.

A process beside is a fork: it has the record as it is, works out results that are kept with the run, and sends them
taken apart as a run folder has them. What one of them could not work out is worked out here instead, so whatever goes
wrong there shows here as if nothing had stood beside. Only Linux forks safely with numerical libraries loaded;
elsewhere everything is worked out here.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import warnings
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Any, Generic, TypeVar

from armcarry.record.kept import Kept

if TYPE_CHECKING:
    from armcarry.record.record import Record


T = TypeVar("T")


def cores() -> int:
    """Return how many processes can work side by side here: the cores that this process may use, 1 where none forks."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1


@contextmanager
def worked_out_beside(record: Record, groups: Sequence[Sequence[Kept[Any]]]) -> Iterator[None]:
    """Work out results beside this process as long as the context lasts; ``record.result`` waits for them.

    Args:
        record: of which run.
        groups: results, for each process those that it works out, one after another.
    """
    with ExitStack() as stack:
        stack.callback(record.expect, {})
        for group in groups if cores() > 1 else ():
            wanted = [kept for kept in group if not record.has(kept)]
            if wanted:
                try:
                    other = _Beside(record, wanted)
                except OSError:  # no further process may be started here
                    break
                stack.callback(other.end)
                record.expect(dict.fromkeys(wanted, other.take))
        yield


def side_by_side(jobs: Sequence[Callable[[], T]], processes: int) -> list[T]:
    """Return what each job gives, in their order, worked out in so many processes at once, this one among them.

    The jobs are shared out in turn, this process taking the first. What a process beside could not work out is worked
    out here. What a job gives must be such as can be sent.
    """
    shares = [list(range(k, len(jobs), processes)) for k in range(processes)] if processes > 1 and cores() > 1 else []
    others: dict[int, _Fork[dict[int, T]]] = {}
    with ExitStack() as stack:
        for share in shares[1:]:
            try:
                fork = _Fork(lambda share=share: {k: jobs[k]() for k in share})  # type: ignore[misc]
            except OSError:  # no further process may be started here
                break
            stack.callback(fork.end)
            others |= dict.fromkeys(share, fork)
        found = {k: job() for k, job in enumerate(jobs) if k not in others}
        for k, fork in others.items():
            sent = fork.take() or {}
            found[k] = sent[k] if k in sent else jobs[k]()
    return [found[k] for k in range(len(jobs))]


class _Fork(Generic[T]):
    """A process of our own that works something out and sends it."""

    def __init__(self, work: Callable[[], T]) -> None:
        self._sent: T | None = None
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

    def take(self) -> T | None:
        """Return what was sent, waiting for it; None where it was not worked out."""
        if not self._taken:
            self._taken = True
            with suppress(OSError), os.fdopen(os.dup(self._reads), "rb") as stream:
                data = stream.read()
            with suppress(pickle.UnpicklingError, EOFError):  # it was ended
                self._sent = pickle.loads(data)  # noqa: S301  # from our own fork alone
        return self._sent

    def end(self) -> None:
        """End the process if it still works."""
        os.close(self._reads)
        if not self._taken:
            with suppress(ProcessLookupError):
                os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)


def _send(work: Callable[[], Any], writes: int) -> None:
    """Work something out in the fork and send it; never returns, and leaves nothing of its own behind."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        with suppress(Exception), warnings.catch_warnings():
            warnings.simplefilter("ignore")  # told where it is asked for, if at all
            sent = pickle.dumps(work(), protocol=pickle.HIGHEST_PROTOCOL)
            with os.fdopen(writes, "wb") as stream:
                stream.write(sent)
    finally:
        os._exit(0)


class _Beside:
    """One process that works out results, and what it sent."""

    def __init__(self, record: Record, wanted: Sequence[Kept[Any]]) -> None:
        self._fork = _Fork(lambda: _taken_apart(record, wanted))
        self.end = self._fork.end

    def take(self, kept: Kept[Any]) -> Any:
        """Return a result taken apart as it was sent, waiting for it; None where it was not worked out."""
        return (self._fork.take() or {}).pop(kept.name, None)  # it is put together but once


def _taken_apart(record: Record, wanted: Sequence[Kept[Any]]) -> dict[str, Any]:
    record.expect({})
    sent = {}
    for kept in wanted:
        with suppress(Exception):
            if not kept.asked(record):
                continue
            sent[kept.name] = kept.take_apart(record, record.result(kept))
    return sent
