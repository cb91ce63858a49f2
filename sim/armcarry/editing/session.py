"""A session of changing one script: changes, answers, steps back and forward, the journal, and saving."""

from __future__ import annotations

import difflib
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from armcarry.editing.answer import Answer
from armcarry.editing.journal import Journal, begun, digest, read_journal
from armcarry.editing.later import Later
from armcarry.editing.measured import answer
from armcarry.editing.rehearsed import Rehearsal
from armcarry.editing.script import Change, Script
from armcarry.editing.steps import Steps
from armcarry.editing.volume import RADIUS_M, STEP_M, FreeVolume, sampled
from armcarry.errors import InputError
from armcarry.files.atomic import write_bytes_atomic
from armcarry.files.load import load_scenario
from armcarry.files.places import find_scenario
from armcarry.files.yaml_text import MAX_BYTES, parse_yaml, read_bytes
from armcarry.texts import shown
from armcarry.timeline.plan import check_order

JOURNAL = "session.jsonl"
Tell = Callable[[FreeVolume], None]
#: moves that are worked out at a time of those that an answer left
_BATCH = 5


class Session(Steps):
    """Changes a script and answers every change at once.

    Every change is written to the journal before it is answered, and ``undo`` takes back what was done at once,
    however long ago. A change that cannot be is refused and leaves everything as it was.

    Args:
        path: the script, or the name of one that comes with armcarry.
        journal: folder of the journal; None keeps none. What stands there from a session that was killed is done
            again.
        later: whether the checks that take longer are computed in the background.
        at_once: how many moves are planned anew before a change is answered, ``go_on`` works out the others; None
            for all of them.

    Attributes:
        path: the script.
        answer: to the last change.
        resumed: how many changes of a session that was killed were done again.

    Raises:
        InputError: the script cannot be read, or the journal belongs to another state of it.
        RecordError: the journal cannot be written.
    """

    def __init__(
        self, path: Path | str, *, journal: Path | None = None, later: bool = False, at_once: int | None = None
    ) -> None:
        self.path, self.at_once = find_scenario(path), at_once
        content = read_bytes(self.path, MAX_BYTES, "YAML")
        self._on_disk = digest(content)
        script = Script(content.decode("utf-8-sig"), parse_yaml(content, self.path).data)
        kept = None if journal is None else journal / JOURNAL
        if kept is not None and begun(kept):
            before = read_journal(kept)
            if before.on_disk != self._on_disk:
                raise InputError(
                    "the journal belongs to another state of the script, which was changed since", file=kept,
                    accepted="the script as that session left it; or move the journal away to begin anew",
                )  # fmt: skip
            script = before.script()
        self.script, self.resumed = script, script.done
        self._rehearsal, self._later = Rehearsal(self.path), Later() if later else None
        self._before: Answer | None = None
        self.answer = self._answered("opened", None, whole=True)
        self._journal = None if kept is None else Journal(kept, self.path.name, script.text)

    # -- changing ----------------------------------------------------------------------------------------------------

    def change(self, change: Change) -> Answer:
        """Make a change and return the answer.

        Raises:
            InputError: the script cannot be so; nothing was changed.
        """
        self.script.tried(change)
        undone = self.script.changes[self.script.done :], self.script._states[self.script.done :]
        self.script.do(change)
        try:
            found = self._answered(change.title, self.answer)
        except InputError:
            problem = self._problem()
            self.script.undo()
            del self.script.changes[self.script.done :], self.script._states[self.script.done :]
            self.script.changes += undone[0]
            self.script._states += undone[1]
            if problem is None:
                raise
            raise problem from None
        self._note({"change": change.as_dict()})
        self.answer = found
        return found

    def free_volume(
        self, at: tuple[int, int], radius_m: float = RADIUS_M, step_m: float = STEP_M, tell: Tell | None = None
    ) -> FreeVolume:
        """Return where the waypoint of a move may be: positions in a ball around it, and which of them pass.

        Args:
            at: the move, by carry and number.
            radius_m, step_m: of the ball, and between positions.
            tell: told the volume as it grows.

        Raises:
            InputError: the move leads nowhere, is not flown, or too many positions are asked for.
        """
        for found in self.sampled(at, radius_m, step_m):  # the waypoint itself at least
            if tell is not None:
                tell(found)
        return found

    def sampled(
        self, at: tuple[int, int], radius_m: float = RADIUS_M, step_m: float = STEP_M
    ) -> Iterator[FreeVolume]:
        """Give the same as it grows; whoever stops asking stops the work."""
        return sampled(self, self._rehearsal, at, radius_m, step_m)

    def undo(self) -> Answer:
        """Take the last change back; where there is none, nothing happens."""
        change = self.script.undo()
        if change is not None:
            self._note({"undo": True})
            self.answer = self._answered(f"undone: {change.title}", self.answer)
        return self.answer

    def redo(self) -> Answer:
        """Make the change that was undone last again; where there is none, nothing happens."""
        change = self.script.redo()
        if change is not None:
            self._note({"redo": True})
            self.answer = self._answered(f"again: {change.title}", self.answer)
        return self.answer

    def _answered(self, title: str, before: Answer | None, *, whole: bool = False) -> Answer:
        began = time.perf_counter()
        known = self._rehearsal.of(self.script.data, None if whole else self.at_once)
        number = 1 if before is None else before.number + 1
        found = answer(known, number, title, 0.0, before)
        found, self._before = replace(found, took_s=time.perf_counter() - began), before
        if self._later is not None:
            from armcarry.checks import registry

            self._later.ask(number, self.path, self.script.written())
            found = replace(found, open=tuple(registry()))
        return found

    def _problem(self) -> InputError | None:
        """Return what is wrong with the script as it is now, by its lines; None where reading it finds nothing."""
        try:
            check_order(load_scenario(self.path, text=self.script.written().encode()))
        except InputError as error:
            return error
        return None

    def _note(self, content: dict[str, Any]) -> None:
        if self._journal is not None:
            self._journal.note(content)

    def go_on(self) -> Answer:
        """Work out the next of the moves that an answer left, and return it with them; it is the same where none are.

        Raises:
            InputError: one of them shows that the script cannot be so; the change was taken back.
        """
        was = self.answer
        if was.left:
            began = time.perf_counter()
            try:
                known = self._rehearsal.of(self.script.data, _BATCH)
            except InputError:
                self.undo()
                raise
            found = answer(known, was.number, was.title, 0.0, self._before)
            took_s = was.took_s + time.perf_counter() - began
            self.answer = replace(
                found, took_s=took_s, planned=was.planned + found.planned, proven=was.proven + found.proven,
                later=was.later, open=was.open, problem=was.problem,
            )  # fmt: skip
        return self.answer

    # -- what takes longer -------------------------------------------------------------------------------------------

    def look(self, timeout_s: float = 0.0) -> Answer:
        """Return the answer with what the background has told since; wait for something for so long."""
        for told in [] if self._later is None else self._later.told(timeout_s):
            if told.number == self.answer.number:
                later = {**self.answer.later, told.check: told.findings} if told.check else self.answer.later
                self.answer = replace(self.answer, later=later, open=told.open, problem=told.problem)
        return self.answer

    def wait(self, timeout_s: float = 300.0) -> Answer:
        """Return the answer once all moves are worked out and all checks have been told, or after so long."""
        until = time.monotonic() + timeout_s
        while self.answer.left:
            self.go_on()
        while self.answer.open and (left := until - time.monotonic()) > 0:
            self.look(min(left, 1.0))
        return self.answer

    # -- the file ----------------------------------------------------------------------------------------------------

    @property
    def changed(self) -> bool:
        """Whether the script differs from the file as this session knows it."""
        return digest(self.script.written().encode()) != self._on_disk

    @property
    def changed_by_others(self) -> bool:
        """Whether the file is another than the one that was read or saved here."""
        try:
            return digest(read_bytes(self.path, MAX_BYTES, "YAML")) != self._on_disk
        except InputError:  # it is gone
            return True

    def difference(self) -> str:
        """Return what saving would change in the file as it is now, as lines with + and -, fit to be shown."""
        try:
            now = read_bytes(self.path, MAX_BYTES, "YAML").decode("utf-8-sig", errors="replace")
        except InputError:
            now = ""
        names = (f"{self.path.name} on disk", "as changed here")
        lines = difflib.unified_diff(now.splitlines(), self.script.written().splitlines(), *names, n=2, lineterm="")
        text = "\n".join(lines)
        return shown(text, longest=len(text))

    def save(self, path: Path | None = None, *, over: bool = False) -> Path:
        """Write the script, with its comments and order, and return where.

        Args:
            path: another file than the one that was read.
            over: also where the file was changed by others meanwhile, or the other file is there.

        Raises:
            InputError: it would write over what others changed.
            RecordError: it cannot be written.
        """
        target = self.path if path is None else path
        if not over and (self.changed_by_others if path is None else target.exists()):
            raise InputError(
                "the file was changed by others since it was read" if path is None else "there is such a file",
                file=target, accepted="over=True after a look at the difference, or another name",
            )  # fmt: skip
        content = self.script.written().encode()
        write_bytes_atomic(target, content)
        if path is None:
            self._on_disk = digest(content)
            self._note({"saved": self._on_disk})
        return target

    def close(self) -> None:
        """End the session: the journal of one that was saved, or in which nothing was changed, is taken away."""
        if self._later is not None:
            self._later.close()
        if self._journal is not None:
            self._journal.close()
            if not self.changed:
                self._journal.path.unlink(missing_ok=True)
