"""From a day or a run to the acts on hardware that custody judges."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import PurePosixPath
from typing import TYPE_CHECKING

from armcarry.files.documents.bodies import HardwareDocument
from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import ARM, Step
from armcarry.timeline.custody import Act, Custody, Fastened, FastenerRule, ItemRule, ItemState, SeatRule
from armcarry.timeline.handling import apply
from armcarry.timeline.run import Event, MoveSpan
from armcarry.timeline.schedule import Schedule

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario

#: acts that take hold when their step begins; all others are done when it ends
AT_START = ("steady", "tether", "carry")


def custody_at_start(loaded: LoadedScenario, *, bonds: bool = True) -> Custody:
    """Return where all hardware of a scenario is at the start.

    Args:
        bonds: whether seats have bolts and connectors, fastened where something sits at the start. Without
            a day nobody turns them, so what a run does with them cannot be judged: pass False then.
    """
    script, platform = loaded.scenario, loaded.platform.document
    seats = {
        name: SeatRule(tuple(seat.accepts), *((seat.bolts, seat.connectors) if bonds else (0, 0)))
        for name, seat in platform.seats.items()
    }
    items, states = {}, {}
    for name, item in script.hardware.items():
        document = loaded.hardware[name].document
        own = {key: rule for key, rule in document.fasteners.items() if not rule.bonds_to_seat}
        rules = {key: FastenerRule(f.kind, tuple(f.needed_to), f.state_needed) for key, f in own.items()}
        items[name] = ItemRule(PurePosixPath(item.model).stem, rules)
        fasteners = tuple((key, item.fasteners.get(key) or _at_rest(document, key)) for key in own)
        seat = seat_at(loaded, item.at)
        if seat is not None:
            rule = seats[seat]
            states[name] = ItemState("seat", seat, frozenset(), frozenset(), rule.bolts, rule.connectors, fasteners)
        else:
            holder = holder_at(loaded, item.at)
            hands = frozenset(() if holder is None else (holder,))
            states[name] = ItemState("held" if hands else "adrift", "", hands, fasteners=fasteners)
    return Custody(items, seats, states)


def _at_rest(document: HardwareDocument, name: str) -> Fastened:
    """Return the state a fastener has at the item's rest position; closed where that says nothing."""
    fastener = document.fasteners[name]
    if fastener.joint is None or fastener.open is None or fastener.joint not in document.rest:
        return "closed"
    at = document.rest[fastener.joint]
    closed = fastener.closed if fastener.closed is not None else 0.0
    return "open" if abs(at - fastener.open) < abs(at - closed) else "closed"


def seat_at(loaded: LoadedScenario, link: str) -> str | None:
    """Return the seat whose frame a link is, if any."""
    for name, seat in loaded.platform.document.seats.items():
        if link == f"platform/{seat.frame}":
            return name
    return None


def holder_at(loaded: LoadedScenario, link: str) -> str | None:
    """Return who holds what hangs from a link: a crewmember, or the arm; None for anything else."""
    instance = link.split("/", 1)[0]
    if instance in loaded.crew:
        return instance
    return ARM if instance in (ARM, "restraint") else None


def acts_of_day(
    day: Day, schedule: Schedule, start: Custody, *, loaded: LoadedScenario | None = None, events: Sequence[Event] = ()
) -> tuple[Act, ...]:
    """Return the acts of the steps that are done, in the order of time.

    At one instant ends come before beginnings, then the network's order decides.

    Args:
        start: custody they begin from.
        loaded, events: what is attached and left inside carries of a run, if it was computed.
    """
    place = {task.name: k for k, task in enumerate(schedule.network.tasks)}
    rank = {node: k for k, node in enumerate(schedule.network.order)}
    keyed: list[tuple[float, int, int, Act]] = []
    for step in day.steps:
        if step.name not in schedule.tasks_done():
            continue
        slot = schedule.slot(step.name)
        order = rank[schedule.network.node_of[place[step.name]]]
        at_start = step.kind in AT_START
        first = at_start and slot.end_s > slot.start_s  # one without length begins before it ends
        keyed.append((slot.start_s if at_start else slot.end_s, int(first), order, _act(step, start)))
        if step.kind == "carry":
            keyed.append((slot.end_s, 0, order, Act(step.name, "arrive", tuple(step.actors))))
    keyed.sort(key=lambda entry: entry[:3])
    acts = [_at(act, time_s) for time_s, _, _, act in keyed]
    if loaded is None or not events:
        return tuple(acts)
    return _with_events(loaded, start, acts, events)


def acts_of_run(
    loaded: LoadedScenario, start: Custody, moves: Sequence[MoveSpan], events: Sequence[Event]
) -> tuple[Act, ...]:
    """Return the acts of a run without a day: its carries, and what is attached and left in them."""
    spans: dict[str, tuple[float, float]] = {}
    for move in moves:
        first, last = spans.get(move.carry, (move.start_s, move.end_s))
        spans[move.carry] = (min(first, move.start_s), max(last, move.end_s))
    actors = (ARM, *loaded.crew)
    acts = []
    for carry, (first, last) in spans.items():
        acts += [Act(carry, "carry", actors, time_s=first), Act(carry, "arrive", actors, time_s=last)]
    return _with_events(loaded, start, acts, events)


def _with_events(
    loaded: LoadedScenario, start: Custody, acts: Sequence[Act], events: Sequence[Event]
) -> tuple[Act, ...]:
    """Put attached and left hardware between acts; the arm rests meanwhile, so its carry ends and goes on."""
    waiting = [event for event in events if event.what in loaded.hardware]
    result: list[Act] = []
    custody, flying = start, dict[str, Act]()

    def do(act: Act) -> None:
        nonlocal custody
        custody, _ = apply(custody, act)
        result.append(act)

    for act in acts:
        ends = act.kind == "arrive"
        while waiting and (waiting[0].time_s < act.time_s or (ends and waiting[0].time_s == act.time_s)):
            event = waiting.pop(0)
            for other in flying.values():
                do(_at(Act(other.step, "arrive", other.actors), event.time_s))
            do(_act_of_event(loaded, custody, event, next(iter(flying), "")))
            if not ends or event.time_s < act.time_s:  # at the end of a carry nothing moves any more
                for other in flying.values():
                    do(_at(other, event.time_s))
        if act.kind == "carry":
            flying[act.step] = act
        elif act.kind == "arrive":
            flying.pop(act.step, None)
        do(act)
    for event in waiting:
        do(_act_of_event(loaded, custody, event, ""))
    return tuple(result)


def _act_of_event(loaded: LoadedScenario, custody: Custody, event: Event, step: str) -> Act:
    state = custody.states[event.what]
    holders = tuple(sorted(state.hands))
    step = step or f"{event.kind}_{event.what}"
    receiver = holder_at(loaded, event.to)
    if receiver is None:
        seat = seat_at(loaded, event.to)
        if seat is None:
            return Act(step, "let_go", holders, event.what, time_s=event.time_s)
        return Act(step, "seat", holders or (ARM,), event.what, to=seat, time_s=event.time_s)
    if state.where == "held" and receiver not in state.hands:
        return Act(step, "hand_over", holders, event.what, to=receiver, time_s=event.time_s)
    return Act(step, "take", (receiver,), event.what, time_s=event.time_s)


def _act(step: Step, start: Custody) -> Act:
    detail = getattr(step, step.kind)
    to = getattr(detail, "to", None) or getattr(detail, "into", None)
    fastener, make, kind = getattr(detail, "fastener", None) or "", getattr(detail, "make", ""), step.kind
    if kind in ("bolt", "connect") and fastener:
        rule = start.items[str(step.item)].fasteners.get(fastener)
        if rule is not None:  # bolts or a connector of the item itself, not the item's side of its seat's
            kind, make = "fold_cover", _FASTENED[make]
    return Act(
        step=step.name,
        kind=kind,
        actors=tuple(step.actors),
        item=step.item or "",
        to=to if isinstance(to, str) else "",
        fastener=fastener,
        make=make,
        count=getattr(detail, "count", 0),
    )


_FASTENED = {"tight": "closed", "loose": "open", "joined": "closed", "parted": "open"}


def _at(act: Act, time_s: float) -> Act:
    return Act(act.step, act.kind, act.actors, act.item, act.to, act.fastener, act.make, act.count, time_s)
