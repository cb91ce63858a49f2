"""Items in the ledger: an exchange done right, every swap of two steps, and no sequence that loses an item."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from armcarry.errors import FrameError
from armcarry.files.documents.platform import Seat
from armcarry.ledger.book import entered, keep
from armcarry.ledger.of_items import seat_accepts
from armcarry.ledger.state import Act, FastenerRule, ItemRule, ItemState, Page, SeatRule

BOX = ItemRule(
    "pump_box",
    {
        "cover": FastenerRule("cover", ("grasp",), "open"),
        "pan_lock": FastenerRule("lock", ("carry",), "closed"),
        "cap": FastenerRule("cover", ("seat",), "closed"),
    },
)
SEATS = {
    "rack_a": SeatRule(("pump_box",), bolts=2),
    "bay_7": SeatRule(("pump_box",), bolts=4, connectors=1),
    "shelf": SeatRule(("pump_box", "blanket")),
}
SHUT = (("cover", "closed"), ("pan_lock", "open"), ("cap", "closed"))


def start():
    box = ItemState("seat", "bay_7", bolts_tight=4, connectors_joined=1, fasteners=SHUT)
    return Page({"box": BOX}, SEATS, {"box": box})


def act(kind, who="ev1", item="box", step=None, **more):
    return Act(step or kind, kind, tuple(who.split("+")), item, **more)


def gripped(acts):
    """Let whoever takes an item over have hold of it first, as a step of handing over does."""
    return [part for one in acts for part in ([replace(one, kind="grip"), one] if one.kind == "hand_over" else [one])]


RIGHT = (
    act("fold_cover", fastener="cover", make="open", step="unfold"),
    act("lock", fastener="pan_lock"),
    act("connect", make="parted", count=1, step="part"),
    act("steady"),
    act("bolt", make="loose", count=4, step="loosen"),
    act("take"),
    act("carry", who="arm+ev1", item="", step="fly"),
    act("arrive", who="arm+ev1", item="", step="fly"),
    act("hand_over", to="ev2"),
    act("seat", who="ev2", to="rack_a"),
    act("bolt", who="ev2", make="tight", count=2, step="tighten"),
    act("fold_cover", who="ev2", fastener="cover", make="closed", step="fold"),
)


def test_an_exchange_done_right_has_no_violation():
    result = keep(start(), gripped(RIGHT))
    assert result.violations == ()
    stages = [custody.states["box"].stage for custody in result.after]
    assert stages == ["seated"] * 4 + ["released"] + ["held"] * 5 + ["released", "seated", "seated"]
    end = result.end.states["box"]
    assert (end.where, end.seat, end.bolts_tight, end.hands) == ("seat", "rack_a", 2, frozenset())


# Steps swapped with their neighbour: exactly what each pair breaks. Pairs that may come in either order break nothing.
SWAPS = {
    ("unfold", "lock"): [],
    ("lock", "part"): [],
    ("part", "steady"): [],
    ("steady", "loosen"): [("loosen", "secured")],
    ("loosen", "take"): [("take", "bolts_loose")],
    ("take", "fly"): [("fly", "off_seat")],
    ("fly", "fly"): [],
    ("fly", "hand_over"): [("hand_over", "still")],
    ("hand_over", "seat"): [("seat", "held"), ("hand_over", "held")],
    ("seat", "tighten"): [("tighten", "seated"), ("seat", "bolts_tight")],
    ("tighten", "fold"): [],
}


@pytest.mark.parametrize("first", range(len(RIGHT) - 1))
def test_swapping_two_steps_breaks_exactly_what_it_should(first):
    acts = list(RIGHT)
    acts[first], acts[first + 1] = acts[first + 1], acts[first]
    names = (RIGHT[first].step, RIGHT[first + 1].step)
    found = broken(acts)
    if names == ("fly", "fly"):  # arrive before it began: it never arrives, so all later work is on a moving item
        assert found == [(step, "still") for step in ("hand_over", "seat", "tighten")]
        return
    assert found == SWAPS[names]


@pytest.mark.parametrize("gone", range(len(RIGHT)))
def test_leaving_a_step_out_breaks_what_needs_it(gone):
    expected = {
        0: {("take", "cover")}, 1: {("fly", "pan_lock")}, 2: {("take", "connectors_parted"),
        ("fly", "connectors_parted")}, 3: {("loosen", "secured")}, 4: {("take", "bolts_loose"), ("fly", "bolts_loose")},
        5: {("fly", "off_seat"), ("hand_over", "held"), ("seat", "held")}, 6: set(),
        7: {(s, "still") for s in ("hand_over", "seat", "tighten")}, 8: {("seat", "held")},
        9: {("tighten", "seated"), ("fold", "cover")}, 10: {("seat", "bolts_tight")}, 11: set(),
    }
    acts = [one for k, one in enumerate(RIGHT) if k != gone]
    assert set(broken(acts)) == expected[gone]


def broken(acts):
    """Return the step and what is missing of every broken truth, of those too that are told with another."""
    told = keep(start(), gripped(acts)).violations
    return [one for v in told for one in ((v.step, v.missing), *((also.step, also.missing) for also in v.led_to))]


def moved(**changes):
    custody = start()
    return replace(custody, states={"box": replace(custody.states["box"], **changes)})


HELD = {"where": "held", "seat": "", "hands": frozenset({"ev1"}), "bolts_tight": 0, "connectors_joined": 0,
        "fasteners": (("cover", "open"), ("pan_lock", "closed"), ("cap", "closed"))}


@pytest.mark.parametrize(
    ("before", "one", "message"),
    [
        ({}, act("bolt", make="loose", count=4), "box is released while nobody holds it"),
        ({}, act("bolt", make="loose", count=5), "box has 4 bolts tight, not 5 to loosen"),
        ({}, act("bolt", make="tight", count=1), "box has 0 bolts left to tighten in bay_7, not 1"),
        ({}, act("connect", make="joined", count=1), "box has 0 connectors left to join in bay_7, not 1"),
        ({}, act("connect", make="parted", count=2), "box has 1 connectors joined, not 2 to part"),
        ({}, act("take"), "box is taken with 4 of its bolts still tight"),
        ({}, act("take"), "box is taken with 1 of its connectors still joined"),
        ({}, act("take"), "box is grasped with its cover not open"),
        ({}, act("let_go"), "box is let go of by someone who does not hold it"),
        ({}, act("hand_over", to="ev2"), "box is handed over by ev1, who does not hold it"),
        ({}, act("untether"), "box is untethered by someone without its tether"),
        ({"hands": frozenset({"ev1"})}, act("carry", who="arm+ev1", item="", step="fly"),
         "box is in bay_7 while fly moves a hand on it"),
        (HELD, act("let_go"), "box is let go of while nothing else holds it"),
        (HELD, act("take", who="ev2"), "box is held by ev1; it is handed over, not taken"),
        (HELD, act("bolt", make="tight", count=1), "box is bolted down while it is not in a seat"),
        (HELD, act("connect", make="joined", count=1), "box is connected while it is not in a seat"),
        (HELD, act("seat", who="ev2", to="rack_a"), "box is put into rack_a by ev2, who does not hold it"),
        (HELD, act("fold_cover", fastener="cover", make="closed"), "box has its cover made closed while it is held"),
        ({**HELD, "moving": "fly"}, act("unlock", fastener="pan_lock"), "has its pan_lock made open while it is carr"),
        ({**HELD, "moving": "fly"}, act("seat", to="rack_a"), "box is worked on while carry fly moves it"),
        ({**HELD, "hands": frozenset(), "tethers": frozenset({"ev1"})}, act("untether"),
         "box is untethered while nothing else holds it"),
        ({**HELD, "bolts_tight": 1}, act("carry", item="", step="fly"), "box is carried with 1 bolts still tight"),
        ({**HELD, "connectors_joined": 1}, act("carry", item="", step="fly"), "carried with 1 connectors still joined"),
        ({**HELD, "fasteners": SHUT}, act("carry", item="", step="fly"), "box is carried with its pan_lock not closed"),
        ({**HELD, "fasteners": (*HELD["fasteners"][:2], ("cap", "open"))}, act("seat", to="rack_a"),
         "box is put into its seat with its cap not closed"),
        ({"bolts_tight": 0, "hands": frozenset({"ev1"})}, act("let_go"), "box is let go of before a bolt is tight"),
    ],
)
def test_each_missing_precondition_in_its_words(before, one, message):
    custody = moved(**before)
    _, violations = entered(custody, one)
    assert any(message in v.message for v in violations)
    assert all(v.step == one.step for v in violations)


def test_a_seat_takes_one_item_of_its_model():
    items = {"box": BOX, "other": ItemRule("blanket")}
    states = {"box": ItemState("seat", "rack_a"), "other": ItemState("held", hands=frozenset({"ev1"}))}
    _, violations = entered(Page(items, SEATS, states), act("seat", item="other", to="rack_a"))
    assert [v.message for v in violations] == [
        "other is put into rack_a, where box sits", "other does not fit rack_a, which takes pump_box"
    ]


def test_a_tether_keeps_what_is_let_go():
    custody, _ = entered(moved(**HELD), act("tether"))
    custody, violations = entered(custody, act("let_go"))
    assert violations == ()
    assert custody.states["box"].where == "held"


def test_a_seat_takes_an_item_that_is_called_as_it_accepts_whatever_its_model():
    assert Seat(frame="f", accepts=["pump_box"]).takes("pump_box", "own_box", "own_box")  # as reading has it
    change = SimpleNamespace(
        item="pump_box", act=SimpleNamespace(to="rack_a"),
        before=SimpleNamespace(seats={"rack_a": SimpleNamespace(accepts=("pump_box",))},
                               items={"pump_box": SimpleNamespace(model="own_box")}),
    )  # fmt: skip
    assert not list(seat_accepts(change))
    change.item, change.before.items["other"] = "other", change.before.items["pump_box"]
    assert len(list(seat_accepts(change))) == 1


def test_a_seat_without_bolts_frees_the_hands():
    custody, violations = entered(moved(**HELD), act("seat", to="shelf"))
    assert violations == ()
    assert (custody.states["box"].stage, custody.states["box"].hands) == ("seated", frozenset())


def test_what_is_left_loose_at_the_end_is_told():
    result = keep(moved(**HELD), [act("seat", to="rack_a"), act("bolt", make="tight", count=1)])
    assert [v.message for v in result.violations] == ["box is left in rack_a with 1 of 2 bolts tight"]


def test_custody_at_an_instant_is_after_the_act():
    result = keep(start(), [replace(act("tether"), time_s=10.0), replace(act("steady"), time_s=20.0)])
    assert result.at(9.9) is result.start
    assert result.at(10.0).states["box"].tethers == {"ev1"}
    assert result.at(15.0).states["box"].hands == frozenset()
    assert result.at(99.0) is result.end


def test_unknown_names_are_refused_with_the_nearest():
    with pytest.raises(FrameError, match="no hardware named 'bx'; did you mean 'box'"):
        entered(start(), act("take", item="bx"))
    with pytest.raises(FrameError, match="no seat named 'bay_8'; did you mean 'bay_7'"):
        entered(start(), act("seat", to="bay_8"))
    with pytest.raises(FrameError, match="no fastener of box named 'pan_lok'; did you mean 'pan_lock'"):
        entered(start(), act("lock", fastener="pan_lok"))


ITEMS = ("box", "spare", "blanket")
ACTORS = ("arm", "ev1", "ev2")
KINDS = ("steady", "take", "grip", "hand_over", "seat", "let_go", "tether", "untether", "bolt", "connect", "carry",
         "arrive", "lock", "unlock", "fold_cover", "note")


class AnyOrder(RuleBasedStateMachine):
    """Whatever is done in whatever order, every item is in exactly one place.

    While nothing was missing for any act so far, the book kept beside it (a plain dictionary) agrees.
    """

    @initialize()
    def begin(self):
        rules = {"box": BOX, "spare": BOX, "blanket": ItemRule("blanket")}
        fasteners = (("cover", "open"), ("pan_lock", "closed"), ("cap", "closed"))
        self.custody = Page(rules, SEATS, {
            "box": ItemState("seat", "bay_7", bolts_tight=4, connectors_joined=1, fasteners=fasteners),
            "spare": ItemState("seat", "rack_a", bolts_tight=2, fasteners=fasteners),
            "blanket": ItemState("seat", "shelf"),
        })
        self.lawful = True
        self.book = {"box": "bay_7", "spare": "rack_a", "blanket": "shelf"}

    @rule(
        kind=st.sampled_from(KINDS), item=st.sampled_from(ITEMS), who=st.sampled_from(ACTORS),
        to=st.sampled_from([*SEATS, *ACTORS]), count=st.integers(1, 4), make=st.booleans(),
        only_lawful=st.booleans(),
    )
    def anything(self, kind, item, who, to, count, make, only_lawful):
        if (kind == "seat") != (to in SEATS) or (kind in ("lock", "unlock", "fold_cover") and item == "blanket"):
            return
        words = {"bolt": ("tight", "loose"), "connect": ("joined", "parted"), "fold_cover": ("open", "closed")}
        one = Act("s", kind, (who,), "" if kind in ("carry", "arrive") else item, to=to, count=count,
                  make=words.get(kind, ("", ""))[make], fastener="cover" if kind == "fold_cover" else "pan_lock")
        after, violations = entered(self.custody, one)
        if violations and only_lawful:
            return  # refused: nothing is done, so what comes next is still lawful
        self.custody, self.lawful = after, self.lawful and not violations
        if not violations:
            self.book[item] = {"take": "held", "hand_over": "held", "seat": to}.get(kind, self.book[item])

    @invariant()
    def every_item_is_in_exactly_one_place(self):
        assert set(self.custody.states) == set(ITEMS)
        seated = [item for seat in SEATS for item in self.custody.in_seat(seat)]
        for item, state in self.custody.states.items():
            places = (seated.count(item), int(state.where == "held"), int(state.where == "adrift"))
            assert sum(places) == 1
            assert (state.where == "seat") == bool(state.seat)
            assert state.where != "adrift" or not state.hands
            if state.seat:
                assert state.bolts_tight <= SEATS[state.seat].bolts or not self.lawful
            assert state.bolts_tight >= 0
            assert state.connectors_joined >= 0

    @precondition(lambda self: self.lawful)
    @invariant()
    def what_was_done_lawfully_is_safe(self):
        for item, state in self.custody.states.items():
            assert state.where != "adrift"
            assert self.book[item] == (state.seat or state.where)
            if state.where == "held":
                assert state.secured
                assert state.bolts_tight == state.connectors_joined == 0
            elif SEATS[state.seat].bolts:
                assert state.secured
        for seat in SEATS:
            assert len(self.custody.in_seat(seat)) <= 1


AnyOrder.TestCase.settings = settings(max_examples=60, stateful_step_count=30, deadline=None)
TestAnyOrder = AnyOrder.TestCase
