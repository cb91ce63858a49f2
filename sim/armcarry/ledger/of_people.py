"""What must be true of people: beside what they work on, with a hand for it, one to a restraint, the arm still."""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.ledger.change import Change, Found
from armcarry.ledger.state import INSIDE, Act, Page

#: a step is judged this long before its end, when it has not changed anything yet, s
JUST_S = 1e-3
#: acts by which hands do something to an item
HANDLING = ("steady", "take", "seat", "let_go", "tether", "untether", "bolt", "connect", "lock", "unlock", "fold_cover")


def _when(change: Change) -> tuple[float, float]:
    """Return the instants of a step at which its people must be there: its start, and just before it ends."""
    act = change.act
    if act.end_s <= act.start_s:
        return act.time_s, act.time_s
    return act.start_s, max(act.end_s - JUST_S, act.start_s)


def beside(change: Change) -> Iterator[Found]:
    """Whoever does something is beside the place, item, restraint or socket it is done to."""
    act = change.act
    for who in change.people():
        if act.kind == "climb_in" and change.before.people[who].restraint:
            continue
        things = {act.at: f"is to do {act.step} at {act.at} but is"} if act.at else {}
        if act.kind == "set_off":
            things = {act.at: f"sets off from {act.at} in {act.step} but is"}
        elif act.kind == "climb_in":
            things = {act.whose: f"enters {act.whose} in {act.step} but is"}
        elif act.kind == "fit_restraint":
            things |= {act.whose: f"fits {act.whose} in {act.step} but is", "arm/tip": f"fits {act.whose} to the arm "
                       f"in {act.step} but is"}  # fmt: skip
        elif act.kind == "set_restraint":
            things |= {act.whose: f"turns {act.whose} in {act.step} but is"}
        elif act.kind == "hatch":
            things |= {INSIDE: f"is to do {act.step} at the hatch but is"}
        elif act.kind == "move_cart":
            things |= {act.whose: f"pushes {act.whose} in {act.step} but is"}
        elif act.kind == "hand_over":
            things |= {act.item: f"hands over {act.item} in {act.step} but is"}
        elif act.kind in HANDLING and act.item:
            things |= {act.item: f"does {act.step} on {act.item} but is"}
        if act.kind == "seat":
            things |= {act.to: f"puts {act.item} into {act.to} in {act.step} but is"}
        if (act.kind == "hatch" or act.at == INSIDE) and change.before.people[who].inside:
            continue  # inside is beside the hatch; passing it is not modelled
        times = (max(act.start_s - JUST_S, 0.0),) if act.kind in ("climb_in", "set_off") else _when(change)
        for thing, words in things.items():
            far = change.beyond(who, thing, *times)
            if far is not None:
                it = "the arm's tip" if thing == "arm/tip" else "it"
                remedy = f"bring {who} beside {thing} before {act.step}"
                yield Found(who, f"{who} {words} {far[0]:.2f} m from {it}; boots and gloves reach {far[1]:.2f} m",
                            remedy=remedy)  # fmt: skip
                break


def receiver_beside(change: Change) -> Iterator[Found]:
    """Who takes something over is beside it."""
    act = change.act
    if act.to in change.before.people:
        far = change.beyond(act.to, act.item, *_when(change))
        if far is not None:
            words = f"{act.to} takes {act.item} over in {act.step} but is {far[0]:.2f} m from it"
            remedy = f"bring {act.to} beside {act.item} before {act.step}"
            yield Found(act.to, f"{words}; boots and gloves reach {far[1]:.2f} m", remedy=remedy)


def receiver_holds(change: Change) -> Iterator[Found]:
    """Who takes something over has hold of it before the giver lets go."""
    act, was = change.act, change.was
    if was.where == "held" and act.to not in was.hands:
        yield Found(change.item, f"{change.item} is let go of in {act.step} while {act.to} does not hold it")


# -- hands ------------------------------------------------------------------------------------------------------


def _hands(page: Page, who: str, *but: str) -> int:
    """Return how many hands of a person are taken, those on some items left out."""
    held = [item for item, state in page.states.items() if who in state.hands and item not in but]
    return sum(page.hands_needed(item) for item in held)


def two_hands(change: Change) -> Iterator[Found]:
    """Nobody holds more than two hands can."""
    for who in change.after.people:
        needed = _hands(change.after, who)
        if needed > 2 and needed > _hands(change.before, who):
            held = ", ".join(change.after.held_by(who))
            yield Found(who, f"{who} holds {held} after {change.act.step}, which takes {needed} hands",
                        remedy="let somebody else hold one, seat it or hang it on a tether before")  # fmt: skip


def one_untethered(change: Change) -> Iterator[Found]:
    """Of what one pair of hands holds, all but one item is tethered."""
    for who in change.after.people:
        untethered = [item for item in change.after.held_by(who) if not change.after.states[item].tethers]
        before = [item for item in change.before.held_by(who) if not change.before.states[item].tethers]
        if len(untethered) > 1 and len(untethered) > len(before):
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
                yield Found(who, words, remedy=f"tether {held[0]} to {who}, or let somebody else hold it, before")
        elif act.item and _hands(change.before, who, act.item, act.tool) >= 2 and who not in change.was.hands:
            held = list(change.before.held_by(who))
            words = f"{who} has no hand free for {act.step}: {' and '.join(held) or 'other items'} takes both"
            yield Found(who, words, remedy=f"free a hand of {who} before {act.step}")


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
    """The tool that a step names is in the hands of who uses it, hooked to them, or beside them."""
    act = change.act
    if not act.tool:
        return
    state = change.before.states[act.tool]
    for who in change.people():
        if who in state.hands or who in state.tethers:
            continue
        far = change.beyond(who, act.tool, *_when(change))
        if state.where in ("inside", "adrift") or far is not None:
            where = state.where if far is None else f"{far[0]:.2f} m away"
            words = f"{who} has no {act.tool} for {act.step}: it is {where}"
            yield Found(who, words, remedy=f"bring {act.tool} to {who} before {act.step}")


def own_safety(change: Change) -> Iterator[Found]:
    """The new safety tether of a person is made before the old one is broken."""
    if change.item:
        return
    for who in change.people():
        person = change.after.people[who]
        if change.before.people[who].tethers and not person.tethers and not person.inside:
            words = f"{who} unhooks the last safety tether in {change.act.step}"
            yield Found(who, words, remedy=f"hook the next one before {change.act.step}")


# -- the arm and restraints ---------------------------------------------------------------------------------------


def rider_in(change: Change) -> Iterator[Found]:
    """Who is named as rider of a move of the arm is in a restraint on it, and everybody in it is named."""
    step, riders, people = change.act.step, change.before.riders(), change.people()
    for who in people:
        if who not in riders:
            words = f"the arm moves in {step} while its rider {who} is not in the restraint"
            yield Found(who, words, "rider_out", remedy=f"let {who} enter the restraint before {step}")
    for who in sorted(set(riders) - set(people)):
        remedy = f"name {who} among the actors of {step}, or let {who} leave the restraint before"
        words = f"{step} carries {who}, who is in the restraint but is not among its actors"
        yield Found(who, words, "rider_not_named", remedy=remedy)


def restraint_there(change: Change) -> Iterator[Found]:
    """A restraint is stood in only where it is in a socket."""
    act = change.act
    state = change.before.states.get(act.whose)
    for who in change.people():
        if state is None or state.where != "seat" or not change.before.seats[state.seat].stand:
            words = f"{who} enters the restraint in {act.step} before it is on the arm"
            yield Found(who, words, remedy=f"put the restraint on the arm before {act.step}")


def one_to_a_restraint(change: Change) -> Iterator[Found]:
    """One person stands in a restraint; another gets in once that one is out, or swaps places."""
    act = change.act
    for who in change.people():
        there = [name for name, person in change.before.people.items() if person.restraint == act.whose]
        for other in sorted(set(there) - set(act.yields)):
            words = "is in it already" if other == who else f"{other} is in it"
            yield Found(who, f"{who} enters the restraint in {act.step}, but {words}",
                        remedy=f"let {other} leave the restraint before {act.step}")  # fmt: skip


def in_restraint(change: Change) -> Iterator[Found]:
    """Who leaves a restraint is in it."""
    for who in change.people():
        if not change.before.people[who].restraint:
            yield Found(who, f"{who} leaves the restraint in {change.act.step} without being in it",
                        remedy=f"let {who} enter the restraint before {change.act.step}")  # fmt: skip


def out_of_restraint(change: Change) -> Iterator[Found]:
    """Who goes along handrails stands in no restraint."""
    for who in change.people():
        if change.before.people[who].restraint:
            words = f"{who} sets off along the handrails in {change.act.step} while in the restraint"
            yield Found(who, words, remedy=f"let {who} leave the restraint before {change.act.step}")


def empty_when_moved(change: Change) -> Iterator[Found]:
    """A restraint is taken out of its socket, or put into one, with nobody in it."""
    name = change.act.item or change.act.whose
    who = change.before.occupant(name) if name else ""
    if who:
        words = f"{name} is moved in {change.act.step} while {who} stands in it"
        yield Found(name, words, remedy=f"let {who} leave it before {change.act.step}")


def restraint_off(change: Change) -> Iterator[Found]:
    """A restraint is fitted to the arm that is not there yet."""
    on = change.before.on_arm(change.act.whose)
    for who in change.people() if on else ():
        yield Found(who, f"{change.act.step} puts the restraint on the arm, where it is already",
                    remedy=f"leave {change.act.step} out")  # fmt: skip


def arm_still(change: Change) -> Iterator[Found]:
    """Nobody climbs in or out of a restraint on the arm while the arm moves."""
    act, page = change.act, change.before
    if act.kind in ("climb_in", "climb_out"):
        for who in change.people():
            for move in page.flying if _of_the_arm(page, who, act) else ():
                yield _climbing_while(who, act, move)
    elif act.step not in page.flying:
        for who, person in page.people.items():
            climb = change.last.get(who)
            if person.climbing and climb is not None and _of_the_arm(page, who, climb):
                yield _climbing_while(who, climb, act.step)


def _of_the_arm(page: Page, who: str, climb: Act) -> bool:
    return page.on_arm(climb.whose or page.people[who].restraint)


def arm_safe(change: Change) -> Iterator[Found]:
    """People get on and off the arm, and a rider's hands go to an item in its seat, only while the arm is safe."""
    act, page = change.act, change.before
    if not page.asked.arm_safe or page.arm == "safe":
        return
    for who in change.people():
        if act.kind in ("climb_in", "climb_out"):
            near = _of_the_arm(page, who, act)
        else:
            near = who in page.riders() and "seat" in (page.states[act.item].where, act.kind)
        if near:
            words = f"{who} does {act.step} while the arm is {page.arm}, not made safe"
            yield Found(who, words, remedy=f"let {act.step} begin once the arm has been made safe")


def boarded_safe(change: Change) -> Iterator[Found]:
    """Without a day too the arm is safe when people get on or off; whether it is, holds that are long enough say."""
    act, page = change.act, change.before
    if page.asked.bonds or page.arm == "safe":
        return
    for who in change.people():
        if page.on_arm(act.whose or page.people[who].restraint):
            way = "on" if act.kind == "get_in" else "off"
            words = f"{who} gets {way} the arm in {act.step}, and nobody says that it is safe then"
            yield Found(who, words, unknown=True)


def _climbing_while(who: str, climb: Act, move: str) -> Found:
    verb = "enters" if climb.kind == "climb_in" else "leaves"
    words = f"{who} {verb} the restraint in {climb.step} while the arm moves in {move}"
    return Found(who, words, "", climb, f"let {climb.step} and {move} follow one another")
