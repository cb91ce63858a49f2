"""A way on as it would be flown: its motions, the clearances of what is still to come, and the way home meanwhile."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np

from armcarry.checks import registry
from armcarry.checks.clearance import too_near
from armcarry.checks.guarded import judged
from armcarry.errors import ArmcarryError
from armcarry.files.documents.day import Day
from armcarry.files.found import with_waits, with_ways
from armcarry.files.load import load_scenario
from armcarry.planning.clock import linked
from armcarry.planning.found_ways import Finder
from armcarry.planning.waits import find_waits
from armcarry.quantities import clock, rounded_down, show
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import Record
from armcarry.rehearsal import rehearse
from armcarry.scene.build import Scene, build_scene
from armcarry.scheduling.onward import Onward, as_text
from armcarry.timeline.day_run import on_the_clock, settled_day
from armcarry.timeline.plan import flown_s, plan_day
from armcarry.timeline.tanks import curves_of
from armcarry.whatif.stranding import ways_back

#: what is judged of a way on, by the code of a rehearsal; what would cost seconds a way more (corridor, light, locked
#: joint, runaway, seen), and the chance of a day that is late anyway (schedule), is for the rehearsal of its script
JUDGED = (
    "clearance", "reach", "grasp", "custody", "arm_safe", "tethers", "rooms", "relaxation", "work_reach", "stranded",
    "joint_margin", "joint_rate", "tip_speed", "held_view", "near_people", "stopping", "slowing", "singularity",
    "budget",
)  # fmt: skip
#: failures that are told of one way on
_TOLD = 5


@dataclass(frozen=True)
class Margin:
    """What is least left of something that runs out, the way home from there on counted, and when."""

    of: str
    who: str
    left_s: float
    time_s: float


@dataclass(frozen=True)
class Proof:
    """What was found of a way on when it was flown from the instant on.

    Attributes:
        clearance, way_home: verdicts of these two.
        tightest: the pair that matters most, in words.
        failed: what fails and did not in the run, a sentence each.
        unsafe: what is left as hardware may not be left, a sentence each: it is to be made safe before all leave.
        known: how much fails as it did in the run.
        margins: what is least left of each consumable at any instant, the way home counted.
        ways: ways of the arm that were looked for, in words; waits: links that keep people clear of the arm.
        end_s: when it ends as flown.
        judged: the checks that were asked; not_assessed: all others, by name.
    """

    clearance: Verdict
    way_home: Verdict
    tightest: str
    failed: tuple[str, ...]
    known: int
    margins: tuple[Margin, ...]
    ways: tuple[str, ...]
    waits: tuple[str, ...]
    end_s: float
    judged: tuple[str, ...] = JUDGED
    not_assessed: tuple[str, ...] = ()
    unsafe: tuple[str, ...] = ()

    @property
    def holds(self) -> bool:
        """Whether it was judged, and nothing fails that did not in the run."""
        kept = not self.failed and not self.unsafe
        return self.clearance is Verdict.PASS and self.way_home is not Verdict.FAIL and kept

    @property
    def against(self) -> str:
        """What speaks against it in a few words; empty where it holds."""
        if self.holds:
            return ""
        if self.failed:
            return f"{self.failed[0]}{' (and more)' if len(self.failed) > 1 else ''}"
        return f"to be made safe: {self.unsafe[0]}" if self.unsafe else "it was not judged to its end"

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        return {
            "clearance": str(self.clearance), "way_home": str(self.way_home), "tightest": self.tightest,
            "failed": list(self.failed), "failed_as_in_the_run": self.known, "flown_end_s": round(self.end_s, 3),
            "least_left_s": [{"of": one.of, "who": one.who, "left_s": round(one.left_s, 3),
                              "at_s": round(one.time_s, 3)} for one in self.margins],
            "ways_found": list(self.ways), "waits_put_in": list(self.waits), "judged": list(self.judged),
            "not_assessed": list(self.not_assessed), "left_unsafe": list(self.unsafe),
        }  # fmt: skip


@dataclass(frozen=True, eq=False)
class Flown:
    """A way on that was flown; what was found of it is worked out when it is asked for.

    Attributes:
        text: of its script.
        record: from the instant on.
        onward: as it was to be flown.
        known: what was found of the run.
        ways: ways of the arm that were looked for, in words; waits: links that keep people clear of the arm.
    """

    text: str
    record: Record
    onward: Onward
    known: Sequence[Finding]
    ways: tuple[str, ...] = ()
    waits: tuple[str, ...] = ()

    @cached_property
    def near(self) -> tuple[Finding, ...]:
        """What comes too near and did not in the run: known before anything else is judged."""
        return tuple(_new(too_near(self.record.table.near), self.known))

    @cached_property
    def findings(self) -> tuple[Finding, ...]:
        """What was found from the instant on, by all checks that are asked."""
        return _judged(self.record, self.onward.turn.at_s)

    @cached_property
    def new(self) -> tuple[Finding, ...]:
        """What fails and did not in the run."""
        return tuple(_new(self.findings, self.known))

    @cached_property
    def proof(self) -> Proof:
        """What is told of it."""
        return _proof(self)


def fly(onward: Onward, known: Sequence[Finding] = ()) -> Flown:
    """Fly a way on and judge it from its instant on.

    Where the arm begins something elsewhere than in the run, a way for it is looked for. Where people afoot would meet
    the arm then, links are looked for that keep them apart, and it is flown once more.

    Args:
        onward: the way on.
        known: what was found of the run; what fails there too is not told anew.

    Raises:
        ArmcarryError: its script cannot be read or flown at all.
    """
    data, slip, failed = onward.data(), _slip(onward), _failed(onward)
    scene = build_scene(load_scenario(onward.plan.scene.loaded.path, text=as_text(data).encode()))
    finder = Finder(scene, _quiet, quick=True)
    settled = settled_day(scene, _quiet, slip=slip, failed=failed, ready=finder.ready)
    if finder.ways:
        data = {**data, "carries": with_ways(data["carries"], finder.ways)}
    links, waits = find_waits(scene, _quiet, settled, onward.turn.at_s)
    walk, plan = settled
    if links:
        waits_in = [(link["step"], link["after"]) for link in links]
        data, day = with_waits(data, waits_in), linked(plan.day, waits_in)
        scene = _with_day(scene, day)
        plan = plan_day(scene, day, flown_s(scene, [m for run in walk.carries.values() for m in run.moves]),
                        slip=slip, failed=failed)  # fmt: skip
    record = rehearse(scene, slip=slip, failed=failed, run=on_the_clock(walk, plan), since_s=onward.turn.at_s)
    return Flown(as_text(data), record, onward, known, tuple(finder.told), tuple(waits))


def _quiet(words: str, share: float) -> None:
    """Tell nobody: other ways are flown beside this one."""


def _slip(onward: Onward) -> dict[str, float]:
    plan, names = onward.plan, set(onward.kept)
    return {name: plan.slip.get(name, 0.0) + onward.turn.late_s.get(name, 0.0)
            for name in (*plan.slip, *onward.turn.late_s) if name in names}  # fmt: skip


def _failed(onward: Onward) -> tuple[str, ...]:
    names = set(onward.kept)
    return tuple(name for name in dict.fromkeys((*onward.plan.failed, *onward.turn.failed)) if name in names)


def _judged(record: Record, since_s: float) -> tuple[Finding, ...]:
    checks, settings = registry(), record.scene.loaded.rules.checks
    findings = [one for name in JUDGED for one in judged(name, checks[name], record, settings.get(name))]
    # how something is left is told of the last act on it, however long ago that was
    return tuple(one for one in findings if one.end_s >= since_s or one.end_s <= 0.0 or one.check == "custody")


def _key(finding: Finding) -> tuple[str, str, str]:
    return finding.check, finding.subject, finding.other


def _new(findings: Iterable[Finding], known: Sequence[Finding]) -> list[Finding]:
    """Return what fails and did not in the run."""
    before = {_key(one) for one in known if one.verdict is Verdict.FAIL}
    return [one for one in findings if one.verdict is Verdict.FAIL and _key(one) not in before]


def _with_day(scene: Scene, day: Day) -> Scene:
    scenario = scene.loaded.scenario.model_copy(update={"day": day})
    return replace(scene, loaded=replace(scene.loaded, scenario=scenario))


def _verdict(findings: Iterable[Finding], new: Collection[Finding], check: str) -> Verdict:
    """Return the verdict of a check but for what fails as in the run; not assessed where nothing was judged."""
    own = [one for one in findings if one.check == check]
    if any(one.check == check for one in new):
        return Verdict.FAIL
    return Verdict.PASS if any(one.verdict is not Verdict.NOT_ASSESSED for one in own) else Verdict.NOT_ASSESSED


def _proof(flown: Flown) -> Proof:
    record, findings, new = flown.record, flown.findings, flown.new
    clearance, home = _verdict(findings, new, "clearance"), _verdict(findings, new, "stranded")
    if record.shortfalls:  # it ends before what cannot be flown, and nothing is known of what would follow
        clearance = home = Verdict.NOT_ASSESSED if clearance is not Verdict.FAIL else clearance
    failing = sum(one.verdict is Verdict.FAIL for one in findings)
    unsafe = [one for one in new if one.check == "custody"]
    return Proof(
        clearance, home, _tightest(record), tuple(_told([one for one in new if one.check != "custody"])),
        failing - len(new), tuple(_margins(flown.onward, record)), flown.ways, flown.waits, record.duration_s,
        not_assessed=tuple(sorted(set(registry()) - set(JUDGED))), unsafe=tuple(_told(unsafe)),
    )  # fmt: skip


def _told(new: Sequence[Finding]) -> Iterator[str]:
    """Yield what fails, a sentence for each check and two things: the worst of their bodies."""
    seen: dict[tuple[str, ...], list[Finding]] = {}
    for one in new:
        things = sorted(name.split("/", 1)[0] for name in (one.subject, one.other))
        seen.setdefault((one.check, *things), []).append(one)
    for first, *more in list(seen.values())[:_TOLD]:
        yield f"{first.message}{f' (and {len(more)} more of these two)' if more else ''}"
    if len(seen) > _TOLD:
        yield f"{len(seen) - _TOLD} more"


def _tightest(record: Record) -> str:
    row = record.tightest
    if row is None or row.required_m is None:
        return ""
    least, asked = show(max(rounded_down(row.lower_m), 0.0), "length"), show(row.required_m, "length")
    return f"{row.body_a} to {row.body_b}, {least} of {asked} at {clock(row.time_s)}"


def _margins(onward: Onward, record: Record) -> Iterable[Margin]:
    """Yield what is least left of each consumable at any instant to come, counting the way home from there."""
    plan, back = record.plan, {item.crew: item for item in ways_back(record)}
    curves = {curve.limit.name: curve for curve in curves_of(plan.limits, plan.schedule)} if plan is not None else {}
    for limit in plan.limits if plan is not None else ():
        begins = 0.0
        if plan is not None and limit.since is not None and limit.since in plan.schedule.tasks_done():
            begins = plan.schedule.slot(limit.since).start_s
        found = []
        for who in limit.actors:
            item = back.get(who)
            if item is None or not len(item.time_s):
                continue
            if limit.name in curves:
                left = curves[limit.name].left_with(item.time_s, item.return_time_s)
            else:
                left = begins + limit.lasts_s - item.time_s - item.return_time_s
            k = int(np.argmin(np.where(item.time_s >= onward.turn.at_s, left, np.inf)))
            found.append(Margin(limit.name, who, float(left[k]), float(item.time_s[k])))
        if found:
            yield min(found, key=lambda one: one.left_s)


def why_not_flown(error: ArmcarryError) -> str:
    """Return why a way on could not be flown, on a line."""
    return " ".join(str(error).split())
