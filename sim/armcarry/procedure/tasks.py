"""Making the procedure of a run: of the steps of its day, or of the moves of its carries where there is no day."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import count

from armcarry.files.documents.base import OwnWords
from armcarry.files.documents.carries import Move
from armcarry.files.documents.steps import ARM, Step
from armcarry.files.loaded import LoadedScenario
from armcarry.ledger.state import INSIDE as BEHIND_HATCH
from armcarry.ledger.state import Page
from armcarry.procedure.model import ALL, INSIDE, Call, LeftOut, Procedure, Task, role
from armcarry.procedure.riding import legs, told
from armcarry.procedure.wording import Asked, Said, bolt_facts, capital, place_words, said_of, sentence
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.words import plain
from armcarry.timeline.plan import DayPlan
from armcarry.timeline.schedule import Slot
from armcarry.timeline.variants import repeated

#: instants nearer than this are the same, s
_SAME_S = 1e-6
#: kinds of moves in which the arm goes somewhere
FLOWN = ("to_joints", "to_pose", "to_worksite", "line", "one_joint")


def procedure(record: Record, findings: Iterable[Finding] = (), since_s: float = 0.0) -> Procedure:
    """Return what everybody does and says in a run.

    Args:
        findings: of its checks; a task tells which of them fail in it.
        since_s: what has ended by this instant is left out, and where everything is by then is told.
    """
    return _Maker(record, findings, since_s).whole()


class _Maker:
    """Makes the tasks of one run."""

    def __init__(self, record: Record, findings: Iterable[Finding], since_s: float = 0.0) -> None:
        self.record, self.loaded, self.since_s = record, record.scene.loaded, since_s
        self.script = {
            (carry.name, number): move
            for carry in repeated(record.scene, self.loaded.scenario.carries)
            for number, move in enumerate(carry.moves, start=1)
        }
        self.fails = _failing(findings)
        day = self.loaded.scenario.day
        others = [] if day is None else day.others
        self.reader = INSIDE
        self.actors = (*self.loaded.crew, ARM, *others, *(() if INSIDE in others else (INSIDE,)))

    def whole(self) -> Procedure:
        plan, script = self.record.plan, self.loaded.scenario
        every = self._of_carries(count(1)) if plan is None else self._of_day(plan)
        tasks = [task for task in every if task.end_s > self.since_s or self.since_s <= 0.0]
        doing = {actor for task in tasks for actor in (*task.actors, *task.riders)} | {self.reader}
        return Procedure(
            title=script.title, purpose=script.purpose, reader=self.reader, tasks=tuple(tasks),
            actors=tuple(actor for actor in self.actors if actor in doing),
            left_out=() if plan is None else tuple(_left_out(plan)),
            day_start_s=None if script.day is None else script.day.start,
            reaction_s=self.loaded.arm.document.reaction_time, start=self._start(),
        )

    def _start(self) -> tuple[tuple[str, str], ...]:
        """Return where everybody and everything is at the start, with the fasteners that are open."""
        ledger, rows = self.record.ledger, list[tuple[str, str]]()
        page = ledger.start if self.since_s <= 0.0 else ledger.at(self.since_s)
        for name, person in page.people.items():
            if not person.away:
                rows.append((plain(name), _whereabouts(self.loaded, page, name)))
        for name, state in page.states.items():
            where = f"in {place_words(self.loaded, state.seat)}" if state.where == "seat" else state.where
            if state.where == "held":
                where = f"held by {', '.join(sorted(map(plain, state.hands)))}"
            made = [f"{plain(key)} {value}" for key, value in state.fasteners]
            rows.append((plain(name), ", ".join([where, *made])))
        return tuple(rows)

    # -- a day -------------------------------------------------------------------------------------------------

    def _of_day(self, plan: DayPlan) -> list[Task]:
        slots = sorted(plan.schedule.slots, key=lambda slot: (slot.start_s, slot.end_s))
        return [self._step(plan, slot, str(number)) for number, slot in enumerate(slots, start=1)]

    def _step(self, plan: DayPlan, slot: Slot, number: str) -> Task:
        step, ledger = plan.step(slot.name), self.record.ledger
        before, after = ledger.at(slot.start_s), ledger.at(slot.end_s)
        asked = Asked(step, self.loaded, before, after)
        said = said_of(asked)
        riders = tuple(who for who in before.riders() if ARM in step.actors)
        moves = self._moves(step, slot, number, riders)
        title = capital(step.title or plain(step.name))
        broken = [f"{capital(item.message)}." for item in ledger.violations if item.step == step.name]
        whole = Task(
            number=number, name=step.name, kind=step.kind, actors=tuple(step.actors), start_s=slot.start_s,
            end_s=slot.end_s, title=title, place=self._place(step, before), do=() if moves else (said.do,),
            facts=bolt_facts(asked),
            see=step.see or ("" if moves else said.see), cautions=(*_own(step.caution), *_loose(asked), *broken),
            if_not=step.if_not or _instead(plan, step), note=_remark(step),
            calls=() if moves else self._calls(step, said, title, riders),
            moves=moves, riders=riders, item=step.item or "",
            site=step.at if step.at in self.loaded.platform.document.worksites else "",
            fails=self.fails.get(("step", step.name), ()), optional=step.as_time_permits is not None,
        )
        return whole if len(moves) != 1 else _one(whole, moves[0])

    def _place(self, step: Step, before: Page) -> str:
        if step.at is not None:
            return place_words(self.loaded, step.at)
        where = {_whereabouts(self.loaded, before, who) for who in step.actors if who in before.people}
        return ", ".join(sorted(where)) if ARM not in step.actors else ""

    def _calls(self, step: Step, said: Said, title: str, riders: Sequence[str]) -> tuple[Call, ...]:
        """Return the calls of a step: who reads aloud begins it, whoever does it says what came of it."""
        doers = [who for who in step.actors if who in self.actors]
        names = _and([role(who) for who in doers if who != self.reader])
        begin = step.say.strip() if step.say else f"{names}: {title[:1].lower()}{title[1:]}."
        calls = [Call(self.reader, who, begin, True) for who in doers[:1] if who != self.reader]
        if len(doers) > 1 and calls:
            calls = [Call(self.reader, ALL, begin, True)]
        lead = ARM if ARM in doers else next(iter(doers), self.reader)
        calls += [Call(who, ARM, "Ready to ride.", True) for who in riders if ARM in doers]
        calls.append(Call(lead, ALL, said.done, False))
        return tuple(calls)

    # -- moves of the arm --------------------------------------------------------------------------------------

    def _moves(self, step: Step, slot: Slot, number: str, riders: Sequence[str]) -> tuple[Task, ...]:
        if step.carry is None:
            return ()
        since_s, until_s = slot.start_s - _SAME_S, slot.end_s + _SAME_S
        inside = [
            move for move in self.record.moves
            if move.carry == step.carry and since_s <= move.start_s and move.end_s <= until_s
        ]
        return tuple(self._move(move, f"{number}.{k}", riders) for k, move in enumerate(inside, start=1))

    def _of_carries(self, numbers: Iterable[int]) -> list[Task]:
        ledger, tasks = self.record.ledger, []
        for move, number in zip(self.record.moves, numbers, strict=False):
            riders = ledger.at(move.start_s).riders()
            tasks.append(self._move(move, str(number), riders))
        return tasks

    def _move(self, move: MoveSpan, number: str, riders: Sequence[str]) -> Task:
        own = self.script.get((move.carry, move.number))
        flown, title = move.kind in FLOWN, capital(_named(move))
        actors = self._hands(move, riders)
        do, see, done = self._move_words(move, own)
        ways = [(who, legs(self.record, who, move.start_s, move.end_s)) for who in riders if flown]
        return Task(
            number=number, name=move.title, kind=move.kind, actors=actors, start_s=move.start_s, end_s=move.end_s,
            title=title, do=do, see=(own.see if own is not None and own.see else see),
            cautions=() if own is None else _own(own.caution), if_not="" if own is None else own.if_not,
            note="" if own is None else own.note or "", riders=tuple(riders) if ARM in actors else (),
            rides=tuple((who, told(found)) for who, found in ways if found),
            calls=self._move_calls(move, actors, riders, done) if flown or actors != (ARM,) else (),
            item=_thing(own), fails=self.fails.get(("move", move.title), ()),
            place_in_script=(move.carry, move.number),
        )

    def _hands(self, move: MoveSpan, riders: Sequence[str]) -> tuple[str, ...]:
        """Return who does a move: the arm, whoever takes or leaves something, and who works while the arm stands."""
        if move.kind in ("attach", "detach"):
            acts = [act for act in self.record.ledger.acts if act.time_s == move.start_s and act.item]
            return tuple(dict.fromkeys(who for act in acts for who in act.actors)) or (ARM,)
        if move.kind == "hold" and riders:
            return (*riders, ARM)
        if move.kind == "posture":
            own = self.script.get((move.carry, move.number))
            return (ARM,) if own is None or own.posture is None else (own.posture.who,)
        return (ARM,)

    def _move_words(self, move: MoveSpan, own: Move | None) -> tuple[tuple[str, ...], str, str]:
        """Return what is done in a move, what is seen then, and what is said when it is done."""
        if move.kind in FLOWN:
            return (), "The arm stands.", "Arm stands."
        what = _named(move)
        if own is not None and own.attach is not None:
            return (f"Take {plain(own.attach.what)}: {_at(own.attach.to)}.",), "", f"{capital(what)}."
        if own is not None and own.detach is not None:
            where = place_words(self.loaded, own.detach.to)
            return (f"Leave {plain(own.detach.what)} in {where}.",), "", f"{capital(what)}."
        still = "The arm stands still." if move.kind == "hold" else ""
        done = f"{capital(what)}." if what.endswith("done") else f"{capital(what)}: done."
        return tuple(filter(None, (sentence(what), still))), "", done

    def _move_calls(
        self, move: MoveSpan, actors: Sequence[str], riders: Sequence[str], done: str
    ) -> tuple[Call, ...]:
        if move.kind in FLOWN:
            ready = tuple(Call(rider, ARM, "Ready.", True) for rider in riders)
            return (*ready, Call(ARM, ALL, f"Arm moves: {sentence(_named(move))}", True), Call(ARM, ALL, done, False))
        lead = next((who for who in actors if who != ARM), ARM)
        return (Call(self.reader, lead, sentence(_named(move)), True), Call(lead, ALL, done, False))


def _one(step: Task, move: Task) -> Task:
    """Return a carry of one move as one task: the step with what its move says."""
    return replace(
        step, moves=(), do=move.do, rides=move.rides, calls=move.calls, see=step.see or move.see,
        cautions=(*step.cautions, *move.cautions), if_not=step.if_not or move.if_not, note=step.note or move.note,
        fails=tuple(dict.fromkeys((*step.fails, *move.fails))), place_in_script=move.place_in_script,
    )


def _named(move: MoveSpan) -> str:
    """Return a move as it is called: its caption, else its name, else what it does."""
    return move.say.rstrip(".") or plain(move.name) or move.words or plain(move.kind)


def _thing(own: Move | None) -> str:
    part = None if own is None else own.attach or own.detach
    return "" if part is None else part.what


def _at(link: str) -> str:
    holder, _, place = link.partition("/")
    return f"in the {plain(place)} of {plain(holder)}" if place == "hands" else plain(link)


def _and(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} and {words[-1]}" if words else "all"


def _own(words: str) -> tuple[str, ...]:
    return tuple(line.strip() for line in words.splitlines() if line.strip())


def _remark(step: OwnWords) -> str:
    """Return the remark beside a step; of a step that is nothing but its note, that is what is done."""
    return (step.note or "") if not isinstance(step, Step) or step.kind != "note" else ""


def _whereabouts(loaded: LoadedScenario, page: Page, who: str) -> str:
    person = page.people[who]
    if person.restraint:
        return "on the arm" if page.on_arm(person.restraint) else f"in the {plain(person.restraint)}"
    return "inside" if person.place == BEHIND_HATCH else place_words(loaded, person.place)


def _loose(asked: Asked) -> tuple[str, ...]:
    """Return what holds an item from here on, where a step takes its last bolt or connector away."""
    was, now = asked.before.states.get(asked.step.item or ""), asked.after.states.get(asked.step.item or "")
    if was is None or now is None or now.where != "seat":
        return ()
    if not (was.bolts_tight or was.connectors_joined) or now.bolts_tight or now.connectors_joined:
        return ()
    holds = [f"the hand of {plain(who)}" for who in sorted(now.hands)]
    holds += [f"its tether to {plain(to)}" for to in sorted(now.tethers)]
    return (f"From here on {asked.item} is held only by {_and(holds) if holds else 'the shape of its seat'}.",)


def _instead(plan: DayPlan, step: Step) -> str:
    """Return what to do where a step fails: its fallback, or nothing of its own."""
    if step.fallback is None:
        return "Leave it out." if step.as_time_permits is not None else ""
    other = plan.step(step.fallback)
    what = f"{other.title or plain(other.name)}{f': {other.note}' if other.note else ''}"
    return f"Do this instead: {what}."


def _left_out(plan: DayPlan) -> Iterable[LeftOut]:
    done = plan.schedule.tasks_done()
    fallback_of = {step.fallback: step for step in plan.day.steps if step.fallback is not None}
    for item in plan.schedule.dropped:
        step = plan.step(item.name)
        yield LeftOut(capital(step.title or plain(step.name)), item.why)
    dropped = {item.name for item in plan.schedule.dropped}
    for step in plan.day.steps:
        if step.name not in done and step.name not in dropped and step.name in fallback_of:
            first = fallback_of[step.name]
            yield LeftOut(
                capital(step.title or plain(step.name)), f"done only if '{first.title or plain(first.name)}' fails"
            )


def _failing(findings: Iterable[Finding]) -> Mapping[tuple[str, str], tuple[str, ...]]:
    """Return step or move -> checks that fail because of it, each once."""
    found: dict[tuple[str, str], dict[str, None]] = {}
    for finding in findings:
        if finding.verdict is Verdict.FAIL and finding.cause is not None:
            found.setdefault((str(finding.cause.kind), finding.cause.name), {})[finding.check] = None
    return {key: tuple(checks) for key, checks in found.items()}


def planned(task: Task, day_start_s: float | None = None) -> str:
    """Return when a task is planned: from and to, and the time of day where it is known."""
    if task.end_s <= task.start_s:
        words = clock(task.start_s, 0)
    else:
        words = f"{clock(task.start_s, 0)} to {clock(task.end_s, 0)}"
    return words if not day_start_s else f"{words} ({clock(task.start_s + day_start_s, 0)})"
