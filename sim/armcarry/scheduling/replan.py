"""When a day goes wrong: the best ways on from an instant, home first, and what each keeps, drops and hands over."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from armcarry.errors import FrameError, InputError
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scheduling.arrange import arrange
from armcarry.scheduling.problem import Impossible, Objective, Solved
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.solve import Effort, solve
from armcarry.scheduling.turn import Aim, Turn
from armcarry.scheduling.ways import Travel
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.schedule import Schedule, schedule, slipped

#: how hard each way on is looked for, in the solver's deterministic seconds
WORK_S = 1.0
NOT_ASSESSED = "not_assessed"
_TITLES = {"home": "come home now", "worth": "what is worth most in time", "all": "all that must be done",
           "written": "as written, later"}  # fmt: skip


@dataclass(frozen=True)
class WayOn:
    """One way on.

    Attributes:
        title: in words.
        keeps, drops: steps to come that it does and does not do; adds: what was not to be done before.
        handed: step -> (who was to do it, who does it now).
        reordered: steps that come after one that was to come after them, of the same actor.
        goings: ways along handrails that are put in, in words.
        end_s: when everybody has done all of it.
        margins_s: limit -> what is left of it.
        new_ways: whether somebody or the arm goes another way than in the run, and not only later. Clearances and the
            way home of any way on are ``not_assessed`` until its script is rehearsed.
        left_as_is: things that a step failed at, which nobody does anything to any more.
        why_not: why there is no such way; everything else is empty then.
    """

    title: str
    keeps: tuple[str, ...] = ()
    drops: tuple[str, ...] = ()
    adds: tuple[str, ...] = ()
    handed: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    reordered: tuple[str, ...] = ()
    goings: tuple[str, ...] = ()
    end_s: float = 0.0
    margins_s: Mapping[str, float] = field(default_factory=dict)
    new_ways: bool = False
    left_as_is: tuple[str, ...] = ()
    why_not: str = ""

    @property
    def least_margin_s(self) -> float:
        """What is left of the limit that is nearest; infinity without one."""
        return min(self.margins_s.values(), default=float("inf"))

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        if self.why_not:
            return {"title": self.title, "why_not": self.why_not}
        return {
            "title": self.title, "end_s": round(self.end_s, 3), "keeps": list(self.keeps), "drops": list(self.drops),
            "adds": list(self.adds), "handed_over": {name: list(pair) for name, pair in self.handed.items()},
            "reordered": list(self.reordered), "ways_put_in": list(self.goings),
            "left_as_is": list(self.left_as_is),
            "margins_s": {name: round(left, 3) for name, left in self.margins_s.items()},
            "new_ways": self.new_ways, "clearance": NOT_ASSESSED, "way_home": NOT_ASSESSED,
        }  # fmt: skip


def ways_on(record: Record, turn: Turn, effort: Effort | None = None) -> tuple[WayOn, ...]:
    """Return ways on from an instant of a run's day: home now, then the others, the best first.

    A way is better where it keeps all limits, then where more is done, then where it ends earlier.

    Raises:
        InputError: the run has no day, or the instant is outside it.
        FrameError: a step or somebody that the day does not have.
        MissingExtraError: OR-tools is not installed.
    """
    plan = record.plan
    if plan is None:
        raise InputError("this run has no day", accepted="a run of a scenario with day: steps")
    _check(plan, turn)
    travel = Travel(record.scene)
    travel.learn(plan)
    effort = effort or Effort(work_s=WORK_S, bound=False)
    home = _solved(plan, travel, turn, effort, "home")
    others = [_solved(plan, travel, turn, effort, aim) for aim in ("worth", "all")]
    if not turn.unable:
        others.append(_as_written(plan, turn))
    ranked = sorted(others, key=lambda way: (bool(way.why_not), way.why_not == "" and way.least_margin_s < 0.0,
                                             -len(way.keeps) - len(way.adds), way.end_s))  # fmt: skip
    kept: list[WayOn] = []
    for way in ranked:
        if way.why_not or not any(_alike(way, one) for one in kept):
            kept.append(way)
    return (home, *kept[:3])


def _alike(one: WayOn, other: WayOn) -> bool:
    """Tell whether two ways do the same and end together."""
    same = (one.keeps, one.adds, one.handed) == (other.keeps, other.adds, other.handed)
    return same and not other.why_not and abs(one.end_s - other.end_s) < 1.0


def _check(plan: DayPlan, turn: Turn) -> None:
    steps = [step.name for step in plan.day.steps]
    for name in (*turn.late_s, *turn.failed):
        if name not in steps:
            raise FrameError("step", name, steps)
        if name in plan.schedule.tasks_done() and plan.schedule.slot(name).end_s <= turn.at_s:
            raise InputError(f"step '{name}' has ended by then", found=clock(turn.at_s),
                             accepted=f"an instant before {clock(plan.schedule.slot(name).end_s)}")  # fmt: skip
    for who in turn.unable:
        if who not in plan.scene.loaded.crew:
            raise FrameError("crewmember", who, plan.scene.loaded.crew)
    if not 0.0 <= turn.at_s < plan.schedule.end_s:
        raise InputError("this instant is not within the day", found=clock(turn.at_s),
                         accepted=f"from 0:00 to {clock(plan.schedule.end_s)}")  # fmt: skip


def _solved(plan: DayPlan, travel: Travel, turn: Turn, effort: Effort, aim: Aim) -> WayOn:
    objective: Objective = "shortest" if aim == "all" else "worth"
    rest = Rest(plan, travel, objective, turn=turn, aim=aim, within=aim == "worth")
    solved = solve(rest.problem, objective, effort)
    if isinstance(solved, Impossible):
        told = "; ".join(one.said for one in solved.together[:4] if one.said)
        reason = f"it cannot be: {told or 'people or the arm cannot get there'}"
        return WayOn(_TITLES[aim], why_not=reason if solved.proven else "none was found with this much work")
    return _way(rest, solved)


def _way(rest: Rest, solved: Solved) -> WayOn:
    plan, at_s = rest.plan, rest.turn.at_s
    done = {one.name for one in solved.placed}
    planned = plan.schedule.tasks_done() - rest.over
    change = arrange(rest, solved)
    end_s = at_s + solved.end_s
    last: dict[str, float] = {}
    for one in solved.placed:
        people = rest.candidates(plan.step(one.name))
        group = rest.group_of.get(one.name)
        actors = (people[one.way],) if group is not None and group.either else plan.step(one.name).actors
        for actor in actors:
            last[actor] = max(last.get(actor, 0.0), at_s + one.end_s)
    starts = {slot.name: slot.start_s for slot in plan.schedule.slots}
    starts |= {one.name: at_s + one.start_s for one in solved.placed if one.name not in rest.under_way}
    moved_otherwise = bool(change.handed or change.goings or _reordered(rest, solved) or _flown_otherwise(rest, solved))
    return WayOn(
        _TITLES[rest.aim],
        tuple(name for name in rest.tasks if name in done & planned),
        tuple(name for name in rest.tasks if name in planned - done),
        tuple(name for name in rest.tasks if name in done - planned),
        dict(change.handed),
        _reordered(rest, solved),
        tuple(f"{going.who} to {going.to} before {going.before}" for going in change.goings),
        end_s, _margins(plan, last, starts), moved_otherwise, tuple(sorted(rest.broken)),
    )  # fmt: skip


def _margins(plan: DayPlan, last_s: Mapping[str, float], starts_s: Mapping[str, float]) -> dict[str, float]:
    """Return what is left of each limit when the last step of those it counts for ends."""
    found = {}
    for limit in plan.limits:
        ends = [end for who, end in last_s.items() if not limit.actors or who in limit.actors]
        found[limit.name] = limit.lasts_s - (max(ends, default=0.0) - starts_s.get(limit.since or "", 0.0))
    return found


def _reordered(rest: Rest, solved: Solved) -> tuple[str, ...]:
    """Return steps that were to come before one which now comes before them, of whoever does both."""
    number = {name: k for k, name in enumerate(rest.tasks)}
    found: list[str] = []
    for names in solved.orders.values():
        highest = -1
        for name in names:
            if number[name] < highest and name not in found:
                found.append(name)
            highest = max(highest, number[name])
    return tuple(found)


def _flown_otherwise(rest: Rest, solved: Solved) -> bool:
    """Tell whether the arm begins something elsewhere than as planned: what it did before is left out."""
    done, gap = {one.name for one in solved.placed}, False
    for name in rest.tasks:
        if not rest.found[name].touches.get("the arm"):
            continue
        if name in done and gap:
            return True
        gap = gap or name not in done
    return False


def _as_written(plan: DayPlan, turn: Turn) -> WayOn:
    """Return the day in the order written, with what the slip makes of it: what time does not permit is left out."""
    late = schedule(slipped(plan.tasks, turn.late_s), plan.limits, failed=turn.failed)
    over = {slot.name for slot in plan.schedule.slots if slot.end_s + turn.late_s.get(slot.name, 0.0) <= turn.at_s}
    planned, done = plan.schedule.tasks_done() - over, late.tasks_done() - over
    ordered = [task.name for task in plan.tasks]
    return WayOn(
        _TITLES["written"], tuple(n for n in ordered if n in planned & done),
        tuple(n for n in ordered if n in planned - done), tuple(n for n in ordered if n in done - planned),
        {}, (), (), late.end_s, _left(late), done != planned,
    )  # fmt: skip


def _left(planned: Schedule) -> dict[str, float]:
    return {use.limit.name: use.margin_s for use in planned.limits}
