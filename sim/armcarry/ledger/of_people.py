"""What must be true of people: beside what they work on, one to a restraint, the arm still, inside at the end."""

from __future__ import annotations

from collections.abc import Iterator

from armcarry.ledger.change import JUST_S, Change, Found, when
from armcarry.ledger.of_hands import HANDLING
from armcarry.ledger.state import INSIDE, Act, Page


def _beside_what(act: Act) -> dict[str, str]:
    """Return what an act's people must be beside, each with what is said of who is not."""
    step, item, whose, kind = act.step, act.item, act.whose, act.kind
    things = {act.at: f"is to do {step} at {act.at} but is"} if act.at else {}
    if kind == "set_off":
        things = {act.at: f"sets off from {act.at} in {step} but is"}
    elif kind == "climb_in":
        things = {whose: f"enters {whose} in {step} but is"}
    elif kind == "get_out":
        things = {whose: f"gets out of {whose} in {step} but is then"}
    elif kind == "fit_restraint":
        things |= {whose: f"fits {whose} in {step} but is", "arm/tip": f"fits {whose} to the arm in {step} but is"}
    elif kind == "set_restraint":
        things |= {whose: f"turns {whose} in {step} but is"}
    elif kind == "hatch":
        things |= {INSIDE: f"is to do {step} at the hatch but is"}
    elif kind == "move_cart":
        things |= {whose: f"pushes {whose} in {step} but is"}
    elif kind == "hand_over":
        things |= {item: f"hands over {item} in {step} but is"}
    elif kind in HANDLING and item:
        things |= {item: f"does {step} on {item} but is"}
    if kind in ("seat", "tether") and act.to:
        words = f"puts {item} into {act.to}" if kind == "seat" else f"hooks {item or 'a tether'} to {act.to}"
        things |= {act.to: f"{words} in {step} but is"}
    return things


def beside(change: Change) -> Iterator[Found]:
    """Whoever does something is beside the place, item, restraint or socket it is done to."""
    act, things = change.act, _beside_what(change.act)
    times = (max(act.start_s - JUST_S, 0.0),) if act.kind in ("climb_in", "set_off") else when(act)
    for who in change.people():
        person = change.before.people[who]
        if (act.kind == "climb_in" and person.restraint) or (act.kind == "hand_over" and who == act.to):
            continue
        if act.kind == "get_out" and not person.restraint:
            continue  # told as such
        if (act.kind == "hatch" or act.at == INSIDE) and person.inside:
            continue  # inside is beside the hatch; passing it is not modelled
        for thing, words in things.items():
            across_m = change.before.asked.gap_m if act.kind == "get_out" else 0.0
            far = None if thing == who else change.beyond(who, thing, *times, across_m=across_m)
            if far is not None:
                it = "the arm's tip" if thing == "arm/tip" else "it"
                remedy = f"bring {who} beside {thing} before {act.step}"
                if act.kind == "get_out":
                    remedy = f"get off nearer to {thing}, and go on from there in a step of its own"
                yield Found(who, f"{who} {words} {far[0]:.2f} m from {it}; boots and gloves reach {far[1]:.2f} m",
                            remedy=remedy, cause=f"{thing} {far[0]:.2f}")  # fmt: skip
                break


def receiver_beside(change: Change) -> Iterator[Found]:
    """Who takes something over is beside it."""
    act = change.act
    if act.to in change.before.people:
        far = change.beyond(act.to, act.item, *when(act))
        if far is not None:
            words = f"{act.to} takes {act.item} over in {act.step} but is {far[0]:.2f} m from it"
            remedy = f"bring {act.to} beside {act.item} before {act.step}"
            yield Found(act.to, f"{words}; boots and gloves reach {far[1]:.2f} m", "beside", remedy=remedy,
                        cause=f"{act.item} {far[0]:.2f}")  # fmt: skip


def back_inside(change: Change) -> Iterator[Found]:
    """Whoever went out is inside at the end; of those whom the hatch closed behind, this is told of the hatch."""
    if not change.before.asked.ends_inside:
        return
    for who in sorted((change.before.gone_out - change.before.shut_out) & set(change.before.people)):
        if not change.before.is_inside(who):
            yield Found(who, f"{who} went out and is still outside at the end", "", change.last.get(who, change.act))


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


def out_of_the_last(change: Change) -> Iterator[Found]:
    """Who gets into a restraint stands in no other."""
    act = change.act
    for who in change.people():
        other = change.before.people[who].restraint
        if other and other != act.whose:
            yield Found(who, f"{who} enters {act.whose} in {act.step} while in {other}",
                        remedy=f"let {who} leave {other} before {act.step}")  # fmt: skip


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
            remedy = f"let {who} leave the restraint before {change.act.step}"
            yield Found(who, words, remedy=remedy, cause=change.before.people[who].restraint)


def empty_when_moved(change: Change) -> Iterator[Found]:
    """A restraint is taken out of its socket, or put into one, with nobody in it."""
    name = change.act.item or change.act.whose
    who = change.before.occupant(name) if name else ""
    if who:
        words = f"{name} is moved in {change.act.step} while {who} stands in it"
        yield Found(name, words, remedy=f"let {who} leave it before {change.act.step}", cause=who)


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
                yield _climbing_while(who, act, move, "the arm moves")
    elif act.step not in page.flying:
        for who, person in page.people.items():
            climb = change.last.get(who)
            if person.climbing and climb is not None and _of_the_arm(page, who, climb):
                yield _climbing_while(who, climb, act.step, "the arm moves")


def _of_the_arm(page: Page, who: str, climb: Act) -> bool:
    return page.on_arm(climb.whose or page.people[who].restraint)


def cart_still(change: Change) -> Iterator[Found]:
    """Nobody climbs onto a cart, or off it, while it is pushed."""
    act = change.act
    for who in change.before.people:
        climb = change.last.get(who)
        if climb is None or climb.end_s <= act.start_s or climb.start_s >= act.end_s:
            continue
        on = climb.whose or change.before.people[who].restraint
        if change.before.cart_of(on) == act.whose:
            yield _climbing_while(who, climb, act.step, f"{act.whose} is pushed")


def off_what_turns(change: Change) -> Iterator[Found]:
    """Nobody stands on an appendage while it is moved."""
    act = change.act
    if change.around is None or not act.whose:
        return
    for who in change.around.carried_by(act.whose, act.start_s):
        words = f"{act.whose} is moved in {act.step} while {who} stands on it"
        yield Found(who, words, remedy=f"let {who} leave it before {act.step}")


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


def _climbing_while(who: str, climb: Act, move: str, what: str) -> Found:
    verb = "enters" if climb.kind == "climb_in" else "leaves"
    words = f"{who} {verb} the restraint in {climb.step} while {what} in {move}"
    return Found(who, words, "", climb, f"let {climb.step} and {move} follow one another")
