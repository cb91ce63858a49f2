"""Who does what when, as lanes of bars: by moves and custody, or by the steps of the day; no Qt here."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from functools import partial

from armcarry.record.record import MoveSpan, Record
from armcarry.scene.build import ARM
from armcarry.scene.tree import Tree
from armcarry.scene.words import plain
from armcarry.views.hooked import hands_words, hooked_words


@dataclass(frozen=True)
class Bar:
    """A stretch of a lane, seconds of the run.

    Attributes:
        words, more: what is written into it, and the tip.
        kind: ``move``, ``still``, ``carried``, ``parked`` or ``critical``; decides the look.
    """

    start_s: float
    end_s: float
    words: str
    kind: str
    more: str = ""


@dataclass(frozen=True)
class Lane:
    """Everything one actor does."""

    name: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Lanes:
    """Lanes from start_s to end_s, seconds of the run."""

    title: str
    start_s: float
    end_s: float
    lanes: tuple[Lane, ...]


_STILL = ("hold", "attach", "detach", "posture", "appendage")


def run_lanes(record: Record) -> Lanes:
    """Return the lanes of a run: the arm by its moves, everyone and everything else by what it hangs from."""
    start, end = record.motion.start_s, record.motion.end_s
    arm = tuple(
        Bar(move.start_s, move.end_s, move.title.replace("_", " "), "still" if move.kind in _STILL else "move",
            _move_words(move))
        for move in record.moves
    )
    lanes = [Lane(ARM, arm)]
    for name in (*record.scene.loaded.crew, *record.scene.loaded.hardware):
        bars = _custody(record, name)
        # hardware that stays in its place all along says nothing
        if name in record.scene.loaded.crew or len(bars) > 1 or bars[0].kind == "carried":
            lanes.append(Lane(plain(name), bars))
    return Lanes("moves and what is held", start, end, tuple(lanes))


def _move_words(move: MoveSpan) -> str:
    said = f"“{move.say}”" if move.say else ""
    return "\n".join(words for words in (move.title.replace("_", " "), move.words, said) if words)


def _custody(record: Record, name: str) -> tuple[Bar, ...]:
    """Return what a thing hangs from over the run, joined where nothing changes."""
    bars: list[Bar] = []
    for phase in record.phases:
        words = _held_by(record, phase.tree, name)
        kind = "carried" if phase.tree.hangs_from(name, ARM) else "parked"
        if bars and (bars[-1].words, bars[-1].kind) == (words, kind):
            first = bars.pop()
            bars.append(Bar(first.start_s, phase.end_s, words, kind, first.more))
        else:
            bars.append(Bar(phase.start_s, phase.end_s, words, kind, f"{plain(name)}: {words}"))
    return tuple(bars)


def _held_by(record: Record, tree: Tree, name: str) -> str:
    parent = tree.mounting(name).parent
    instance, _, frame = parent.partition("/")
    if instance in record.scene.loaded.crew:
        hands = record.scene.loaded.crew[instance].document.hands
        return f"in the hands of {instance}" if frame == hands else f"trails behind {instance}"
    if instance == ARM or (instance in record.scene.loaded.restraints and tree.hangs_from(instance, ARM)):
        return "on the arm"
    return f"at {plain(parent)}" if frame else "at the platform"


def hands_lanes(record: Record) -> Lanes:
    """Return what everybody holds and is hooked to, what is tethered, and whether the arm is safe, by the ledger."""
    book, end = record.ledger, record.duration_s
    modes = tuple(
        Bar(first, last, mode, "parked" if mode == "safe" else "carried", f"the arm is {mode}")
        for first, last, mode in book.spans(lambda page: page.arm, end)
    )
    people = (Lane(who, _worded(book.spans(partial(hands_words, who=who), end))) for who in book.start.people)
    lanes = [Lane(ARM, modes), *people]
    for what in book.start.states:
        hooked = book.spans(partial(hooked_words, what=what), end)
        if any(words for _, _, words in hooked):
            lanes.append(Lane(plain(what), _worded(hooked)))
    return Lanes("hands, tethers and the state of the arm", record.motion.start_s, end, tuple(lanes))


def step_starts(record: Record) -> list[float]:
    """Return the instants at which something begins: a step of anybody, or a move; in order, none outside the run."""
    plan, motion = record.plan, record.motion
    slots = () if plan is None else plan.schedule.slots
    starts = {*(slot.start_s for slot in slots), *(move.start_s for move in record.moves)}
    return sorted(start for start in starts if motion.start_s <= start <= motion.end_s)


def _worded(spans: Iterable[tuple[float, float, str]]) -> tuple[Bar, ...]:
    return tuple(Bar(a, b, words, "carried" if words else "parked", words) for a, b, words in spans)


def day_lanes(record: Record) -> Lanes | None:
    """Return the lanes of the day by its steps and actors, None when the run belongs to no day."""
    plan = record.plan
    if plan is None:
        return None
    lanes: dict[str, list[Bar]] = {}
    for slot in plan.schedule.slots:
        step = plan.step(slot.name)
        words = step.title or step.name.replace("_", " ")
        bar = Bar(slot.start_s, slot.end_s, words, "critical" if slot.critical else "move",
                  words + ("\nno time to spare" if slot.critical else ""))
        for actor in slot.actors:
            lanes.setdefault(actor, []).append(bar)
    ordered = sorted(lanes, key=lambda actor: actor != ARM)
    end = max(record.motion.end_s, plan.schedule.end_s)
    return Lanes("steps of the day", record.motion.start_s, end,
                 tuple(Lane(plain(actor), tuple(lanes[actor])) for actor in ordered))
