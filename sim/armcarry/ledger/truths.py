"""What must be true of the ledger, in one table: evaluated at every change, told by the check it names."""

from __future__ import annotations

from armcarry.ledger import of_hands, of_hatch, of_items, of_people
from armcarry.ledger.change import Truth

#: kind of the act that ends a ledger
END = "end"
_WORK = ("take", "seat", "let_go", "hand_over", "bolt", "connect", "steady")
_AT_SEAT = ("steady", "take", "seat", "bolt", "connect", "let_go")
_LATCH = ("lock", "unlock", "fold_cover")
_THROUGH = ("go_out", "go_in")
_CLIMB = ("climb_in", "climb_out")
_FIT = ("fit_restraint", "set_restraint")
_PEOPLE = (*of_hands.HANDLING, *_FIT, "hand_over", "set_off", "climb_in", "get_out", "work", "move_cart", "hatch")


def _truth(name: str, topic: str, kinds: tuple[str, ...], broken: object, remedy: str = "") -> Truth:
    return Truth(name, topic, str(broken.__doc__).strip(), kinds, broken, remedy)  # type: ignore[arg-type]


#: a row: its name, the check that tells it, the acts by which it may break, what breaks it, what to do
TRUTHS: tuple[Truth, ...] = (
    _truth("still", "custody", _WORK, of_items.still, "do it before the carry or after it"),
    _truth("held", "custody", ("hand_over", "seat", "let_go"), of_items.held,
           "let somebody take hold of it, steady it or tether it before"),
    _truth("free_hands", "custody", ("take",), of_items.one_holder, "hand it over instead"),
    _truth("off_seat", "custody", ("carry",), of_items.off_seat, "take it off its seat, or let go of it, before the "
           "carry"),
    _truth("bolts_loose", "custody", ("take", "carry"), of_items.bolts_off,
           "put the step that loosens its bolts before"),
    _truth("connectors_parted", "custody", ("take", "carry"), of_items.connectors_off,
           "put the step that parts its connectors before"),
    _truth("seat_empty", "custody", ("seat",), of_items.seat_empty, "take out what sits there before"),
    _truth("seat_accepts", "custody", ("seat",), of_items.seat_accepts, "choose a seat that takes it"),
    _truth("fasteners", "custody", ("take", "seat", "carry", *_LATCH), of_items.fasteners),
    _truth("seated", "custody", ("bolt", "connect"), of_items.seated, "put the step that seats it before"),
    _truth("bonds_counted", "custody", ("bolt", "connect"), of_items.bonds_counted, "check the counts"),
    _truth("as_bolts_ask", "custody", ("bolt",), of_items.as_bolts_ask),
    _truth("tether", "custody", ("untether",), of_items.own_tether, "let the one who holds the tether take it off"),
    _truth("secured", "custody", ("let_go", "untether", "bolt", "seat"), of_items.secured,
           "let somebody take hold of it, steady it or tether it before"),
    _truth("tethered_first", "custody", ("bolt",), of_items.tethered_first, "tether it before its last bolt"),
    _truth("before_carry", "custody", ("carry",), of_items.before_carry),
    _truth("bolts_tight", "custody", (END,), of_items.bolted_at_end, "check the count of bolts, or add the step that "
           "tightens them"),
    _truth("after_seating", "custody", (END,), of_items.left_as_declared),
    _truth("in_a_place", "custody", (END,), of_items.in_a_place, "seat it, tether it to something that stays, or bring "
           "it inside"),
    _truth("two_hands", "custody", of_hands.TAKING, of_hands.two_hands),
    _truth("one_untethered", "custody", ("take", "hand_over", "untether"), of_hands.one_untethered),
    _truth("free_hand", "custody", (*of_hands.HANDLING, *_CLIMB, "set_off", "grip"), of_hands.free_hand),
    _truth("receiver_holds", "custody", ("hand_over",), of_hands.receiver_holds, "let the receiver keep hold "
           "of it until the giver lets go"),
    _truth("slow_with_item", "custody", ("set_off",), of_hands.slow_with_item, "state hands in the rules: "
           "speed_with_item"),
    _truth("tool_there", "custody", ("bolt",), of_hands.tool_there),
    _truth("right_tool", "custody", ("bolt",), of_hands.right_tool),
    _truth("empty_when_moved", "custody", ("take", "seat", *_FIT), of_people.empty_when_moved),
    _truth("beside", "schedule", _PEOPLE, of_people.beside),
    _truth("receiver_beside", "schedule", ("hand_over",), of_people.receiver_beside),
    _truth("back_inside", "schedule", (END,), of_people.back_inside,
           "let them go in: go_in, or translate to the airlock"),
    _truth("rider", "schedule", ("carry",), of_people.rider_in),
    _truth("no_restraint", "schedule", ("climb_in",), of_people.restraint_there),
    _truth("restraint_taken", "schedule", ("climb_in",), of_people.one_to_a_restraint),
    _truth("in_another", "schedule", ("climb_in",), of_people.out_of_the_last),
    _truth("not_in_restraint", "schedule", ("climb_out",), of_people.in_restraint),
    _truth("still_in_restraint", "schedule", ("set_off",), of_people.out_of_restraint),
    _truth("restraint_on", "schedule", ("fit_restraint",), of_people.restraint_off),
    _truth("arm_moving", "schedule", ("carry", *_CLIMB), of_people.arm_still),
    _truth("cart_moving", "schedule", ("move_cart",), of_people.cart_still),
    _truth("on_appendage", "schedule", ("move_appendage",), of_people.off_what_turns),
    _truth("arm_safe", "arm_safe", (*_CLIMB, *_AT_SEAT), of_people.arm_safe),
    _truth("hatch_open", "schedule", _THROUGH, of_hatch.hatch_open),
    _truth("one_at_a_time", "schedule", _THROUGH, of_hatch.one_at_a_time),
    _truth("fits_through", "custody", _THROUGH, of_hatch.fits_through),
    _truth("hatch_clear", "schedule", ("hatch",), of_hatch.hatch_clear, "let it close later"),
    _truth("people_in", "schedule", ("hatch",), of_hatch.people_in, "bring them in before {step}"),
    _truth("items_in", "custody", ("hatch",), of_hatch.items_in, "bring it in, seat it, or tether it to something that "
           "stays, before {step}"),
    _truth("boarded_safe", "arm_safe", ("get_in", "get_out"), of_people.boarded_safe, "state arm_safe in the rules, "
           "and let the arm hold long enough before and after that to be made safe and ready"),
    _truth("reel", "tethers", ("tether",), of_hands.reeled),
    _truth("own_safety", "tethers", ("untether",), of_hands.own_safety),
)

#: what to do about a count, which one row judges for bolts and connectors
COUNTED = {
    "bolts_tight": "check the count of bolts, or add the step that tightens them",
    "bolts_loose": "put the step that loosens its bolts before",
    "connectors_joined": "check the count of connectors",
    "connectors_parted": "put the step that parts its connectors before",
}
