"""The rest of a day from an instant on as a scheduling problem: what is done stays, what is begun goes on."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from armcarry.files.documents.carries import FREE_KINDS
from armcarry.files.documents.steps import Step
from armcarry.files.documents.vary import Varying
from armcarry.ledger.of_items import bolts_lacking
from armcarry.scheduling.problem import Job, Limit, OneOf, Requires, Statement, Supply, Way, Windows
from armcarry.scheduling.things import Things, left_short, rail_free
from armcarry.scheduling.to_come import ToCome
from armcarry.scheduling.turn import Aim
from armcarry.timeline.acts import MOVES_ARM, pages_before, pages_of
from armcarry.timeline.task import Task

#: what a step is worth that must be done, where time does not permit all
MUST_WORTH = 10.0
#: kinds that bring somebody home, which whoever is unable to work still does
_HOMEWARD = ("translate", "leave_restraint", "carry", "hatch", "move_base", "enter_restraint", "wait_for")


@dataclass(frozen=True, eq=False)
class Rest(ToCome):
    """The rest of a day.

    Attributes:
        aim: what the rest is for; within: whether limits must hold.
        hands_over: whether others may do what somebody cannot who is unable to.
        safe: whether everything is left as hardware may be left.
    """

    aim: Aim = "all"
    within: bool = True
    hands_over: bool = True
    safe: bool = True

    @cached_property
    def optional(self) -> frozenset[str]:
        """Steps that may be left out from now on."""
        kept = {name for name in self.tasks if self._must(name)}
        return frozenset(set(self.tasks) - kept)

    def _must(self, name: str) -> bool:
        """Tell whether a step is done whatever the rest is for."""
        step = self.plan.step(name)
        if self._stopped(name):  # another makes safe what is not in hand
            return name in self.half_done - self.in_hand and not self.impossible(name)
        closes = step.hatch is not None and step.hatch.make == "closed"
        return closes or name in self.under_way or name in self.half_done

    def _stopped(self, name: str) -> bool:
        """Tell whether a step may not be possible any more: who does it is unable to, or what it is about failed."""
        step = self.plan.step(name)
        able = name in self.still or step.kind in _HOMEWARD or not set(step.actors) & set(self.turn.unable)
        return name not in self.under_way and (not able or bool(self.broken & set(self.found_all[name].touches)))

    def impossible(self, name: str) -> bool:
        """Tell whether nobody who is able to may do a step, or what it is about failed."""
        step = self.plan.step(name)
        able = set(self.candidates(step)) - set(self.turn.unable)
        unable = bool(set(step.actors) & set(self.turn.unable)) and not able and step.kind not in _HOMEWARD
        return self._stopped(name) and (unable or not set(step.actors) & set(self.turn.unable))

    def ends_s(self, who: str) -> Mapping[str, float] | None:
        """Return the steps after which somebody can go home, and how long that takes."""
        home, found = self.homes[who], dict[str, float]()
        for name in self.tasks:
            if who in self.candidates(self.plan.step(name)):
                left = self.found[name].left_by(who)
                way_s = 0.0 if left == home else None
                if way_s is None and left.known and home.known:
                    way_s = self.travel.between_s(who, left.name, home.name)
                if way_s is not None:
                    found[name] = way_s
        return found

    @cached_property
    def groups(self) -> tuple[Varying, ...]:
        """What varies, and every step of somebody who is unable to work on, which others may do."""
        kept = []
        for one in self.plan.day.may_vary:
            steps = [name for name in one.steps if name in self.tasks and name not in self.under_way]
            if steps and steps == one.steps:  # a block that was begun is ended by whoever began it
                kept.append(one)
        named = {name for one in kept for name in one.steps}
        for name in self.tasks:
            step = self.plan.step(name)
            if self._handed(step) and name not in named:
                others = [who for who in self.scene.loaded.crew if who not in self.turn.unable]
                kept.append(Varying(steps=[name], may_move=True, either=others))
        return tuple(kept)

    def _handed(self, step: Step) -> bool:
        able = [who for who in self.scene.loaded.crew if who not in self.turn.unable]
        gone = set(step.actors) & set(self.turn.unable) if step.name not in self.still else set()
        rides = any(place.rides for place in self.found[step.name].needs.values())
        return (self.hands_over and bool(gone) and bool(able) and len(step.actors) == 1 and step.kind not in _HOMEWARD
                and step.name not in self.under_way and (step.at is not None or not rides))  # fmt: skip

    def candidates(self, step: Step) -> tuple[str, ...]:
        """Return who may do a step: none who is unable to, where another may."""
        people = super().candidates(step)
        group = self.group_of.get(step.name)
        shared = group is not None and bool(group.either)
        if step.name in self.under_way or step.name in self.still or (step.kind in _HOMEWARD and not shared):
            return people
        able = tuple(who for who in people if who not in self.turn.unable)
        return able or people

    def anywhere(self, name: str) -> bool:
        """Tell whether an arm step may begin wherever the arm is: its first move goes freely, or the base rolls."""
        step = self.plan.step(name)
        return step.move_base is not None or (step.carry is not None and self._free(step.carry))

    def broken_off(self, steps: Sequence[str]) -> bool:
        """Tell whether what one written step became may end early: all come home, or a step cannot be done."""
        return self.aim == "home" or any(self.impossible(name) for name in steps)

    def _free(self, carry: str) -> bool:
        by_name = {one.name: one for one in self.scene.loaded.scenario.carries}
        found = by_name[carry]
        while found.repeat_of is not None:
            found = by_name[found.repeat_of]
        return bool(found.moves) and found.moves[0].kind in FREE_KINDS

    def _job(self, task: Task) -> Job:
        made = super()._job(task)
        step = self.plan.step(task.name)
        if task.name in self.under_way:
            made = replace(made, ways=(Way(self.takes_s(task.name), tuple(step.actors)),))
        permitted_worth = made.worth if self.aim == "worth" else 0.0
        kept = permitted_worth if step.as_time_permits is not None else MUST_WORTH
        worth = -1.0 if self.aim == "home" else kept
        return replace(made, worth=worth, with_job=None)

    def counted(self, statement: Statement) -> Statement | None:
        """Return a statement of the day with its instants counted from now; None where it does not count any more."""
        at_s = self.turn.at_s
        if isinstance(statement, OneOf):
            begun = any(set(statement.jobs) <= set(group) and set(group) & self.over for group in self.plan.day.any_of)
            return None if begun or self.aim == "home" else statement
        if isinstance(statement, Windows):
            if statement.job in self.under_way:
                return None  # it was begun: nothing asks when any more
            spans = tuple((max(begin - at_s, 0.0), end - at_s) for begin, end in statement.spans if end > at_s)
            return replace(statement, spans=spans or ((0.0, 0.0),))
        if isinstance(statement, Supply):
            return statement if self.within else None
        if isinstance(statement, Limit):
            if not self.within:
                return None
            since = next((limit.since for limit in self.plan.limits if limit.lasts_s == statement.lasts_s
                          and limit.since in self.over), None)  # fmt: skip
            begun_s = self.plan.schedule.slot(since).start_s if since is not None else 0.0
            if statement.since is not None:
                return statement
            return replace(statement, lasts_s=statement.lasts_s - (at_s - begun_s))
        return statement

    def more(self) -> Iterator[Statement]:
        """Yield what must be done for what is done: ways of the arm, things not left half done, points of no return."""
        for name in self.under_way:
            yield Windows(name, ((0.0, self.takes_s(name) + 0.01),), f"{self.where(name)}{name} was begun")
        for name in self.tasks:
            if self.impossible(name):
                yield Windows(name, (), f"{self.where(name)}{name} cannot be done any more")
        yield from self._arm()
        yield from self.things.required(self.where)
        yield from rail_free([found.step for found in self.found.values()], self.where)
        for step in self.plan.day.steps:
            until = step.no_return_until
            if until is not None and until in self.tasks:
                first = step.name if step.name in self.tasks and step.name not in self.under_way else until
                yield Requires(first, (until,), f"{self.where(step.name)}no return before {until}")
                if first == until:
                    yield Requires(self.under_way[0] if self.under_way else until, (until,))

    def _arm(self) -> Iterator[Statement]:
        """Yield which step brings the arm to where another needs it."""
        before, base = "", ""
        for name, found in self.found.items():
            step = found.step
            needs = [before] if before and not self.anywhere(name) else []
            if step.kind in MOVES_ARM and step.carry is not None and self.anywhere(name) and base:
                needs = [base]
            rides = any(place.rides for place in found.needs.values())
            moves = step.kind in MOVES_ARM
            if needs and (moves or rides or step.kind in ("enter_restraint", "leave_restraint")):
                yield Requires(name, tuple(needs), f"{self.where(name)}the arm is there by {needs[0]}")
            if moves:
                before = name
                base = name if step.move_base is not None else base

    @cached_property
    def things(self) -> Things:
        """What is done to things, step by step, those that have ended too."""
        names = [name for name in self._ordered if name in self.over or name in self.tasks]
        steps = {name: self.plan.step(name) for name in names}
        pages = pages_before(self.scene.loaded, list(steps.values()))
        touched = {name: self.found_all[name].touches for name in names}
        looked_at = set(self.plan.ledger.start.states) - self.broken
        return Things(pages, touched, frozenset(self.tasks), looked_at, steps, self.plan.ledger.end, self.safe)

    @cached_property
    def still(self) -> frozenset[str]:
        """Steps that somebody who is unable to must still do: what is in hand is not left half done, else it drifts."""
        steps, gone = [self.plan.step(name) for name in self.in_hand], set(self.turn.unable)
        return frozenset(one.name for one in steps if gone & set(one.actors) and one.kind not in _HOMEWARD)

    @property
    def half_done(self) -> frozenset[str]:
        """Steps to come without which a thing would be left half done now."""
        return self.things.half_done

    @cached_property
    def in_hand(self) -> frozenset[str]:
        """Those of them without which it would drift, or hang on hands or a tether."""
        return replace(self.things, safe=False).half_done

    def tightens_more(self, done: Collection[str]) -> tuple[dict[str, int], dict[str, str]]:
        """Return step -> how many more bolts it tightens, so that nothing is left with too few of them.

        Bolted so far, a thing need not be let go of: the second answer is step -> why it is left out for that.

        Args:
            done: the steps that are done, before the instant too.
        """
        steps = [self.plan.step(name) for name in self._ordered if name in done]
        short = left_short(steps, pages_of(self.scene.loaded, steps)[1], self.tasks) if self.safe else {}
        planned = self.plan.ledger.end
        more = {name: count for name, count in short.items()
                if not bolts_lacking(planned, str(self.plan.step(name).item))}  # fmt: skip
        names, needless = [step.name for step in steps], dict[str, str]()
        for name in more:
            behind = steps[names.index(name) + 1 :]
            needless |= {one.name: f"{name} makes it fast" for one in behind
                         if one.let_go is not None and one.item == self.plan.step(name).item}  # fmt: skip
        return more, needless
