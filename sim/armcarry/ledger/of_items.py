"""What must be true of items: held, fastened or seated at every instant, and each act done when it may be."""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.ledger.change import Change, Found
from armcarry.ledger.effects import made
from armcarry.ledger.state import Act, ItemState, Page

#: what a declaration's word asks of a bond or fastener
CLOSED = {"closed": True, "locked": True, "tight": True, "joined": True}


def still(change: Change) -> Iterator[Found]:
    """Nobody works on what is being carried."""
    if change.was.moving:
        yield Found(change.item, f"{change.item} is worked on while carry {change.was.moving} moves it")


def one_holder(change: Change) -> Iterator[Found]:
    """What somebody holds is handed over, not taken."""
    others = change.was.hands - set(change.act.actors)
    if change.was.where == "held" and others:
        words = f"{change.item} is held by {', '.join(sorted(others))}; it is handed over, not taken"
        yield Found(change.item, words)


def bolts_off(change: Change) -> Iterator[Found]:
    """What is taken or carried has no bolt tight."""
    if change.act.kind == "take" and change.was.bolts_tight:
        words = f"{change.item} is taken with {change.was.bolts_tight} of its bolts still tight"
        yield Found(change.item, words)
    for item, state in _in_actors_hands(change):
        if state.where == "held" and state.bolts_tight:
            yield Found(item, f"{item} is carried with {state.bolts_tight} bolts still tight")


def connectors_off(change: Change) -> Iterator[Found]:
    """What is taken or carried has no connector joined."""
    if change.act.kind == "take" and change.was.connectors_joined:
        words = f"{change.item} is taken with {change.was.connectors_joined} of its connectors still joined"
        yield Found(change.item, words)
    for item, state in _in_actors_hands(change):
        if state.where == "held" and state.connectors_joined:
            yield Found(item, f"{item} is carried with {state.connectors_joined} connectors still joined")


def off_seat(change: Change) -> Iterator[Found]:
    """No hand is on an item in its seat while the arm moves that hand."""
    for item, state in _in_actors_hands(change):
        if state.where != "held":
            yield Found(item, f"{item} is in {state.seat} while {change.act.step} moves a hand on it")


def _in_actors_hands(change: Change) -> Iterator[tuple[str, ItemState]]:
    if change.act.kind != "carry":
        return
    for item, state in change.before.states.items():
        if state.hands & set(change.act.actors):
            yield item, state


def fasteners(change: Change) -> Iterator[Found]:
    """Locks and covers are as the item's document needs them to grasp, release, seat or carry it."""
    kind = change.act.kind
    if kind == "take":
        yield from _needed(change.before, change.item, "grasp", "is grasped")
        yield from _needed(change.before, change.item, "release", "is taken off its seat")
    elif kind == "seat":
        yield from _needed(change.before, change.item, "seat", "is put into its seat")
    elif kind == "carry":
        for item, state in _in_actors_hands(change):
            if state.where == "held":
                yield from _needed(change.before, item, "carry", "is carried")
    else:
        yield from _made_wrong(change)


def _needed(page: Page, item: str, use: str, words: str) -> Iterator[Found]:
    state = page.states[item]
    for name, rule in page.items[item].fasteners.items():
        if use in rule.needed_to and state.fastener(name) != rule.state_needed:
            yield Found(item, f"{item} {words} with its {name} not {rule.state_needed}", name,
                        remedy=f"put the step that makes its {name} {rule.state_needed} before {{step}}")  # fmt: skip


def _made_wrong(change: Change) -> Iterator[Found]:
    name = change.act.fastener
    rule, state = change.before.items[change.item].fasteners[name], made(change.act)
    remedy = f"put the step that makes its {name} {rule.state_needed} before {{step}}"
    for use, so, words in (
        ("carry", bool(change.was.moving), "it is carried"),
        ("grasp", change.was.where == "held", "it is held there"),
    ):
        if so and use in rule.needed_to and state != rule.state_needed:
            yield Found(change.item, f"{change.item} has its {name} made {state} while {words}", name, remedy=remedy)


def held(change: Change) -> Iterator[Found]:
    """What is handed over, put into a seat or let go of is held by who does so."""
    actors, item = set(change.act.actors), change.item
    if change.act.kind == "hand_over":
        givers = actors - {change.act.to} or actors
        if not (change.was.where == "held" and givers & change.was.hands):
            yield Found(item, f"{item} is handed over by {', '.join(sorted(givers))}, who does not hold it")
    elif change.act.kind == "seat":
        if not (change.was.where == "held" and actors & change.was.hands):
            who = ", ".join(sorted(actors))
            yield Found(item, f"{item} is put into {change.act.to} by {who}, who does not hold it")
    elif not actors & change.was.hands:
        yield Found(item, f"{item} is let go of by someone who does not hold it")


def secured(change: Change) -> Iterator[Found]:
    """Something holds every item outside: a bolt, a hand, a tether, or a seat that holds by its shape."""
    if not change.item or not _loose(change.after, change.item) or _loose(change.before, change.item):
        return  # a person's own tether is of nothing that could be loose
    words = {
        "untether": "is untethered while nothing else holds it", "bolt": "is released while nobody holds it",
        "let_go": "is let go of while nothing else holds it",
    }.get(change.act.kind, "is left with nothing that holds it")  # fmt: skip
    if change.act.kind == "let_go" and change.now.where == "seat":
        words = "is let go of before a bolt is tight"
    yield Found(change.item, f"{change.item} {words}")


def _loose(page: Page, item: str) -> bool:
    state = page.states[item]
    bolted = state.where == "seat" and page.seats[state.seat].bolts > 0
    return not state.secured and (bolted or state.where in ("held", "adrift"))


def seat_empty(change: Change) -> Iterator[Found]:
    """A seat takes one item, a bag as many as it holds."""
    there = tuple(name for name in change.before.in_seat(change.act.to) if name != change.item)
    if len(there) >= change.before.seats[change.act.to].count:
        yield Found(change.item, f"{change.item} is put into {change.act.to}, where {', '.join(there)} sits")


def seat_accepts(change: Change) -> Iterator[Found]:
    """A seat takes items of its models, and those that are called so."""
    accepts = change.before.seats[change.act.to].accepts
    if not {change.item, change.before.items[change.item].model} & {*accepts}:
        words = f"{change.item} does not fit {change.act.to}, which takes {', '.join(accepts)}"
        yield Found(change.item, words)


def seated(change: Change) -> Iterator[Found]:
    """What is bolted down or joined is in a seat."""
    if change.act.make in ("tight", "joined") and change.was.where != "seat":
        words = "bolted down" if change.act.kind == "bolt" else "connected"
        yield Found(change.item, f"{change.item} is {words} while it is not in a seat")


def bonds_counted(change: Change) -> Iterator[Found]:
    """No more bolts and connectors are turned than there are."""
    was, count, item = change.was, change.act.count, change.item
    if change.act.make == "loose" and count > was.bolts_tight:
        yield Found(item, f"{item} has {was.bolts_tight} bolts tight, not {count} to loosen", "bolts_tight")
    elif change.act.make == "parted" and count > was.connectors_joined:
        words = f"{item} has {was.connectors_joined} connectors joined, not {count} to part"
        yield Found(item, words, "connectors_joined")
    elif was.where == "seat" and change.act.make in ("tight", "joined"):
        seat = change.before.seats[was.seat]
        left, kind = seat.bolts - was.bolts_tight, "bolts"
        if change.act.make == "joined":
            left, kind = seat.connectors - was.connectors_joined, "connectors"
        if count > left:
            words = f"{item} has {left} {kind} left to {'join' if kind == 'connectors' else 'tighten'} in {was.seat}"
            yield Found(item, f"{words}, not {count}", "connectors_parted" if kind == "connectors" else "bolts_loose")


def as_bolts_ask(change: Change) -> Iterator[Found]:
    """Bolts are turned to the torque and by the turns that the item's document says, where a step states its own."""
    act, asked = change.act, change.before.items[change.item].bolts
    torque = 0.0 if act.make == "loose" else asked.torque_n_m  # it is said for tightening
    for what, wanted, stated, unit in (
        ("torque", torque, act.torque_n_m, "N*m"), ("turns", asked.turns, act.turns, "turns"),
    ):  # fmt: skip
        if wanted and stated and wanted != stated:
            words = f"{change.item} asks {wanted:g} {unit} of its bolts, {act.step} states {stated:g} {unit}"
            yield Found(change.item, words, f"bolt_{what}", remedy=f"state {what}: {wanted:g} {unit} in {act.step}")


def own_tether(change: Change) -> Iterator[Found]:
    """A tether is taken off by who has it, or where it is."""
    anchors = {change.act.to} if change.act.to else set(change.act.actors)
    if change.item and not anchors & change.was.tethers:
        yield Found(change.item, f"{change.item} is untethered by someone without its tether")


def tethered_first(change: Change) -> Iterator[Found]:
    """Where the rules ask for it, every item is tethered before its last bolt is loose."""
    if not change.before.asked.tether_before_loose:
        return
    if change.was.bolts_tight and not change.now.bolts_tight and not change.now.tethers:
        yield Found(change.item, f"{change.item} is not tethered when its last bolt comes loose")


# -- what an item's document declares ---------------------------------------------------------------------------


def before_carry(change: Change) -> Iterator[Found]:
    """What is carried is as its document says under ``before_carry``."""
    if not change.before.asked.bonds:
        return
    for item, state in _in_actors_hands(change):
        if state.where == "held":
            wrong = [words for words in change.before.items[item].before_carry if not _so(change.before, item, words)]
            if wrong:
                remedy = f"put steps before {{step}} that leave it {', '.join(wrong)}"
                yield Found(item, f"{item} is carried and not {', '.join(wrong)}, as its document asks", remedy=remedy)


def bolts_lacking(page: Page, item: str) -> int:
    """Return how many bolts of its seat an item lacks that lies in one."""
    state = page.states[item]
    bolts = page.seats[state.seat].bolts if state.where == "seat" else 0
    return max(bolts - state.bolts_tight, 0)


def undeclared(page: Page, item: str) -> list[str]:
    """Return what its document asks of an item under ``after_seating`` that is not so, bolts aside."""
    if page.states[item].where != "seat":
        return []
    return [words for words in page.items[item].after_seating if not _so(page, item, words) and words != "bolts tight"]


def bolted_at_end(change: Change) -> Iterator[Found]:
    """What was put into a seat or worked on there has all bolts tight at the end."""
    for item, act in _handled(change):
        state, lacking = change.after.states[item], bolts_lacking(change.after, item)
        if lacking:
            of = change.after.seats[state.seat].bolts
            words = f"{item} is left in {state.seat} with {state.bolts_tight} of {of} bolts tight"
            yield Found(item, words, "bolts_tight", act)


def _handled(change: Change) -> Iterator[tuple[str, Act]]:
    """Yield what steps put into a seat or bolted, with the last act that did."""
    yield from ((item, act) for item, act in change.last.items() if item in change.after.states)


def left_as_declared(change: Change) -> Iterator[Found]:
    """What was put into a seat is at the end as its document says under ``after_seating``."""
    if not change.after.asked.bonds:
        return
    for item, act in _handled(change):
        wrong = undeclared(change.after, item)
        if wrong:
            remedy = f"add the steps that leave it {', '.join(wrong)}"
            seat = change.after.states[item].seat
            words = f"{item} is left in {seat} and not {', '.join(wrong)}, as its document asks"
            yield Found(item, words, "", act, remedy)


def _so(page: Page, item: str, words: str) -> bool:
    """Tell whether what a declaration says of an item is so."""
    state = page.states[item]
    if words in ("tethered", "untethered"):
        return bool(state.tethers) == (words == "tethered")
    name, _, wanted = words.partition(" ")
    own = dict(state.fasteners)
    if name in own:
        return own[name] == ("closed" if wanted in CLOSED else "open")
    seat = page.seats.get(state.seat)
    if name == "bolts":
        return state.bolts_tight == (seat.bolts if wanted in CLOSED and seat is not None else 0)
    return state.connectors_joined == (seat.connectors if wanted in CLOSED and seat is not None else 0)


def in_a_place(change: Change) -> Iterator[Found]:
    """At the end of a day everything is inside, in a seat or tethered to something that stays.

    What somebody brings who went out and is not back is told with them.
    """
    if not change.after.asked.bonds:
        return
    for item, state in change.after.states.items():
        people = change.after.people
        if state.where != "held" or change.after.is_inside(item) or state.tethers - set(people):
            continue
        by = [who for who in sorted(state.hands | state.tethers) if who in people and who not in change.after.gone_out]
        if by:
            how = "in the hands" if state.hands else "on the tether"
            words = f"{item} is still {how} of {', '.join(by)} at the end"
            yield Found(item, words, "", change.last.get(item, change.act))
