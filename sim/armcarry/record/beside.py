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
from collections.abc import Iterator, Sequence
from contextlib import ExitStack, contextmanager, suppress
from typing import TYPE_CHECKING, Any

from armcarry.record.kept import Kept

if TYPE_CHECKING:
    from armcarry.record.record import Record


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


class _Beside:
    """One process that works out results, and what it sent."""

    def __init__(self, record: Record, wanted: Sequence[Kept[Any]]) -> None:
        self._sent: dict[str, Any] | None = None
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
            _work(record, wanted, writes)
        os.close(writes)

    def take(self, kept: Kept[Any]) -> Any:
        """Return a result taken apart as it was sent, waiting for it; None where it was not worked out."""
        if self._sent is None:
            with suppress(OSError), os.fdopen(os.dup(self._reads), "rb") as stream:
                data = stream.read()
            try:
                self._sent = pickle.loads(data)  # noqa: S301  # from our own fork alone
            except (pickle.UnpicklingError, EOFError):  # it was ended
                self._sent = {}
        return self._sent.pop(kept.name, None)  # it is put together but once

    def end(self) -> None:
        """End the process if it still works."""
        os.close(self._reads)
        if self._sent is None:
            with suppress(ProcessLookupError):
                os.kill(self._pid, signal.SIGKILL)
        os.waitpid(self._pid, 0)


def _work(record: Record, wanted: Sequence[Kept[Any]], writes: int) -> None:
    """Work out results in the fork and send them; never returns, and leaves nothing of its own behind."""
    try:
        signal.signal(signal.SIGINT, signal.SIG_DFL)
        record.expect({})
        sent = {}
        for kept in wanted:
            with suppress(Exception), warnings.catch_warnings():
                warnings.simplefilter("ignore")  # told here, if at all
                sent[kept.name] = kept.take_apart(record, record.result(kept))
        with os.fdopen(writes, "wb") as stream:
            pickle.dump(sent, stream, protocol=pickle.HIGHEST_PROTOCOL)
    finally:
        os._exit(0)
