"""From a day or a run to the acts that the ledger writes down."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from armcarry.files.documents.day import Day
from armcarry.files.documents.steps import ARM, Step
from armcarry.ledger.effects import apply
from armcarry.ledger.state import INSIDE, TIP_SOCKET, Act, Asked, Page
from armcarry.scene.build import RESTRAINT
from armcarry.timeline.first_page import holder_at, page_at_start
from armcarry.timeline.run import Event, MoveSpan
from armcarry.timeline.schedule import SAME_S, Schedule
from armcarry.timeline.slots import Slot

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario

#: acts that take hold when their step begins; all others are done when it ends
AT_START = ("steady", "tether")
#: kinds of steps with an act at the start and one at the end
FROM_TO = {
    "translate": ("set_off", "come"), "enter_restraint": ("climb_in", "get_in"),
    "leave_restraint": ("climb_out", "get_out"), "hand_over": ("grip", "hand_over"),
}
#: acts that are about a restraint
OF_RESTRAINTS = ("climb_in", "get_in", "climb_out", "get_out", "fit_restraint", "set_restraint")
#: kinds of steps that move the arm
MOVES_ARM = ("carry", "move_base")
#: kinds of steps that change nothing in the ledger, but whose people must be where they say
WORK = ("inspect", "note", "wait_for", "call")
_FASTENED = {"tight": "closed", "loose": "open", "joined": "closed", "parted": "open"}


def acts_of_day(
    day: Day, schedule: Schedule, start: Page, *, loaded: LoadedScenario | None = None, events: Sequence[Event] = ()
) -> tuple[Act, ...]:
    """Return the acts of the steps that are done, in the order of time.

    At one instant ends come before beginnings, then the network's order decides.

    Args:
        start: the page they begin from.
        loaded, events: what is attached and left inside carries of a run, if it was computed.
    """
    place = {task.name: k for k, task in enumerate(schedule.network.tasks)}
    rank = {node: k for k, node in enumerate(schedule.network.order)}
    slots = {slot.name: slot for slot in schedule.slots}
    yields = _out_by(day, slots)
    keyed: list[tuple[float, int, int, int, Act]] = []
    for step in day.steps:
        if step.name not in slots:
            continue
        slot = slots[step.name]
        order = rank[schedule.network.node_of[place[step.name]]]
        for number, act in enumerate(_acts(step, slot, start)):
            begins = int(act.time_s == slot.start_s and slot.end_s > slot.start_s)
            keyed.append((act.time_s, begins, order, number, replace(act, yields=yields.get(step.name, ()))))
    keyed.sort(key=lambda entry: entry[:4])
    acts = _through_hatch(start, _with_restraints(start, [entry[-1] for entry in keyed]))
    if loaded is None or not events:
        return tuple(acts)
    return _with_events(loaded, start, acts, events)


def pages_before(loaded: LoadedScenario, steps: Sequence[Step]) -> dict[str, Page]:
    """Return the page before each of some steps, taken one after another before any clock time."""
    return pages_of(loaded, steps)[0]


def pages_of(loaded: LoadedScenario, steps: Sequence[Step]) -> tuple[dict[str, Page], Page]:
    """Return the page before each of some steps, taken one after another before any clock time, and that behind all."""
    page, found = page_at_start(loaded), dict[str, Page]()
    for step in steps:
        found[step.name] = page
        slot = Slot(step.name, tuple(step.actors), 0.0, 0.0, 0.0, 0.0, 0.0)
        for act in _with_restraints(page, list(_acts(step, slot, page))):
            page = apply(page, act)
    return found, page


def _out_by(day: Day, slots: Mapping[str, Slot]) -> dict[str, tuple[str, ...]]:
    """Return for each step of getting on who swaps places with it and is off no later than it ends."""
    steps = {step.name: step for step in day.steps}
    found: dict[str, tuple[str, ...]] = {}
    for step in steps.values():
        if step.swap_places is None:
            continue
        for on, off in ((step, steps[step.swap_places]), (steps[step.swap_places], step)):
            swaps = on.enter_restraint is not None and off.leave_restraint is not None
            if swaps and {on.name, off.name} <= set(slots) and slots[off.name].end_s <= slots[on.name].end_s + SAME_S:
                found[on.name] = (*found.get(on.name, ()), *off.actors)
    return found


def _with_restraints(start: Page, acts: Sequence[Act]) -> list[Act]:
    """Say of each climb which restraint it is about: the one named, else the person's own, else the first there is."""
    page, named = start, list[Act]()
    for act in acts:
        if act.kind in OF_RESTRAINTS and not act.whose:
            own = next((page.people[who].restraint for who in act.actors if who in page.people), "")
            known = page.restraints()
            leaving = act.kind in ("climb_out", "get_out")
            act = replace(act, whose=own if leaving and own else next(iter(known), ""))
        page = apply(page, act)
        named.append(act)
    return named


def _through_hatch(start: Page, acts: Sequence[Act]) -> list[Act]:
    """Put in when somebody who sets off from inside, or comes in, is in the hatch."""
    page, found = start, list[Act]()
    for act in acts:
        within_s = min(start.asked.passing_s, act.end_s - act.start_s)
        leaves = act.kind == "set_off" and any(page.people[who].inside for who in act.actors if who in page.people)
        if leaves:
            found.append(replace(act, kind="go_out", at=""))
        elif act.kind == "come" and act.to == INSIDE:
            found.append(replace(act, kind="go_in", to="", time_s=act.end_s - within_s))
        page = apply(page, act)
        found.append(act)
        if leaves:
            found.append(replace(act, kind="out", at="", time_s=act.start_s + within_s))
        elif act.kind == "come" and act.to == INSIDE:
            found.append(replace(act, kind="in", to=""))
    return sorted(found, key=lambda act: act.time_s)


def _acts(step: Step, slot: Slot, start: Page) -> Iterator[Act]:
    """Yield the acts of one step: at its start, its end, or both."""
    act = _act(step, start, slot)
    if step.kind in MOVES_ARM:
        inner = moving(slot, start.asked)
        yield replace(act, kind="make_ready", to="", at="", time_s=slot.start_s)
        yield replace(act, kind="carry", to="", at="", time_s=inner.start_s)
        yield replace(act, kind="arrive", to="", at="", time_s=inner.end_s)
        if start.asked.arm_safe:
            yield replace(act, kind="make_safe", to="", at="", time_s=slot.end_s)
    elif step.kind in FROM_TO:
        first, last = FROM_TO[step.kind]
        begins_at = step.translate.start if step.translate is not None else None
        given = step.hand_over is not None
        yield replace(act, kind=first, time_s=slot.start_s, at=begins_at or "", to=act.to if given else "")
        yield replace(act, kind=last, time_s=slot.end_s, at=act.at if given else "")
    else:
        yield replace(act, time_s=slot.start_s if step.kind in AT_START else slot.end_s)


def moving(slot: Slot, asked: Asked) -> Slot:
    """Return when the arm itself moves in a step that moves it: it is made ready before, and safe after."""
    around_s = asked.make_ready_s + asked.make_safe_s
    if slot.end_s - slot.start_s <= around_s:
        return slot
    return replace(slot, start_s=slot.start_s + asked.make_ready_s, end_s=slot.end_s - asked.make_safe_s)


def _act(step: Step, start: Page, slot: Slot) -> Act:
    detail = getattr(step, step.kind)
    detail = None if isinstance(detail, str) else detail  # text has methods of its own
    to = getattr(detail, "to", None) or getattr(detail, "into", None)
    whose = getattr(detail, "cart", None) or getattr(detail, "appendage", None) or getattr(detail, "which", None) or ""
    fastener, make, kind = getattr(detail, "fastener", None) or "", getattr(detail, "make", ""), step.kind
    if kind in ("bolt", "connect") and fastener:
        rule = start.items[str(step.item)].fasteners.get(fastener)
        if rule is not None:  # bolts or a connector of the item itself, not the item's side of its seat's
            kind, make = "fold_cover", _FASTENED[make]
    return Act(
        step=step.name,
        kind="work" if kind in WORK else kind,
        actors=tuple(step.actors),
        item=step.item or "",
        to=to if isinstance(to, str) else "",
        fastener=fastener,
        make=make,
        count=getattr(detail, "count", 0),
        at=step.at or "",
        tool=getattr(detail, "tool", None) or "",
        length_m=getattr(detail, "length", None) or 0.0,
        reel=getattr(detail, "reel", False),
        torque_n_m=getattr(detail, "torque", None) or 0.0,
        turns=getattr(detail, "turns", None) or 0.0,
        whose=whose,
        start_s=slot.start_s,
        end_s=slot.end_s,
    )


def acts_of_run(
    loaded: LoadedScenario, start: Page, moves: Sequence[MoveSpan], events: Sequence[Event]
) -> tuple[Act, ...]:
    """Return the acts of a run without a day: its carries, and what is attached and left in them."""
    spans: dict[str, tuple[float, float]] = {}
    for move in moves:
        first, last = spans.get(move.carry, (move.start_s, move.end_s))
        spans[move.carry] = (min(first, move.start_s), max(last, move.end_s))
    acts = []
    rests = _boarding(loaded, moves, events)
    for carry, (first, last) in spans.items():
        whole = Act(carry, "carry", (ARM,), start_s=first, end_s=last)
        acts.append(replace(whole, time_s=first))
        for begins_s, ends_s in rests:
            if first <= begins_s < last:
                acts += [replace(whole, kind="arrive", time_s=begins_s), *_made_safe(loaded, whole, begins_s, ends_s)]
            if first < ends_s <= last:
                acts.append(replace(whole, time_s=ends_s))
        acts.append(replace(whole, kind="arrive", time_s=last))
    return _with_events(loaded, start, acts, events, riders=True)


def _boarding(
    loaded: LoadedScenario, moves: Sequence[MoveSpan], events: Sequence[Event]
) -> list[tuple[float, float]]:
    """Return from when to when the arm stands long enough to be safe while somebody gets on or off it.

    The end is infinity where it moves no more.
    """
    takes = loaded.rules.arm_safe
    if takes is None:
        return []
    moving = [(move.start_s, move.end_s) for move in moves if move.kind not in ("attach", "detach", "hold")]
    found = []
    for event in events:
        if event.what in loaded.crew:
            before = max((end for _, end in moving if end <= event.time_s), default=0.0)
            after = min((begin for begin, _ in moving if begin >= event.time_s), default=float("inf"))
            if before + takes.make_safe <= event.time_s <= after - takes.make_ready:
                found.append((before, after))
    return sorted(set(found))


def _made_safe(loaded: LoadedScenario, carry: Act, begins_s: float, ends_s: float) -> Iterator[Act]:
    """Yield that the arm is made safe once it stands, and ready again in time."""
    takes = loaded.rules.arm_safe
    if takes is not None:
        yield replace(carry, kind="make_safe", time_s=begins_s + takes.make_safe)
        if ends_s < float("inf"):
            yield replace(carry, kind="make_ready", time_s=ends_s - takes.make_ready)


def _with_events(
    loaded: LoadedScenario, start: Page, acts: Sequence[Act], events: Sequence[Event], *, riders: bool = False
) -> tuple[Act, ...]:
    """Put what is attached and left between acts; the arm rests meanwhile, so its carry ends and goes on.

    Args:
        riders: name who rides by then among the actors of each carry.
    """
    known = {*loaded.hardware, *(loaded.crew if riders else ()), *((RESTRAINT,) if riders else ())}
    waiting = [event for event in events if event.what in known]
    result: list[Act] = []
    page, flying = start, dict[str, Act]()

    def do(act: Act) -> None:
        nonlocal page
        if riders and act.kind in ("carry", "arrive"):
            act = replace(act, actors=(ARM, *page.riders()))
        page = apply(page, act)
        result.append(act)

    for act in acts:
        ends = act.kind == "arrive"
        while waiting and (waiting[0].time_s < act.time_s or (ends and waiting[0].time_s == act.time_s)):
            event = waiting.pop(0)
            for other in flying.values():
                do(replace(other, kind="arrive", time_s=event.time_s))
            for what in _acts_of_event(loaded, page, event, next(iter(flying), "")):
                do(what)
            if not ends or event.time_s < act.time_s:  # at the end of a carry nothing moves any more
                for other in flying.values():
                    do(replace(other, time_s=event.time_s))
        if act.kind == "carry":
            flying[act.step] = act
        elif act.kind == "arrive":
            flying.pop(act.step, None)
        do(act)
    for event in waiting:
        for what in _acts_of_event(loaded, page, event, ""):
            do(what)
    return tuple(result)


def _acts_of_event(loaded: LoadedScenario, page: Page, event: Event, step: str) -> tuple[Act, ...]:
    act = _act_of_event(loaded, page, event, step)
    return (replace(act, kind="grip"), act) if act.kind == "hand_over" else (act,)


def _act_of_event(loaded: LoadedScenario, page: Page, event: Event, step: str) -> Act:
    step = step or f"{event.kind}_{event.what}"
    when = event.time_s
    seat = next((name for name, rule in page.seats.items() if rule.frame == event.to), "")
    if event.what in loaded.crew:
        thing = event.to.split("/", 1)[0]
        kind, whose, to = ("get_in", thing, "") if thing in (RESTRAINT, ARM) else ("get_out", "", event.to)
        if event.to == f"platform/{loaded.platform.document.airlock}":
            to = INSIDE
        return Act(step, kind, (event.what,), to=to, whose=whose, time_s=when, start_s=when, end_s=when)
    if event.what == RESTRAINT:
        kind = "fit_restraint" if seat == TIP_SOCKET else "set_down"
        return Act(step, kind, (), to=seat, whose=RESTRAINT, time_s=when, start_s=when, end_s=when)
    state = page.states[event.what]
    holders = tuple(sorted(state.hands))
    receiver = holder_at(loaded, event.to)
    whole = Act(step, "let_go", holders, event.what, time_s=when, start_s=when, end_s=when)
    if receiver is None:
        return whole if not seat else replace(whole, kind="seat", actors=holders or (ARM,), to=seat)
    if state.where == "held" and receiver not in state.hands:
        return replace(whole, kind="hand_over", to=receiver)
    return replace(whole, kind="take", actors=(receiver,))
