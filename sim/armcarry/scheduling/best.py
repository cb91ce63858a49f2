"""The best day: solve, work it out as it would be flown, correct the times, and again until they agree."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from armcarry.errors import InputError, InputErrors
from armcarry.planning.left_open import settle
from armcarry.scene.build import Scene, build_scene
from armcarry.scheduling.arrange import arrange, written_names
from armcarry.scheduling.day import DayProblem, sequence_key
from armcarry.scheduling.meeting import NOTHING_LEARNED, Learned
from armcarry.scheduling.problem import Impossible, Objective, Solved
from armcarry.scheduling.solve import Effort, solve
from armcarry.scheduling.ways import Travel, carries_s
from armcarry.scheduling.write import Rearranged, rearranged
from armcarry.timeline.day_run import settled_day
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.walked import Walkthrough

Tell = Callable[[str, float], None]
#: rounds of solving and correcting
ROUNDS = 8
#: solved and flown ends nearer than this agree, seconds
AGREE_S = 0.5


@dataclass(frozen=True)
class Round:
    """One turn: the end that was solved for, the end when it was worked out, and what spoke against it."""

    solved_s: float
    flown_s: float
    against: str = ""


@dataclass(frozen=True, eq=False)
class Best:
    """The best day that was found.

    Attributes:
        before, after: the day as written and the best one, worked out.
        change: how the script changes; ``text`` is the new one.
        rounds: the turns it took; ``agrees`` when the last solved and flown times do.
        learned: what orders that did not hold have taught.
        walk: the best day with every carry flown and every way gone.
    """

    before: DayPlan
    after: DayPlan
    solved: Solved
    change: Rearranged
    text: str
    rounds: tuple[Round, ...]
    agrees: bool
    problem: DayProblem
    objective: Objective
    learned: Learned
    walk: Walkthrough | None = None

    @property
    def bound_s(self) -> float:
        """What is proven: no order that the script allows ends earlier, with times as they were flown."""
        return min(self.solved.bound_s, self.after.schedule.end_s)

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        return {
            "objective": self.objective,
            "before_s": round(self.before.schedule.end_s, 3), "after_s": round(self.after.schedule.end_s, 3),
            "bound_s": round(self.bound_s, 3), "optimal": self.solved.optimal and self.agrees, "agrees": self.agrees,
            "worth": self.solved.worth,
            "rounds": [{"solved_s": round(one.solved_s, 3), "flown_s": round(one.flown_s, 3), "against": one.against}
                       for one in self.rounds],
            "moved": list(self.moved), "handed_over": {name: list(pair) for name, pair in self.change.handed.items()},
            "ways_put_in": [{"who": one.who, "to": one.to, "before": one.before} for one in self.change.goings],
            "links_put_in": {name: list(firsts) for name, firsts in self.change.links.items()},
            "left_out": list(self.change.left_out),
            "binds": [{"step": one.name, "after": one.after, "why": one.why} for one in self.solved.chain],
        }  # fmt: skip

    @property
    def moved(self) -> tuple[str, ...]:
        """The fewest written steps whose place in the file changes: all others keep their order among themselves."""
        names = written_names(self.problem)
        numbers = [names.index(name) for name in self.change.order]
        return tuple(name for name, number in zip(self.change.order, numbers, strict=True)
                     if number not in _longest_rise(numbers))  # fmt: skip


def worked_out(scene: Scene, tell: Tell | None = None) -> DayPlan:
    """Return the day of a scene with every carry flown and every way gone. Raises InputError where it has no day."""
    if scene.loaded.scenario.day is None:
        raise InputError("the scenario has no day", file=scene.loaded.path, accepted="a scenario with day: steps")
    return settled_day(scene, tell or (lambda words, share: None))[1]


def best_day(
    path: Path, objective: Objective = "shortest", effort: Effort | None = None, tell: Tell | None = None,
    learned: Learned | None = None, before: DayPlan | None = None,
) -> Best:
    """Return the best day that a script allows.

    Args:
        path: the script.
        objective: what is made best, see ``scheduling.solve``.
        effort: seed, and how hard to look.
        learned: what orders that were tried have taught.
        before: the day as written, if it was worked out already.

    Raises:
        InputErrors: statements of the script cannot hold together; each is told with its line.
        MissingExtraError: OR-tools is not installed.
    """
    say = tell or (lambda words, share: None)
    if before is None:
        before = worked_out(build_scene(settle(path)), say)
    travel, known_s, rounds = Travel(before.scene), dict[str, float](), list[Round]()
    travel.learn(before)
    learned = learned or NOTHING_LEARNED
    travel.blocked = learned.blocked
    best: Best | None = None
    for number in range(ROUNDS):
        say(f"looking for the best order, turn {number + 1}", number / ROUNDS)
        problem = DayProblem(before, travel, objective, learned, dict(known_s))
        solved = solve(problem.problem, objective, effort)
        if isinstance(solved, Impossible):
            if best is not None and solved.proven:
                return best  # everything else was tried
            raise _cannot(problem, solved)
        change = arrange(problem, solved)
        text = _text(problem, change)
        walk, after = (None, before) if text is None else settled_day(_scene_of(path, text), say)
        against = _broken(before, after)
        rounds.append(Round(solved.end_s, after.schedule.end_s, against))
        agrees = not against and abs(after.schedule.end_s - solved.end_s) <= AGREE_S
        shown = text if text is not None else path.read_text(encoding="utf-8")
        best = Best(before, after, solved, change, shown, tuple(rounds), agrees, problem, objective, learned, walk)
        if agrees:
            return best
        if against:
            learned = learned.bar(sequence_key(solved.orders))
        took_s = {name: took for name, took in carries_s(after).items() if name in problem.tasks}
        same = dict(travel.flown), dict(known_s)
        travel.learn(after)
        known_s |= {name: max(took, _stated_s(before, name)) for name, took in took_s.items()}
        if not against and same == (travel.flown, known_s):
            return best  # nothing is left to correct: what differs is told
    assert best is not None  # noqa: S101  # ROUNDS is above 0
    return best


def _stated_s(plan: DayPlan, name: str) -> float:
    takes = plan.step(name).takes
    return 0.0 if takes is None else takes.likely


def _scene_of(path: Path, text: str) -> Scene:
    return build_scene(settle(path, keep=False, text=text.encode()))


def _text(problem: DayProblem, change: Rearranged) -> str | None:
    """Return the script with a change, None where there is none."""
    beside = problem.scene.loaded.beside
    names = written_names(problem)
    nothing = change.order == names and not change.handed and not change.goings and not change.links
    if beside is None or (nothing and list(change.left_out) == list(problem.plan.day.left_out)):
        return None
    return rearranged(beside.written.yaml, names, change)


def _broken(before: DayPlan, after: DayPlan) -> str:
    """Return what the ledger or the schedule says of the new order that it does not say of the one written."""
    known = {(one.missing, one.item, one.step) for one in before.ledger.violations}
    new = [one.message for one in after.ledger.violations if (one.missing, one.item, one.step) not in known]
    told = {(one.kind, one.actor, one.step) for one in before.conflicts}
    new += [one.message for one in after.conflicts if (one.kind, one.actor, one.step) not in told]
    missing = before.schedule.tasks_done() - after.schedule.tasks_done() - set(after.day.left_out)
    grouped = {name for group in after.day.any_of for name in group}
    new += [f"{name} is not done any more" for name in sorted(missing - grouped)]
    return new[0] if new else ""


def _cannot(problem: DayProblem, found: Impossible) -> InputError:
    path = problem.scene.loaded.path
    if not found.proven:
        return InputError("the search for an order was stopped before one was found", file=path,
                          accepted="more work: --work 120")  # fmt: skip
    if not found.together:
        return InputError("no order of these steps can be: people cannot be where the steps want them", file=path)
    alone = len(found.together) == 1
    together = "these cannot hold together, each is needed for that"
    words = "this cannot hold, whatever else is given up" if alone else together
    told = [InputError(words, file=path)]
    for statement in found.together:
        place, _, said = statement.said.partition(": ")
        line = place.rpartition(":")[2]
        told.append(InputError(said or place, file=path, line=int(line) if line.isdigit() else None))
    return InputErrors(told)


def _longest_rise(numbers: list[int]) -> set[int]:
    """Return a longest rising subsequence."""
    best: list[list[int]] = []
    for number in numbers:
        longest: list[int] = []
        for rise in best:
            if rise[-1] < number and len(rise) > len(longest):
                longest = rise
        best.append([*longest, number])
    return set(max(best, key=lambda rise: len(rise)) if best else ())
