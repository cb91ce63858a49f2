"""Handling: what each act on hardware needs first, and what it changes.

An act whose precondition is missing is a violation; it is applied all the same as far as it can be, so
that one step in the wrong place gives one violation and not a train of them. Whatever is done, an item
is in exactly one place.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace

from armcarry.errors import FrameError
from armcarry.timeline.custody import Act, Custody, Fastened, ItemRule, ItemState, Violation, Where


@dataclass(frozen=True)
class Replay:
    """Custody over a day: ``after[k]`` is the custody after ``acts[k]``."""

    start: Custody
    acts: tuple[Act, ...]
    after: tuple[Custody, ...]
    violations: tuple[Violation, ...]

    @property
    def end(self) -> Custody:
        """Custody after the last act."""
        return self.after[-1] if self.after else self.start

    def at(self, time_s: float) -> Custody:
        """Return custody at time_s; at the instant of an act, after it."""
        result = self.start
        for act, custody in zip(self.acts, self.after, strict=True):
            if act.time_s > time_s:
                break
            result = custody
        return result


def replay(start: Custody, acts: Iterable[Act]) -> Replay:
    """Apply acts in order and collect every missing precondition, also of what is left at the end."""
    custody, states, done = start, list[Custody](), list[Act]()
    violations: list[Violation] = []
    last: dict[str, Act] = {}
    for act in acts:
        custody, missing = apply(custody, act)
        states.append(custody)
        violations += missing
        done.append(act)
        if act.kind in ("seat", "bolt"):
            last[act.item] = act
    for item, act in last.items():
        violations += _left(custody, item, act)
    return Replay(start, tuple(done), tuple(states), tuple(violations))


def _left(custody: Custody, item: str, act: Act) -> list[Violation]:
    state = custody.states[item]
    if state.where != "seat":
        return []
    bolts = custody.seats[state.seat].bolts
    if state.bolts_tight >= bolts:
        return []
    words = f"{item} is left in {state.seat} with {state.bolts_tight} of {bolts} bolts tight"
    return [Violation(act.step, item, "bolts_tight", words, act.time_s)]


def apply(custody: Custody, act: Act) -> tuple[Custody, tuple[Violation, ...]]:
    """Return custody after an act, and what was missing for it; kinds that touch no hardware change nothing.

    Raises:
        FrameError: the act names an item, seat or fastener that does not exist.
    """
    if act.kind not in _ACTS:
        return custody, ()
    acting = _Acting(custody, act)
    _ACTS[act.kind](acting)
    return replace(custody, states={**custody.states, **acting.changed}), tuple(acting.violations)


class _Acting:
    """One act under way: the item it is about, what it changes, what it lacks."""

    def __init__(self, custody: Custody, act: Act) -> None:
        self.custody, self.act = custody, act
        self.changed: dict[str, ItemState] = {}
        self.violations: list[Violation] = []
        if act.item and act.item not in custody.states:
            raise FrameError("hardware", act.item, custody.states)

    @property
    def item(self) -> str:
        return self.act.item

    @property
    def state(self) -> ItemState:
        return self.changed.get(self.item, self.custody.states[self.item])

    @property
    def caught(self) -> Where:
        """Where it is once a hand or a tether is on it."""
        return "held" if self.state.where == "adrift" else self.state.where

    @property
    def rule(self) -> ItemRule:
        return self.custody.items[self.item]

    def set(self, **changes: object) -> None:
        self.changed[self.item] = replace(self.state, **changes)  # type: ignore[arg-type]

    def need(self, met: bool, missing: str, words: str, item: str = "") -> bool:
        if not met:
            name = item or self.item
            self.violations.append(Violation(self.act.step, name, missing, f"{name} {words}", self.act.time_s))
        return met

    def need_fasteners(self, use: str, state: ItemState, item: str, words: str) -> None:
        for name, rule in self.custody.items[item].fasteners.items():
            if use in rule.needed_to:
                met = state.fastener(name) == rule.state_needed
                self.need(met, name, f"{words} with its {name} not {rule.state_needed}", item)

    def need_still(self) -> None:
        self.need(not self.state.moving, "still", f"is worked on while carry {self.state.moving} moves it")

    def need_secured(self, words: str) -> None:
        loose_in_seat = self.state.where == "seat" and self.custody.seats[self.state.seat].bolts > 0
        self.need(self.state.secured or not (loose_in_seat or self.state.where == "held"), "held", words)


def _steady(act: _Acting) -> None:
    act.need_still()
    act.set(hands=act.state.hands | set(act.act.actors), where=act.caught)


def _take(act: _Acting) -> None:
    state, actors = act.state, frozenset(act.act.actors)
    act.need_still()
    others = state.hands - actors
    if state.where == "held":
        act.need(not others, "free_hands", f"is held by {', '.join(sorted(others))}; it is handed over, not taken")
    act.need(state.bolts_tight == 0, "bolts_loose", f"is taken with {state.bolts_tight} of its bolts still tight")
    act.need(
        state.connectors_joined == 0, "connectors_parted",
        f"is taken with {state.connectors_joined} of its connectors still joined",
    )
    act.need_fasteners("grasp", state, act.item, "is grasped")
    act.need_fasteners("release", state, act.item, "is taken off its seat")
    act.set(where="held", seat="", hands=actors)


def _hand_over(act: _Acting) -> None:
    state, givers = act.state, frozenset(act.act.actors) - {act.act.to}
    act.need_still()
    held = state.where == "held" and bool(givers & state.hands)
    if act.need(held, "held", f"is handed over by {', '.join(sorted(givers))}, who does not hold it"):
        act.set(hands=frozenset({act.act.to}))
    elif state.where != "seat":
        act.set(where="held", hands=frozenset({act.act.to}))


def _seat(act: _Acting) -> None:
    state, seat = act.state, act.act.to
    if seat not in act.custody.seats:
        raise FrameError("seat", seat, act.custody.seats)
    rule = act.custody.seats[seat]
    act.need_still()
    actors = set(act.act.actors)
    act.need(
        state.where == "held" and bool(actors & state.hands), "held",
        f"is put into {seat} by {', '.join(sorted(actors))}, who does not hold it",
    )
    there = tuple(name for name in act.custody.in_seat(seat) if name != act.item)
    act.need(not there, "seat_empty", f"is put into {seat}, where {', '.join(there)} sits")
    takes = ", ".join(rule.accepts)
    act.need(act.rule.model in rule.accepts, "seat_accepts", f"does not fit {seat}, which takes {takes}")
    act.need_fasteners("seat", state, act.item, "is put into its seat")
    hands = state.hands if rule.bolts else frozenset()  # a seat without bolts holds by its shape
    act.set(where="seat", seat=seat, hands=hands, bolts_tight=0, connectors_joined=0)


def _let_go(act: _Acting) -> None:
    act.need_still()
    act.need(bool(act.state.hands & set(act.act.actors)), "held", "is let go of by someone who does not hold it")
    act.set(hands=act.state.hands - set(act.act.actors))
    if act.state.where == "held" and not act.state.hands:
        act.need_secured("is let go of while nothing else holds it")
        if not act.state.tethers:
            act.set(where="adrift")
    elif act.state.where == "seat":
        act.need_secured("is let go of before a bolt is tight")


def _tether(act: _Acting) -> None:
    act.set(tethers=act.state.tethers | set(act.act.actors), where=act.caught)


def _untether(act: _Acting) -> None:
    act.need(bool(act.state.tethers & set(act.act.actors)), "tether", "is untethered by someone without its tether")
    act.set(tethers=act.state.tethers - set(act.act.actors))
    act.need_secured("is untethered while nothing else holds it")
    if act.state.where == "held" and not act.state.secured:
        act.set(where="adrift")


def _bolt(act: _Acting) -> None:
    state, count = act.state, act.act.count
    act.need_still()
    if act.act.make == "loose":
        tight = state.bolts_tight
        act.need(count <= tight, "bolts_tight", f"has {tight} bolts tight, not {count} to loosen")
        act.set(bolts_tight=max(tight - count, 0))
        if act.state.bolts_tight == 0:
            act.need_secured("is released while nobody holds it")
        return
    if not act.need(state.where == "seat", "seated", "is bolted down while it is not in a seat"):
        return
    holes = act.custody.seats[state.seat].bolts
    act.need(
        state.bolts_tight + count <= holes, "bolts_loose",
        f"has {holes - state.bolts_tight} bolts left to tighten in {state.seat}, not {count}",
    )
    tight = min(state.bolts_tight + count, holes)
    act.set(bolts_tight=tight, hands=frozenset() if tight == holes else state.hands)


def _connect(act: _Acting) -> None:
    state, count = act.state, act.act.count
    act.need_still()
    if act.act.make == "parted":
        joined = state.connectors_joined
        act.need(count <= joined, "connectors_joined", f"has {joined} connectors joined, not {count} to part")
        act.set(connectors_joined=max(joined - count, 0))
        return
    if not act.need(state.where == "seat", "seated", "is connected while it is not in a seat"):
        return
    plugs = act.custody.seats[state.seat].connectors
    act.need(
        state.connectors_joined + count <= plugs, "connectors_parted",
        f"has {plugs - state.connectors_joined} connectors left to join in {state.seat}, not {count}",
    )
    act.set(connectors_joined=min(state.connectors_joined + count, plugs))


def _fasten(act: _Acting) -> None:
    name = act.act.fastener
    if name not in act.rule.fasteners:
        raise FrameError(f"fastener of {act.item}", name, act.rule.fasteners)
    rule = act.rule.fasteners[name]
    state: Fastened = {"lock": "closed", "unlock": "open"}.get(act.act.kind, act.act.make)  # type: ignore[assignment]
    act.set(fasteners=tuple((key, state if key == name else old) for key, old in act.state.fasteners))
    wrong = state != rule.state_needed
    if act.state.moving and "carry" in rule.needed_to:
        act.need(not wrong, name, f"has its {name} made {state} while it is carried")
    if act.state.where == "held" and "grasp" in rule.needed_to:
        act.need(not wrong, name, f"has its {name} made {state} while it is held there")


def _carry(act: _Acting) -> None:
    actors = set(act.act.actors)
    for item, state in act.custody.states.items():
        if not state.hands & actors:
            continue
        words = f"is in {state.seat} while {act.act.step} moves a hand on it"
        if not act.need(state.where == "held", "off_seat", words, item):
            continue
        act.need(state.bolts_tight == 0, "bolts_loose", f"is carried with {state.bolts_tight} bolts still tight", item)
        act.need(
            state.connectors_joined == 0, "connectors_parted",
            f"is carried with {state.connectors_joined} connectors still joined", item,
        )
        act.need_fasteners("carry", state, item, "is carried")
        act.changed[item] = replace(state, moving=act.act.step)


def _arrive(act: _Acting) -> None:
    for item, state in act.custody.states.items():
        if state.moving == act.act.step:
            act.changed[item] = replace(state, moving="")


_ACTS: dict[str, Callable[[_Acting], None]] = {
    "steady": _steady, "take": _take, "hand_over": _hand_over, "seat": _seat, "let_go": _let_go,
    "tether": _tether, "untether": _untether, "bolt": _bolt, "connect": _connect,
    "lock": _fasten, "unlock": _fasten, "fold_cover": _fasten, "carry": _carry, "arrive": _arrive,
}
