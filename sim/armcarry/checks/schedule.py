"""Does the day fit its limits, and can everybody be where the steps want them?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import numpy as np

from armcarry.quantities import clock
from armcarry.record.figures import at_least, at_most, down, near, up
from armcarry.record.finding import Finding
from armcarry.record.maker import Maker
from armcarry.record.record import Record
from armcarry.timeline.estimate import path_estimate
from armcarry.timeline.handrails import NoRoute
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.policy import MORE_S, Days, costs, sampled_days
from armcarry.timeline.schedule import NOT_TODAY, SAME_S, LimitUse
from armcarry.timeline.tanks import curves_of
from armcarry.timeline.task import go_by_s
from armcarry.timeline.wanted import need_in_words
from armcarry.whatif.stranding import ways_back

#: sampled days for the chance of ending in time; its standard error is below 0.4 %
SAMPLES = 20_000
_make = Maker("schedule")


def check(record: Record) -> tuple[Finding, ...]:
    """Give findings on limits, chance, conflicts, ways and stated times; none when the scenario has no day."""
    plan = record.plan
    if plan is None:
        return ()
    return (
        *(_tank(plan, use) if use.limit.drawn is not None else _limit(plan, use) for use in plan.schedule.limits),
        *_tanks_and_home(record, plan),
        *_chance(plan, record.scene.loaded.rules.confidence),
        *_conflicts(record, plan),
        *_instants(plan),
        *_ways(plan),
        *_stated(plan),
        *_left_out(plan),
    )


def _limit(plan: DayPlan, use: LimitUse) -> Finding:
    """Judge the end of the day against one limit, with likely durations."""
    end = at_most(use.end_s, use.limit.lasts_s, "s")
    words = f"{down(use.margin_s, 's')} before" if end.kept else f"{end.short} after"
    path = [step for step in plan.schedule.critical_path if plan.schedule.slot(step).end_s > 0.0]
    return _make.judged(
        end,
        "day",
        f"with likely durations the last step, {use.last_step}, ends {words} {_words(use.limit.name)}",
        other=use.limit.name,
        at=(0.0, plan.schedule.end_s),
        remedy=f"shorten or move a step of the critical path: {', '.join(path[-6:])}",
    )


def _tank(plan: DayPlan, use: LimitUse) -> Finding:
    """Judge what is left of a tank when its wearer's last step ends, with likely durations."""
    drawn = use.limit.drawn
    tank, who, keep_s = (drawn.tank, drawn.who, drawn.keep_s) if drawn is not None else ("", "", 0.0)
    left = at_least(use.margin_s + keep_s, keep_s, "s")
    return _make.judged(
        left, who,
        f"{left.said} of {_words(tank)} is left when the last step of {who}, {use.last_step}, ends, {left.asked} is "
        "asked for; counted at light effort",
        other=tank, at=(0.0, plan.schedule.end_s),
        remedy=f"let {who} end earlier, or give heavy work to another",
    )  # fmt: skip


def _tanks_and_home(record: Record, plan: DayPlan) -> Iterator[Finding]:
    """Judge what is left of each tank at every instant outside, the way home from there taken off."""
    curves = curves_of(plan.limits, plan.schedule)
    back = {item.crew: item for item in ways_back(record)} if curves else {}
    for curve in curves:
        tank, who, keep_s = curve.drawn.tank, curve.drawn.who, curve.drawn.keep_s
        other, item = f"{tank}, way home", back.get(who)
        if item is None or record.scene.loaded.rules.way_home is None or not np.all(np.isfinite(item.return_time_s)):
            supply = "a platform with hatch and handrails, and way_home of the rules"
            yield _make.not_assessed(who, f"how much {_words(tank)} the way home leaves is not known", supply,
                                     other=other)  # fmt: skip
            continue
        left_s = curve.left_with(item.time_s, item.return_time_s)
        k = int(np.argmin(left_s))
        left, time_s = at_least(float(left_s[k]) + keep_s, keep_s, "s"), float(item.time_s[k])
        yield _make.judged(
            left, who,
            f"{left.said} of {_words(tank)} would be left if {who} went home by hand at {clock(time_s)}, in "
            f"{up(float(item.return_time_s[k]), 's')}, {left.asked} is asked for; counted at light effort",
            other=other, at=(time_s, time_s),
            remedy=f"let {who} be nearer to the hatch by then, or earlier, or give heavy work to another",
        )  # fmt: skip


def _words(name: str) -> str:
    return name.replace("_", " ")


def _chance(plan: DayPlan, wanted: float) -> Iterator[Finding]:
    """Judge the chance of ending in time against the rules' confidence, and tell that of every step as time permits."""
    limits = [limit for limit in plan.limits if limit.since is None and limit.drawn is None]
    if not limits:
        return
    limit = min(limits, key=lambda limit: limit.lasts_s)
    classic, _ = path_estimate(plan.tasks, plan.schedule)
    sampled = sampled_days(plan.tasks, plan.limits, plan.failed, samples=SAMPLES)
    chance = at_least(sampled.chance, wanted, "%", 1)
    share = near(wanted, "%")
    worst = {name: cost for name, cost in costs(plan.tasks, plan.limits, plan.failed).items() if cost > 0.0}
    yield _make.judged(
        chance,
        "day",
        f"{chance.said} of {SAMPLES} sampled days keep every limit, {share} are asked for; "
        f"{near(sampled.chance_by(limit.lasts_s), '%', 1)} end by {clock(limit.lasts_s)}, the {_words(limit.name)} "
        f"(the critical path alone: {near(classic.chance_by(limit.lasts_s), '%', 1)}), {share} by "
        f"{up(sampled.percentile(wanted), 's')}; {_costs(worst)}{_buys(plan, sampled)}",
        other="chance",
        at=(0.0, plan.schedule.end_s),
        remedy="" if chance.kept else _widest(worst),
    )
    for step in plan.day.steps:
        if step.as_time_permits is not None and step.name not in plan.day.left_out:
            yield _make.passed(step.name, f"{step.name} is reached on {near(sampled.chance_of(step.name), '%', 1)} of "
                               "sampled days", other="chance", value=sampled.chance_of(step.name), unit="")  # fmt: skip


def _buys(plan: DayPlan, now: Days) -> str:
    """Say what a little more time would buy: of every limit so much more."""
    later = tuple(replace(limit, lasts_s=limit.lasts_s + MORE_S) for limit in plan.limits)
    more = sampled_days(plan.tasks, later, plan.failed, samples=SAMPLES)
    permitted = [step.name for step in plan.day.steps if step.as_time_permits is not None]
    gains = {name: more.chance_of(name) - now.chance_of(name) for name in permitted}
    best = max(gains, key=lambda name: gains[name], default="")
    also = f", and reach {best} on {near(more.chance_of(best), '%', 1)}" if gains.get(best, 0.0) > 0.0 else ""
    return f"{clock(MORE_S)} more of each limit would make it {near(more.chance, '%', 1)}{also}"


def _costs(worst: Mapping[str, float]) -> str:
    """Say which step's uncertainty costs most of the chance."""
    name = next(iter(worst), None)
    return "" if name is None else f"the uncertainty of {name} costs most, {near(worst[name], '%', 1)}; "


def _widest(worst: Mapping[str, float]) -> str:
    """Say what to do about a chance that is too small."""
    if not worst:
        return "shorten steps of the critical path: no single step's uncertainty costs any of the chance"
    told = ", ".join(f"{name} ({near(cost, '%', 1)})" for name, cost in list(worst.items())[:4])
    return f"practise or shorten the steps whose uncertainty costs most of the chance: {told}"


def _conflicts(record: Record, plan: DayPlan) -> Iterator[Finding]:
    told = [
        *((item.item, item.step, item.message, item.start_s, item.end_s, item.remedy)
          for item in record.ledger.told_by("schedule")),
        *((item.actor, item.step, item.message, item.start_s, item.end_s, item.remedy) for item in plan.conflicts),
    ]  # fmt: skip
    for subject, step, message, start_s, end_s, remedy in sorted(told, key=lambda one: (one[3], one[1])):
        yield _make.failed(subject, message, remedy, other=step, at=(start_s, end_s))
    for item in record.ledger.unknown("schedule"):
        yield _make.not_assessed(item.item, item.message, item.remedy, other=item.step, at=(item.start_s, item.end_s))
    if not told and not record.ledger.told_elsewhere("schedule"):
        words = "nobody is in two places, everybody is beside what they work on, nobody rides outside the restraint"
        yield _make.passed("actors", words, at=(0.0, plan.schedule.end_s))


def _ways(plan: DayPlan) -> Iterator[Finding]:
    """Judge each way along handrails: is there one?"""
    for name, walks in plan.walks.items():
        if name not in plan.schedule.tasks_done():
            continue
        slot = plan.schedule.slot(name)
        for walk in walks:
            way, during = f"{walk.worker} from {walk.start} to {walk.goal}", (slot.start_s, slot.end_s)
            if isinstance(walk.route, NoRoute):
                yield _make.failed(
                    walk.worker, f"{way}: {walk.route.reason}",
                    "add a handrail or a tether there, or take another way in several steps",
                    other=name, at=during, value=walk.route.needed_m, limit=plan.day.rail_gap, unit="m",
                )  # fmt: skip
                continue
            words = f"{up(walk.route.length_m, 'm', 1)} along {len(walk.route.rails)} handrails"
            yield _make.passed(
                walk.worker, f"{way}: {words}, widest gap {up(walk.route.widest_gap_m, 'm', 2)}",
                other=name, at=during, value=walk.route.widest_gap_m, limit=plan.day.rail_gap, unit="m",
            )  # fmt: skip


def _stated(plan: DayPlan) -> Iterator[Finding]:
    """Judge stated times of carries and translations: the motion must fit into the likely one."""
    for step in plan.day.steps:
        if step.takes is None or step.name not in plan.computed or step.name not in plan.schedule.tasks_done():
            continue
        needed_s, slot = plan.computed[step.name].likely_s, plan.schedule.slot(step.name)
        takes = at_least(step.takes.likely, needed_s, "s")
        if takes.kept:
            continue
        climbs = step.kind in ("enter_restraint", "leave_restraint")
        by = "the rules give it" if climbs else "its motion takes"
        yield _make.judged(
            takes, step.name, f"{step.name} is to take {takes.said}, but {by} {takes.asked}",
            other="takes", at=(slot.start_s, slot.end_s),
            remedy=f"state at least {up(needed_s, 's')} for {step.name}",
        )  # fmt: skip


def _instants(plan: DayPlan) -> Iterator[Finding]:
    """Judge what steps need of the clock: a latest end, daylight or a window, and enough left to go on."""
    for task, step in zip(plan.tasks, plan.day.steps, strict=True):
        if task.name not in plan.schedule.tasks_done():
            continue
        slot = plan.schedule.slot(task.name)
        at, words = (slot.start_s, slot.end_s), f"{task.name} ({clock(slot.start_s)} to {clock(slot.end_s)})"
        if step.latest is not None:
            end = at_most(slot.end_s, step.latest, "s")
            yield _make.judged(end, task.name, f"{words} is to end by {clock(step.latest)}", other="latest", at=at,
                               remedy="let it begin earlier, or shorten what comes before it")  # fmt: skip
        need = need_in_words(step)
        if need:
            other = step.needs or "sun"
            if any(begin <= slot.start_s + SAME_S and slot.end_s <= end + SAME_S for begin, end in task.windows):
                yield _make.passed(task.name, f"{words} is within {need}", other=other, at=at)
            else:
                told = ", ".join(f"{clock(begin)} to {clock(end)}" for begin, end in task.windows[:6]) or "never"
                yield _make.failed(task.name, f"{words} is not within {need}, which is {told}",
                                   "let it begin earlier, or make it short enough for a window",
                                   other=other, at=at)  # fmt: skip
        by_s = go_by_s(plan.day, step)
        if step.go_if is not None and by_s is not None:
            since = plan.day.consumables[step.go_if.of].since if step.go_if.of is not None else None
            begun = next((s.start_s for s in plan.schedule.slots if s.name == since), 0.0)
            left = at_least(by_s + step.go_if.left - (slot.start_s - begun), step.go_if.left, "s")
            what = _words(step.go_if.of or "the time until the cut-off")
            yield _make.judged(left, task.name, f"when {words} begins, {left.said} is left of {what}, {left.asked} is "
                               "asked for", other="go_if", at=at,
                               remedy=f"no-go: leave out {task.name}, or let it begin earlier")  # fmt: skip


def _left_out(plan: DayPlan) -> Iterator[Finding]:
    """Tell what there is no time for; steps as time permits may be left out, so this is no failure."""
    for dropped in plan.schedule.dropped:
        if dropped.why == NOT_TODAY:
            yield _make.passed(dropped.name, f"{dropped.name} is left out, as the script says", other="left_out")
            continue
        instead = f"; {dropped.fallback} is done instead" if dropped.fallback else ""
        message = f"{dropped.name} is left out as time does not permit: {dropped.why}{instead}"
        yield _make.passed(dropped.name, message, other="left_out")
