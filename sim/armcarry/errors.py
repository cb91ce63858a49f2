"""The errors armcarry raises, drawn as a tree.

    ArmcarryError                 anything armcarry raises on purpose; the command line exits with 2
    ├── InputError                a file, a line in it, what was found, what is accepted
    │   ├── QuantityError         text that is not a number with an accepted unit
    │   ├── StepError             a step of a day that no schedule can hold; whoever knows the file adds its line
    │   └── InputErrors           several of them from one reading, each with its own file and line
    ├── FrameError                a frame, link, body or joint name that the scene does not have
    ├── MotionError               a motion that cannot be built from the numbers given
    │   └── ReachError            a pose the arm cannot take: how far short, and what stops it
    ├── RecordError               a run folder that is damaged, foreign or cannot be written
    └── MissingExtraError         an optional library is needed; says what to type

A hazard found by a rehearsal is a Finding, never one of these. RecomputedWarning is no error: it says that what is
shown of an old run may differ from what was judged.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from pathlib import Path

from armcarry.texts import printable

#: signs of a message, and of what was found in it: what is longer is nobody's slip of the pen
_LONGEST, _LONGEST_FOUND = 1900, 400


class ArmcarryError(Exception):
    """Report something armcarry cannot go on with, in words for the user: one line, whatever a file's words hold."""

    def __init__(self, message: str = "") -> None:
        super().__init__(printable(message if len(message) <= _LONGEST else f"{message[:_LONGEST]}..."))


class RecomputedWarning(UserWarning):
    """Warn that a result is worked out anew, because the run folder lacks it or holds another version's."""


class InputError(ArmcarryError):
    """Report bad input: where it stands, what was found and what is accepted.

    Args:
        problem: what is wrong, one sentence without the place.
        file: the file it was read from, if any.
        line: 1-based line in that file, if known.
        found: the offending text or value, if any.
        accepted: what would be accepted, in words.
    """

    def __init__(
        self,
        problem: str,
        *,
        file: Path | str | None = None,
        line: int | None = None,
        found: object = None,
        accepted: str | None = None,
    ) -> None:
        self.problem = printable(problem)
        self.file = None if file is None else Path(file)
        self.line = line
        self.found = found
        self.accepted = accepted
        place = ""
        if self.file is not None:
            place = f"{self.file}:{line}: " if line is not None else f"{self.file}: "
        parts = [f"{place}{self.problem}"]
        if found is not None:
            told = repr(found)
            parts.append(f"found {told if len(told) <= _LONGEST_FOUND else f'{told[:_LONGEST_FOUND]}...'}")
        if accepted is not None:
            parts.append(f"accepted: {accepted}")
        super().__init__("; ".join(parts))


class QuantityError(InputError):
    """Report text that is not a quantity of the wanted kind."""


class StepError(InputError):
    """Report a step of a day that no schedule can hold.

    Args:
        step: the step's name.
        problem: what is wrong.
    """

    def __init__(self, step: str, problem: str, *, accepted: str | None = None) -> None:
        self.step = step
        super().__init__(problem, accepted=accepted)


class InputErrors(InputError):
    """Report every problem of one reading at once.

    Args:
        problems: one InputError a problem, at least one, in the order of file and line.
    """

    #: problems written into the message; all of them are in ``problems``
    SHOWN = 40

    def __init__(self, problems: Iterable[InputError]) -> None:
        self.problems = tuple(problems)
        first = self.problems[0]
        super().__init__(
            first.problem, file=first.file, line=first.line, found=first.found, accepted=first.accepted
        )
        lines = [str(problem) for problem in self.problems[: self.SHOWN]]
        if len(self.problems) > self.SHOWN:
            lines.append(f"and {len(self.problems) - self.SHOWN} more")
        self.args = ("\n".join(lines),)


class FrameError(ArmcarryError):
    """Report a name that is not in the scene, with the nearest one that is."""

    def __init__(self, kind: str, name: str, known: Iterable[str]) -> None:
        self.kind = kind
        self.name = name
        known = list(known)
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.4)
        hint = f"did you mean '{near[0]}'?" if near else f"known: {', '.join(sorted(known)[:12])}"
        super().__init__(f"no {kind} named '{name}'; {hint}")


class MotionError(ArmcarryError):
    """Report numbers from which no motion can be built."""


class ReachError(MotionError):
    """Report a pose the arm cannot take, how far short it stays and what stops it.

    Args:
        what: the pose or place on a line that is not reached, in words.
        reason: what stops the arm, in words.
        short_m, short_rad: position and angle left at the best attempt.
        stopped_by: names of the joints that stand at the end of their travel there.
        at_m: how far along a line, if it is one.
        complete: no way of taking the pose was left out; else it was sought from seeds, and one may have been missed.
    """

    def __init__(
        self,
        what: str,
        reason: str,
        *,
        short_m: float,
        short_rad: float,
        stopped_by: Iterable[str] = (),
        at_m: float | None = None,
        complete: bool = False,
    ) -> None:
        self.what = what
        self.reason = reason
        self.short_m = short_m
        self.short_rad = short_rad
        self.stopped_by = tuple(stopped_by)
        self.at_m = at_m
        self.complete = complete
        super().__init__(
            f"{what} is not reached: {short_m:.3f} m and {short_rad * 57.29577951308232:.2f} deg short; {reason}"
        )


class RecordError(ArmcarryError):
    """Report a run folder that is damaged, foreign or cannot be written."""


class MissingExtraError(ArmcarryError):
    """Report an optional library that is not installed, and what to type."""

    def __init__(self, library: str, extra: str, purpose: str) -> None:
        self.library = library
        self.extra = extra
        super().__init__(
            f"{purpose} needs {library}, which is not installed; type: pip install 'armcarry[{extra}]'"
        )
