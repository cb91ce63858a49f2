"""What must be true of hands, tools and tethers: enough hands free, the right tool there, always hooked on."""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.ledger.change import Change, Found, when
from armcarry.ledger.state import Page

#: acts by which hands do something to an item
HANDLING = ("steady", "take", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover")
#: acts after which somebody has an item in hand
TAKING = ("take", "grip", "hand_over", "steady")


def _hands(page: Page, who: str, *but: str) -> int:
    """Return how many hands of a person are taken, those on some items left out."""
    held = [item for item, state in page.states.items() if who in state.hands and item not in but]
    return sum(page.hands_needed(item) for item in held)


def two_hands(change: Change) -> Iterator[Found]:
    """Nobody holds more than two hands can."""
    for who in change.after.people:
        needed = _hands(change.after, who)
        if needed > 2 > _hands(change.before, who, change.item) and needed > _hands(change.before, who):
            held = ", ".join(change.after.held_by(who))
            yield Found(who, f"{who} holds {held} after {change.act.step}, which takes {needed} hands",
                        remedy="let somebody else hold one, seat it or hang it on a tether before")  # fmt: skip


def one_untethered(change: Change) -> Iterator[Found]:
    """Of what one pair of hands holds, all but one item is tethered."""
    for who in change.after.people:
        untethered = [item for item in change.after.held_by(who) if not change.after.states[item].tethers]
        before = [item for item in change.before.held_by(who) if not change.before.states[item].tethers]
        if len(untethered) > 1 and len(untethered) > len(before) and _hands(change.after, who) <= 2:
            words = f"{who} holds {' and '.join(untethered)} after {change.act.step}, none of them tethered"
            yield Found(who, words, remedy=f"tether one of them before {change.act.step}")


def free_hand(change: Change) -> Iterator[Found]:
    """Work takes a hand that holds nothing else; going along handrails one, or a tether on what is held."""
    act = change.act
    for who in (act.to,) if act.kind == "grip" else change.people():
        if act.kind in ("climb_in", "climb_out", "set_off"):
            held = [item for item in change.before.held_by(who) if not change.before.states[item].tethers]
            if sum(change.before.hands_needed(item) for item in held) > 1:
                words = f"{who} has no hand free for {act.step}, with {' and '.join(held)} in both and not tethered"
                yield Found(who, words, cause=f"{held} not tethered",
                            remedy=f"tether {held[0]} to {who}, or let somebody else hold it, before {act.step}")
        elif act.item and _hands(change.before, who, act.item, act.tool) >= 2 and who not in change.was.hands:
            held = [item for item, state in change.before.states.items() if who in state.hands]
            full = f"{' and '.join(held)} {'take' if held[1:] else 'takes'} both"
            words = f"{who} has no hand free for {act.step}: {full}"
            yield Found(who, words, remedy=f"free a hand of {who} before {act.step}", cause=f"{held}")


def receiver_holds(change: Change) -> Iterator[Found]:
    """Who takes something over has hold of it before the giver lets go."""
    act, was = change.act, change.was
    if was.where == "held" and act.to not in was.hands:
        yield Found(change.item, f"{change.item} is let go of in {act.step} while {act.to} does not hold it")


def slow_with_item(change: Change) -> Iterator[Found]:
    """Who goes along handrails with an item goes no faster than the rules allow; the plan keeps to what they say."""
    if change.before.asked.speed_with_item_m_s is not None:
        return
    for who in change.people():
        brought = change.before.brought_by(who)
        if brought:
            words = f"{who} goes along handrails with {' and '.join(brought)}; the rules do not say how fast at most"
            yield Found(who, words, unknown=True)


def tool_there(change: Change) -> Iterator[Found]:
    """The tool that a step names is in the hands of who uses it, hooked to them, or beside them and nobody else's."""
    act = change.act
    if not act.tool:
        return
    state = change.before.states[act.tool]
    for who in change.people():
        if who in state.hands or who in state.tethers:
            continue
        others = sorted(state.hands & set(change.before.people))
        far = change.beyond(who, act.tool, *when(act))
        if others or state.where in ("inside", "adrift") or far is not None:
            where = f"in the hands of {', '.join(others)}" if others else state.where
            where = where if others or far is None else f"{far[0]:.2f} m away"
            words = f"{who} has no {act.tool} for {act.step}: it is {where}"
            yield Found(who, words, remedy=f"bring {act.tool} to {who} before {act.step}", cause=f"{act.tool} {where}")


def right_tool(change: Change) -> Iterator[Found]:
    """Bolts are turned with the tool that the item's document asks for."""
    act, item = change.act, change.item
    asked = change.before.items[item].bolts.tool
    if not asked:
        return
    if not act.tool:
        words = f"the bolts of {item} ask for {asked}; {act.step} names no tool, so whether it is there is not judged"
        yield Found(item, words, unknown=True, remedy=f"name the tool of {act.step}: tool, an item of model {asked}")
    elif change.before.items[act.tool].model != asked:
        model = change.before.items[act.tool].model
        so = act.tool if act.tool == model else f"{act.tool}, a {model}"
        words = f"the bolts of {item} ask for {asked}, {act.step} turns them with {so}"
        yield Found(item, words, remedy=f"name an item of model {asked} as the tool of {act.step}", cause=act.tool)


def reeled(change: Change) -> Iterator[Found]:
    """A tether longer than what may lie loose is on a reel."""
    act, most_m = change.act, change.before.asked.unreeled_m
    if act.length_m > most_m and not act.reel:
        what = act.item or " and ".join(change.people())
        words = f"{what} is hooked in {act.step} by a tether of {act.length_m:g} m on no reel"
        words += f"; {most_m:g} m may lie loose"
        yield Found(what, words, remedy=f"state reel: true in {act.step}, or take a shorter tether")


def own_safety(change: Change) -> Iterator[Found]:
    """The new safety tether of a person is made before the old one is broken."""
    if change.item:
        return
    for who in change.people():
        person = change.after.people[who]
        if change.before.people[who].tethers and not person.tethers and not person.inside:
            words = f"{who} unhooks the last safety tether in {change.act.step}"
            yield Found(who, words, remedy=f"hook the next one before {change.act.step}")
