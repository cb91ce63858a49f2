"""Who does what when, as lanes of bars: the run by moves and custody, or the day by its steps; no Qt here."""

from __future__ import annotations

from dataclasses import dataclass

from armcarry.record.record import MoveSpan, Record
from armcarry.scene.build import ARM, RESTRAINT
from armcarry.scene.tree import Tree
from armcarry.views.words import plain


@dataclass(frozen=True)
class Bar:
    """A stretch of a lane, seconds of the lanes' clock.

    Attributes:
        words, more: what is written into it, and the tip.
        kind: ``move``, ``still``, ``carried``, ``parked`` or ``critical``; decides the look.
        jump_s: instant of the run that shows it, None when the run does not hold it.
    """

    start_s: float
    end_s: float
    words: str
    kind: str
    more: str = ""
    jump_s: float | None = None


@dataclass(frozen=True)
class Lane:
    """Everything one actor does."""

    name: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True)
class Lanes:
    """Lanes on one clock from start_s to end_s; ``map`` is run time to that clock, (run, clock) pairs."""

    title: str
    start_s: float
    end_s: float
    lanes: tuple[Lane, ...]
    map: tuple[tuple[float, float, float, float], ...] = ()

    def clock_s(self, run_s: float) -> float:
        """Return where an instant of the run stands on the clock of the lanes."""
        if not self.map:
            return run_s
        for run_start, run_end, start, end in self.map:
            if run_s <= run_end:
                share = (max(run_s, run_start) - run_start) / max(run_end - run_start, 1e-9)
                return start + share * (end - start)
        return self.map[-1][3]

    def run_s(self, clock_s: float) -> float:
        """Return the instant of the run nearest to a time on the clock of the lanes."""
        if not self.map:
            return clock_s
        ways = []
        for run_start, run_end, start, end in self.map:
            inside = min(max(clock_s, start), end)
            share = (inside - start) / max(end - start, 1e-9)
            ways.append((abs(inside - clock_s), run_start + share * (run_end - run_start)))
        return min(ways)[1]


_STILL = ("hold", "attach", "detach", "posture", "appendage")


def run_lanes(record: Record) -> Lanes:
    """Return the lanes of a run: the arm by its moves, everyone and everything else by what it hangs from."""
    start, end = record.motion.start_s, record.motion.end_s
    arm = tuple(
        Bar(move.start_s, move.end_s, move.title.replace("_", " "), "still" if move.kind in _STILL else "move",
            _move_words(move), move.start_s)
        for move in record.moves
    )
    lanes = [Lane(ARM, arm)]
    for name in (*record.scene.loaded.crew, *record.scene.loaded.hardware):
        if any(mounting.instance == name for mounting in record.phases[0].tree.mountings):
            lanes.append(Lane(plain(name), _custody(record, name)))
    return Lanes("timeline of the run", start, end, tuple(lanes))


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
            bars.append(Bar(first.start_s, phase.end_s, words, kind, first.more, first.jump_s))
        else:
            bars.append(Bar(phase.start_s, phase.end_s, words, kind, f"{plain(name)}: {words}", phase.start_s))
    return tuple(bars)


def _held_by(record: Record, tree: Tree, name: str) -> str:
    parent = tree.mounting(name).parent
    instance, _, frame = parent.partition("/")
    if instance in record.scene.loaded.crew:
        return f"in the hands of {instance}"
    if instance == ARM or (instance == RESTRAINT and tree.hangs_from(RESTRAINT, ARM)):
        return "on the arm"
    return f"at {plain(parent)}" if frame else "at the platform"


def day_lanes(record: Record) -> Lanes | None:
    """Return the lanes of the day by its steps and actors, None when the run belongs to no day."""
    plan = record.plan
    if plan is None:
        return None
    flown: dict[str, tuple[float, float]] = {}
    for move in record.moves:
        first, last = flown.get(move.carry, (move.start_s, move.end_s))
        flown[move.carry] = (min(first, move.start_s), max(last, move.end_s))
    table, lanes = [], {}
    for slot in plan.schedule.slots:
        step = plan.step(slot.name)
        span = flown.get(step.carry) if step.carry is not None else None
        if span is not None:
            table.append((*span, slot.start_s, slot.end_s))
        words = step.title or step.name.replace("_", " ")
        bar = Bar(slot.start_s, slot.end_s, words, "critical" if slot.critical else "move",
                  words + ("\nno time to spare" if slot.critical else ""), None if span is None else span[0])
        for actor in slot.actors:
            lanes.setdefault(actor, []).append(bar)
    ordered = sorted(lanes, key=lambda actor: actor != ARM)
    return Lanes(
        "timeline of the day", 0.0, plan.schedule.end_s,
        tuple(Lane(plain(actor), tuple(lanes[actor])) for actor in ordered), tuple(sorted(table)),
    )
