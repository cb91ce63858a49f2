"""What takes longer, in a process of its own: the whole rehearsal and every check, of the newest change alone.

The window stays quick, since nothing here waits for it. A newer change is taken up as soon as the check that is
being computed is done; what was said of an older one is dropped.
"""

from __future__ import annotations

import contextlib
import os
import pickle
import queue
import subprocess
import sys
import threading
from dataclasses import dataclass
from pathlib import Path
from typing import IO, Any

from armcarry.errors import ArmcarryError
from armcarry.record.finding import Finding


@dataclass(frozen=True)
class Told:
    """What came back: of which answer, which check, its findings; the checks still to come; or why nothing comes."""

    number: int
    check: str
    findings: tuple[Finding, ...]
    open: tuple[str, ...]
    problem: str = ""


class Later:
    """The process, begun when it is first asked."""

    def __init__(self) -> None:
        self._process: subprocess.Popen[bytes] | None = None
        self._told: queue.Queue[Told] = queue.Queue()
        self._asked = 0

    def ask(self, number: int, path: Path, text: str) -> None:
        """Have a state of the script rehearsed and judged; whatever is being computed is dropped for it."""
        process = self._process
        if process is None or process.poll() is not None:
            command = [sys.executable, "-c", "from armcarry.editing.later import main; main()"]
            process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE)  # noqa: S603  # ourselves
            self._process = process
            threading.Thread(target=self._listen, args=(process.stdout,), daemon=True).start()
        self._asked = number
        with contextlib.suppress(OSError):  # it died: its listener says so
            pickle.dump((number, str(path), text), process.stdin)  # type: ignore[arg-type]
            process.stdin.flush()  # type: ignore[union-attr]

    def told(self, timeout_s: float = 0.0) -> list[Told]:
        """Return what came since it was asked last; wait for something for so long."""
        found: list[Told] = []
        with contextlib.suppress(queue.Empty):
            found.append(self._told.get(timeout=timeout_s) if timeout_s > 0 else self._told.get_nowait())
            while True:
                found.append(self._told.get_nowait())
        return found

    def _listen(self, pipe: IO[bytes]) -> None:
        """Take what the process tells until it ends, which is told too: nothing more comes then."""
        try:
            while True:
                self._told.put(pickle.load(pipe))  # noqa: S301  # what our own process wrote
        except (EOFError, OSError, ValueError, pickle.UnpicklingError):
            self._told.put(Told(self._asked, "", (), (), "the process that computes the checks ended"))

    def close(self) -> None:
        """End the process."""
        if self._process is not None:
            self._process.kill()
            self._process.wait()
            for pipe in (self._process.stdin, self._process.stdout):
                with contextlib.suppress(OSError):
                    pipe.close()  # type: ignore[union-attr]
            self._process = None


def _read(pipe: IO[bytes], asked: queue.Queue[Any]) -> None:
    while True:
        try:
            asked.put(pickle.load(pipe))  # noqa: S301  # what the program that began us wrote
        except (EOFError, OSError, pickle.UnpicklingError):
            asked.put(None)
            return


def main() -> None:
    """Answer what is asked on standard input until it ends, behind whoever is answered at once."""
    if hasattr(os, "nice"):
        os.nice(10)
    out = sys.stdout.buffer
    sys.stdout = sys.stderr  # nothing but answers goes there
    asked: queue.Queue[Any] = queue.Queue()
    threading.Thread(target=_read, args=(sys.stdin.buffer, asked), daemon=True).start()
    job = asked.get()
    while job is not None:
        while not asked.empty():
            job = asked.get()
            if job is None:
                return
        number, path, text = job
        for told in _computed(number, Path(path), text):
            try:
                pickle.dump(told, out)
                out.flush()
            except BrokenPipeError:  # who asked is gone
                os.dup2(os.open(os.devnull, os.O_WRONLY), out.fileno())  # or the end of the program writes there again
                return
            if not asked.empty():
                break
        job = asked.get()


def _computed(number: int, path: Path, text: str) -> Any:
    """Give what each check says of a state of a script, as it comes."""
    from armcarry.checks import one_by_one, registry
    from armcarry.planning.left_open import settle
    from armcarry.record.causes import with_causes
    from armcarry.rehearsal import rehearse
    from armcarry.scene.build import build_scene

    open_ = list(registry())
    try:
        record = rehearse(build_scene(settle(path, keep=False, text=text.encode())))
        for name, findings in one_by_one(record):
            open_ = [other for other in open_ if other != name]
            if name or findings:
                yield Told(number, name, with_causes(record, findings), tuple(open_))
    except ArmcarryError as error:
        yield Told(number, "", (), (), str(error))
