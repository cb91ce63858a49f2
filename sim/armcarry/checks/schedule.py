"""Does the day fit its limits, and can everybody be where the steps want them?"""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.timeline.estimate import path_estimate, sampled_estimate
from armcarry.timeline.handrails import NoRoute
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.schedule import SAME_S, LimitUse

#: sampled days for the chance of ending in time; its standard error is below 0.4 %
SAMPLES = 20_000


def check(record: Record) -> tuple[Finding, ...]:
    """Give findings on limits, chance, conflicts, ways and stated times; none when the scenario has no day."""
    plan = record.plan
    if plan is None:
        return ()
    return (
        *(_limit(plan, use) for use in plan.schedule.limits),
        *_chance(plan, record.scene.loaded.rules.confidence),
        *_conflicts(plan),
        *_ways(plan),
        *_stated(plan),
        *_left_out(plan),
    )


def _limit(plan: DayPlan, use: LimitUse) -> Finding:
    """Judge the end of the day against one limit, with likely durations."""
    kept = use.margin_s >= -SAME_S
    name = _words(use.limit.name)
    words = f"{clock(use.margin_s)} before" if kept else f"{clock(-use.margin_s)} after"
    path = [step for step in plan.schedule.critical_path if plan.schedule.slot(step).end_s > 0.0]
    return Finding(
        check="schedule",
        verdict=Verdict.PASS if kept else Verdict.FAIL,
        subject="day",
        other=use.limit.name,
        message=f"with likely durations the last step, {use.last_step}, ends {words} {name}",
        end_s=plan.schedule.end_s,
        value=use.end_s,
        limit=use.limit.lasts_s,
        unit="s",
        remedy="" if kept else f"shorten or move a step of the critical path: {', '.join(path[-6:])}",
    )


def _words(name: str) -> str:
    return name.replace("_", " ")


def _chance(plan: DayPlan, wanted: float) -> Iterator[Finding]:
    """Judge the probability of ending in time against the rules' confidence, for limits from the day's start."""
    limits = [limit for limit in plan.limits if limit.since is None]
    if not limits:
        return
    limit = min(limits, key=lambda limit: limit.lasts_s)
    classic, _ = path_estimate(plan.tasks, plan.schedule)
    sampled = sampled_estimate(plan.tasks, plan.schedule, samples=SAMPLES)
    chance = sampled.chance_by(limit.lasts_s)
    yield Finding(
        check="schedule",
        verdict=Verdict.PASS if chance >= wanted else Verdict.FAIL,
        subject="day",
        other="chance",
        message=f"{chance:.1%} of {SAMPLES} sampled days end by {clock(limit.lasts_s)}, the {_words(limit.name)}, "
        f"{wanted:.0%} are asked for; the critical path alone gives {classic.chance_by(limit.lasts_s):.1%}; "
        f"{wanted:.0%} of days end by {clock(sampled.percentile(wanted))}",
        end_s=plan.schedule.end_s,
        value=chance,
        limit=wanted,
        remedy="" if chance >= wanted else _widest(plan),
    )


def _widest(plan: DayPlan) -> str:
    """Name the steps of the critical path whose spread counts most."""
    tasks = {task.name: task for task in plan.tasks}
    spread = sorted(plan.schedule.critical_path, key=lambda name: -tasks[name].duration.variance_s2)
    return f"practise or shorten the least certain steps of the critical path: {', '.join(spread[:4])}"


def _conflicts(plan: DayPlan) -> Iterator[Finding]:
    for conflict in plan.conflicts:
        yield Finding(
            check="schedule", verdict=Verdict.FAIL, subject=conflict.actor, other=conflict.step,
            message=conflict.message, start_s=conflict.start_s, end_s=conflict.end_s, remedy=conflict.remedy,
        )
    if not plan.conflicts:
        yield Finding(
            check="schedule", verdict=Verdict.PASS, subject="actors", end_s=plan.schedule.end_s,
            message="nobody is in two places, and nobody rides outside the restraint",
        )


def _ways(plan: DayPlan) -> Iterator[Finding]:
    """Judge each way along handrails: is there one?"""
    for name, walks in plan.walks.items():
        if name not in plan.schedule.tasks_done():
            continue
        slot = plan.schedule.slot(name)
        for walk in walks:
            missing = isinstance(walk.route, NoRoute)
            words = walk.route.reason if isinstance(walk.route, NoRoute) else (
                f"{walk.route.length_m:.1f} m along {len(walk.route.rails)} handrails, widest gap "
                f"{walk.route.widest_gap_m:.2f} m"
            )
            yield Finding(
                check="schedule",
                verdict=Verdict.FAIL if missing else Verdict.PASS,
                subject=walk.worker,
                other=name,
                message=f"{walk.worker} from {walk.start} to {walk.goal}: {words}",
                start_s=slot.start_s,
                end_s=slot.end_s,
                value=walk.route.needed_m if isinstance(walk.route, NoRoute) else walk.route.widest_gap_m,
                limit=plan.day.rail_gap,
                unit="m",
                remedy="add a handrail or a tether there, or take another way in several steps" if missing else "",
            )


def _stated(plan: DayPlan) -> Iterator[Finding]:
    """Judge stated times of carries and translations: the motion must fit into the likely one."""
    for step in plan.day.steps:
        if step.takes is None or step.name not in plan.computed or step.name not in plan.schedule.tasks_done():
            continue
        needed_s, slot = plan.computed[step.name].likely_s, plan.schedule.slot(step.name)
        if needed_s <= step.takes.likely + SAME_S:
            continue
        yield Finding(
            check="schedule", verdict=Verdict.FAIL, subject=step.name, other="takes",
            message=f"{step.name} is to take {clock(step.takes.likely)}, but its motion takes {clock(needed_s)}",
            start_s=slot.start_s, end_s=slot.end_s, value=step.takes.likely, limit=needed_s, unit="s",
            remedy=f"state at least {clock(needed_s)} for {step.name}",
        )


def _left_out(plan: DayPlan) -> Iterator[Finding]:
    """Tell what there is no time for; steps as time permits may be left out, so this is no failure."""
    for dropped in plan.schedule.dropped:
        instead = f"; {dropped.fallback} is done instead" if dropped.fallback else ""
        yield Finding(
            check="schedule", verdict=Verdict.PASS, subject=dropped.name, other="left_out",
            message=f"{dropped.name} is left out as time does not permit: {dropped.why}{instead}",
        )
