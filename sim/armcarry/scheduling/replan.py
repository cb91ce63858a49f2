"""When a day goes wrong: the best ways on from an instant, home first, and what each keeps, drops and hands over."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from functools import partial
from typing import Any

from armcarry.errors import FrameError, InputError
from armcarry.quantities import clock
from armcarry.record.beside import side_by_side
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.scheduling.arrange import arrange
from armcarry.scheduling.flown import Flown
from armcarry.scheduling.meeting import NOTHING_LEARNED, Learned
from armcarry.scheduling.onward import Onward
from armcarry.scheduling.problem import Impossible, Objective, Solved
from armcarry.scheduling.reasons import why_changed, why_left
from armcarry.scheduling.rest import Rest
from armcarry.scheduling.ride_home import RideHome, ride_home
from armcarry.scheduling.solve import Effort, solve
from armcarry.scheduling.tries import Choice, flown_as, limits_left
from armcarry.scheduling.turn import Aim, Turn
from armcarry.scheduling.way_on import WayOn
from armcarry.scheduling.ways import Travel
from armcarry.scheduling.write import Rearranged
from armcarry.timeline.drawn import Span
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.schedule import schedule, slipped

#: how hard each way on is looked for, in the solver's deterministic seconds
WORK_S = 1.0
#: searches at most for why there is no way on: a second or two
EXPLAINED = 12
#: why somebody does what the day does not have
BACK = "what was half done is put back"
#: ways that end within this of one another end together, s
_SAME_S = 1.0
_TITLES = {"home": "come home now", "worth": "what is worth most in time", "all": "all that must be done",
           "written": "as written, later"}  # fmt: skip

#: where there is no way on
_NOTHING = Choice(WayOn(""))


def ways_on(
    record: Record, turn: Turn, effort: Effort | None = None, *, known: Sequence[Finding] = (), processes: int = 1,
    files: Callable[[Flown], Mapping[str, bytes]] | None = None,
) -> tuple[WayOn, ...]:
    """Return ways on from an instant of a run's day, flown and judged: home now, then the others, the best first.

    A way is better where it keeps all limits, then where more is done, then where it ends earlier.

    Args:
        record: the run.
        turn: what is known by the instant.
        effort: how hard to look.
        known: what was found of the run.
        processes: how many ways are flown side by side.
        files: makes what is to be kept of a way that was flown, name -> bytes; called where it was flown.

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
    effort = effort or Effort(work_s=WORK_S, bound=False, explain=EXPLAINED)
    home = _home(plan, travel, turn, effort)
    others = [_solved(plan, travel, turn, effort, aim) for aim in ("worth", "all")]
    if not turn.unable:
        others.append(_as_written(plan, turn))
    others.sort(key=lambda one: _rank(one.way))
    gone = _no_better([one.way for one in others])
    chosen = [home, *(one for one in others if one.way.title not in gone)]
    jobs = [partial(flown_as, choice, known, files) for choice in chosen]
    first, *ways = side_by_side(jobs, processes)
    gone |= _no_better(ways)  # two may have become one as they were flown
    return (first, *(way for way in ways if way.title not in gone), *gone.values())


def _rank(way: WayOn) -> tuple[bool, bool, int, float]:
    late = not way.why_not and way.least_margin_s < 0.0
    return bool(way.why_not), late, -len(way.keeps) - len(way.adds), way.end_s


def _no_better(ways: Sequence[WayOn]) -> dict[str, WayOn]:
    """Return title -> what is said in its place, of ways which are no better than one before them."""
    gone = dict[str, WayOn]()
    for number, way in enumerate(ways):
        beside = [] if way.why_not else [one for one in ways[:number] if one.title not in gone]
        better = next((one for one in beside if _covers(one, way)), None)
        if better is not None:
            gone[way.title] = WayOn(way.title, why_not=_said_no_better(way, better))
    return gone


def _covers(other: WayOn, one: WayOn) -> bool:
    """Tell whether a way does all that one does, ends no later, and holds if that does.

    What becomes of the day as written is told unless it is the same: everything else is measured against it.
    """
    does, also = {*one.keeps, *one.adds}, {*other.keeps, *other.adds}
    if other.why_not or (one.holds and not other.holds):
        return False
    if one.title == _TITLES["written"]:
        return does == also and one.handed == other.handed and abs(one.end_s - other.end_s) < _SAME_S
    return does <= also and one.end_s > other.end_s - _SAME_S


def _said_no_better(one: WayOn, other: WayOn) -> str:
    later = one.end_s - other.end_s
    words = f"ends {clock(later)} later" if later > _SAME_S else "ends no earlier"
    return f"does nothing that '{other.title}' does not, and {words}"


def _check(plan: DayPlan, turn: Turn) -> None:
    steps = [step.name for step in plan.day.steps]
    for name in (*turn.late_s, *turn.failed):
        plan.scene.loaded.ask_for_step(name)
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


def _home(plan: DayPlan, travel: Travel, turn: Turn, effort: Effort) -> Choice:
    """Return how all come home soonest: by the day's own steps, or as ``ride_home`` has it."""
    plain = _solved(plan, travel, turn, effort, "home")
    ride = ride_home(Rest(plan, travel, "worth", turn=turn, aim="home", within=False))
    if ride is None:
        return plain
    riding = _solved(ride.plan, travel, turn, effort, "home", ride=ride)
    asks_more = bool(plain.way.still or plain.way.handed) and not riding.way.still
    sooner = riding.onward is not None and (plain.onward is None or riding.way.end_s < plain.way.end_s - _SAME_S)
    if riding.onward is None or not (sooner or asks_more):
        return plain
    rides = {name: pair for name, pair in ride.rides.items() if name in riding.way.keeps}
    way = replace(riding.way, handed={**riding.way.handed, **rides},
                  why={**riding.way.why, **dict.fromkeys(rides, "is on the arm")})  # fmt: skip
    again = riding.again

    def otherwise(taught: Learned) -> Choice | None:
        other = None if again is None else again(taught)
        return other or (plain if plain.onward is not None else None)

    return replace(riding, way=way, again=otherwise)


def _solved(
    plan: DayPlan, travel: Travel, turn: Turn, effort: Effort, aim: Aim, hands_over: bool = True,
    learned: Learned = NOTHING_LEARNED, ride: RideHome | None = None,
) -> Choice:
    objective: Objective = "worth"
    rest = Rest(plan, replace(travel, blocked=learned.blocked), objective, learned, turn=turn, aim=aim,
                within=aim == "worth", hands_over=hands_over,
                only=None if ride is None else ride.only)  # fmt: skip
    solved = solve(rest.problem, objective, replace(effort, explain=0))
    if isinstance(solved, Impossible):  # better to leave something to be made safe than to have no way on
        rest = replace(rest, safe=False)
        solved = solve(rest.problem, objective, effort)
    if isinstance(solved, Impossible):
        told = "; ".join(one.said for one in solved.together[:4] if one.said)
        reason = f"it cannot be: {told or 'people or the arm cannot get there'}"
        return Choice(WayOn(_TITLES[aim], why_not=reason if solved.proven else "none was found with this much work"))
    choice = _way(rest, solved, {} if ride is None else ride.more)

    def again(taught: Learned) -> Choice | None:
        more = learned.and_also(taught)
        other = _solved(plan, travel, turn, effort, aim, hands_over, more, ride) if more != learned else _NOTHING
        if other.onward is None and hands_over and choice.way.handed:
            other = _solved(plan, travel, turn, effort, aim, False, more, ride)
        return other if other.onward is not None else None

    return replace(choice, again=again)


def _way(rest: Rest, solved: Solved, more: Mapping[str, Mapping[str, Any]]) -> Choice:
    plan, at_s = rest.plan, rest.turn.at_s
    done = {one.name for one in solved.placed}
    more_bolts, needless = rest.tightens_more(done | rest.over)
    done -= set(needless)
    planned = plan.schedule.tasks_done() - rest.over - set(more)
    change = arrange(rest, solved, spelled=True)
    end_s = at_s + solved.end_s
    does: dict[str, list[Span]] = {}
    for one in solved.placed:
        people = rest.candidates(plan.step(one.name))
        group = rest.group_of.get(one.name)
        actors = (people[one.way],) if group is not None and group.either else plan.step(one.name).actors
        for actor in actors:
            does.setdefault(actor, []).append((one.name, at_s + one.start_s, at_s + one.end_s))
    starts = {slot.name: slot.start_s for slot in plan.schedule.slots}
    starts |= {one.name: at_s + one.start_s for one in solved.placed if one.name not in rest.under_way}
    moved_otherwise = bool(change.handed or change.goings or _reordered(rest, solved) or _flown_otherwise(rest, solved))
    way = WayOn(
        _TITLES[rest.aim],
        tuple(name for name in rest.tasks if name in done & planned),
        tuple(name for name in rest.coming if name in planned - done),
        tuple(name for name in rest.tasks if name in done - planned),
        dict(change.handed),
        _reordered(rest, solved),
        tuple(f"{going.who} to {going.to} before {going.before}" for going in change.goings),
        end_s, _margins(rest, does, starts), moved_otherwise, tuple(sorted(rest.broken)),
        {**why_left(rest, done), **needless, **dict.fromkeys(more, BACK),
         **why_changed(rest, change.handed, _reordered(rest, solved))},
        _written(plan, rest.coming), _bolts(plan, more_bolts), {name: plan.step(name).kind for name in more},
        tuple(name for name in rest.tasks if name in rest.still),
    )  # fmt: skip
    return Choice(way, Onward(way.title, plan, rest.turn, change, frozenset(done | rest.over), more_bolts, more))


def _bolts(plan: DayPlan, more: Mapping[str, int]) -> dict[str, tuple[int, int]]:
    """Return step -> how many bolts it was to turn, and turns."""
    steps = {name: plan.step(name).bolt for name in more}
    return {name: (bolt.count, bolt.count + more[name]) for name, bolt in steps.items() if bolt is not None}


def _margins(rest: Rest, does: Mapping[str, list[Span]], starts_s: Mapping[str, float]) -> dict[str, float]:
    """Return what is left of each limit when the last step of those it counts for ends."""
    found = {}
    for limit in rest.plan.limits:
        if limit.drawn is not None:
            spans = [*rest.so_far(limit.drawn.who), *does.get(limit.drawn.who, ())]
            found[limit.name] = limit.lasts_s - limit.drawn.used_s(spans, rest.turn.at_s)
            continue
        ends = [end_s for who, spans in does.items() if not limit.actors or who in limit.actors
                for _, _, end_s in spans]  # fmt: skip
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


def _as_written(plan: DayPlan, turn: Turn) -> Choice:
    """Return the day in the order written, with what the slip makes of it: what time does not permit is left out."""
    late = schedule(slipped(plan.tasks, turn.late_s), plan.limits, failed=(*plan.failed, *turn.failed))
    over = {slot.name for slot in plan.schedule.slots if slot.end_s + turn.late_s.get(slot.name, 0.0) <= turn.at_s}
    planned, done = plan.schedule.tasks_done() - over, late.tasks_done() - over
    ordered = [task.name for task in plan.tasks]
    way = WayOn(
        _TITLES["written"], tuple(n for n in ordered if n in planned & done),
        tuple(n for n in ordered if n in planned - done), tuple(n for n in ordered if n in done - planned),
        {}, (), (), late.end_s, limits_left(late), done != planned, (),
        {one.name: one.why for one in late.dropped if one.name in planned}, _written(plan, ordered),
    )  # fmt: skip
    return Choice(way, Onward(way.title, plan, turn, Rearranged(tuple(ordered)), late.tasks_done()))


def _written(plan: DayPlan, names: Iterable[str]) -> dict[str, str]:
    """Return step -> where and as what it is written, of steps by intent."""
    loaded = plan.scene.loaded
    found = {name: loaded.written_at("step", name) for name in names}
    return {name: words for name, words in found.items() if words.endswith(")")}
