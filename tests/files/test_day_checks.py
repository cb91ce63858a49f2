"""Names inside a day: each is resolved when the file is read, told with file and line, as a rehearsal would need it."""

from __future__ import annotations

import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.rehearsal import validate
from armcarry.scene.build import build_scene
from armcarry.timeline.day_run import run_day

STEPS = """day:
  steps:
  - {name: go, actors: [ev2], translate: {from: airlock, to: bay}}
  - {name: free, actors: [ev2], at: bay, unlock: {what: box, fastener: cover}, takes: 1 min}
  - {name: take, actors: [ev2], at: bay, take: {what: box}, takes: 1 min}
  - {name: give, actors: [ev2], hand_over: {what: box, to: ev1}, takes: 1 min}
  - {name: put, actors: [ev1], seat: {what: box, into: seat}, takes: 1 min}
  - {name: push, actors: [ev2], move_cart: {cart: cart, to: 2 m}, takes: 1 min}
  - {name: off, actors: [ev1, arm], leave_restraint: {to: platform/stand}, takes: 1 min}
  - {name: on, actors: [ev1], enter_restraint: {}, takes: 1 min}
  - {name: look, actors: [ground], inspect: all, takes: 1 min, relax: [{bodies: ["ev1/*", "platform/*"], required: 0.1 m, why: near, through: last}]}
  - {name: last, actors: [ev1], note: end, takes: 1 min}
  others: [ground]
  relax: [{steps: [on], bodies: ["ev1/*", "platform/*"], required: 0.1 m, why: near}]
"""  # noqa: E501


@pytest.fixture
def day(world):
    script = world / "script.yaml"
    script.write_text(script.read_text() + STEPS)
    return script


def test_a_day_whose_names_are_all_there_is_in_order(day):
    assert [str(problem) for problem in validate([day])] == []


WRONG = [
    ("to: bay}", "to: bai}", "no worksite named 'bai'; accepted: bay (nearest), or one of: airlock, bay; or a frame"),
    ("from: airlock", "from: bai", "no worksite named 'bai'"),
    ("from: airlock", "from: platform/bai", "'platform' has no frame 'bai'; accepted: "),
    ("at: bay, unlock", "at: bai, unlock", "no worksite named 'bai'"),
    ("fastener: cover", "fastener: covr", "no fastener of 'box' named 'covr'; accepted: cover"),
    ("into: seat", "into: seet", "no seat named 'seet'; accepted: seat"),
    ("into: seat}", "into: seat, station: 1 m}", "seat 'seat' is not that of a cart; accepted: no station"),
    ("cart: cart, to: 2 m", "cart: box, to: 2 m", "no cart named 'box'; accepted: cart"),
    ("cart: cart, to: 2 m", "cart: cart, to: 7 m", "outside the travel of 'cart_slide'; found '7 m'; accepted: 0.0"),
    ("to: ev1}", "to: ground}", "no actor with hands named 'ground'; accepted: arm, ev1, ev2"),
    ("actors: [ev2], at: bay, take", "actors: [ground], at: bay, take", "no actor with hands named 'ground'"),
    ("to: platform/stand}", "to: platform/stend}", "'platform' has no frame 'stend'; accepted: stand (nearest)"),
    ("actors: [ev1], enter", "actors: [arm], enter", "enter_restraint is done by a crewmember; accepted: ev1, ev2"),
    ("actors: [ev1], enter", "actors: [ground], enter", "no crewmember who can do enter_restraint named 'ground'"),
    ("actors: [ev2], translate", "actors: [arm], translate", "translate is done by a crewmember; accepted: ev1, ev2"),
    ('"platform/*"], required: 0.1 m, why: near, through', '"deck/*"], required: 0.1 m, why: near, through',
     "no body of this scenario fits 'deck/*'"),
    ("near, through: last", "near, through: lost", "no step named 'lost'; accepted: last (nearest)"),
    ('on], bodies: ["ev1/*"', 'on], bodies: ["ev9/*"', "no body of this scenario fits 'ev9/*'"),
    ("move_cart: {cart: cart, to: 2 m}", "move_base: {to: 2 m}",
     "mount 'fixed' does not travel; accepted: a travelling mount: rolling"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "words"), WRONG, ids=[new[:50] for _, new, _ in WRONG])
def test_a_name_that_is_not_there_is_told_at_its_line(day, old, new, words):
    text = day.read_text()
    at = text.rindex(old)
    text = text[:at] + text[at:].replace(old, new, 1)
    day.write_text(text.replace("actors: [ev2], move_base", "actors: [arm, ev2], move_base"))
    line = text.count("\n", 0, at) + 1
    told = [str(problem) for problem in validate([day])]
    assert any(problem.startswith(f"{day}:{line}: {words}") for problem in told), told
    with pytest.raises(InputError):
        load_scenario(day)


def test_fitting_a_restraint_needs_one(day):
    text = day.read_text().replace("restraint: {model: step, at: arm, settings: {yaw: 30 deg}}\n", "")
    text = text.replace("at: arm}", "at: inside}").replace("enter_restraint: {}", "fit_restraint: {}")
    day.write_text(text)
    assert any("fit_restraint" not in str(p) and "this scenario has no restraint" in str(p) for p in validate([day]))


def test_a_cover_that_the_seat_counts_is_no_lock(day, change):
    change("models/hardware/box/box.yaml", "fasteners:\n", "fasteners:\n  feet: {kind: bolts, needed_to: [release]}\n")
    day.write_text(day.read_text().replace("fastener: cover", "fastener: feet"))
    (told,) = validate([day])
    assert "no fastener of 'box' named 'feet'; accepted: cover" in str(told)


def test_steps_in_a_circle_are_told_with_file_and_line(day):
    text = day.read_text().replace("name: free, ", "name: free, after: [last], ")
    text = text.replace("name: last, ", "name: last, after: [free], ")
    day.write_text(text)
    line = text.count("\n", 0, text.index("name: free, ")) + 1
    (told,) = validate([day])
    assert str(told).startswith(f"{day}:{line}: the steps wait for one another in a circle: "), told
    assert "'on' comes before 'last' (ev1 does it next)" in str(told)
    assert "'last' comes before 'free' (a link)" in str(told)
    with pytest.raises(InputError) as caught:
        run_day(build_scene(load_scenario(day)))
    assert str(caught.value) == str(told)


def test_a_circle_that_only_a_fallback_closes_is_told_too(day):
    text = day.read_text().replace("name: last, actors: [ev1], ", "name: last, actors: [ground], after: [other], ")
    text = text.replace("name: off, ", "name: off, fallback: last, ")
    text += "  - {name: other, actors: [ev2], note: x, takes: 1 min, after: [off]}\n"
    text = text.replace("  others: [ground]\n  relax: [{steps: [on]", "  relax: [{steps: [on]")
    head, steps = text.split("  relax: [{steps: [on]")
    day.write_text(head + steps.partition("\n")[2] + "  others: [ground]\n")
    (told,) = validate([day])
    assert "in a circle: " in str(told)
    assert "(a link)" in str(told)


def test_fallbacks_in_a_circle_are_told_with_file_and_line(day):
    text = day.read_text().replace("name: on, ", "name: on, fallback: last, ")
    text = text.replace("name: last, ", "name: last, fallback: on, ")
    day.write_text(text)
    (told,) = validate([day])
    line = text.count("\n", 0, text.index("name: on, ")) + 1
    assert str(told).startswith(f"{day}:{line}: step 'on': the fallbacks go round in a circle: on -> last -> on")


def test_more_to_be_kept_than_there_is_is_refused(day):
    day.write_text(day.read_text() + "  consumables: {air: {lasts: 1 h, keep: 2 h, actors: [ev1]}}\n")
    (told,) = validate([day])
    assert "more is to be kept than there is: keep must be at most lasts" in str(told)


SUIT = "suits: {thin: {tanks: {air: {rest: 9 h, light: 8 h, heavy: 6 h, keep: 30 min}}}}\n"


@pytest.mark.parametrize(("of_rules", "of_ev1", "at", "words"), [
    (SUIT, "suit: thick", "script.yaml:{line}: ", "no suit of the rules named 'thick'; accepted: thin"),
    (SUIT, "suit: thin, filled: {oxygen: 90 %}", "script.yaml:{line}: ",
     "no tank of suit 'thin' named 'oxygen'; accepted: air"),
    (SUIT, "filled: {air: 90 %}", "script.yaml:{line}: ",
     "how full a tank is can be said of a suit alone, and none is stated; accepted: suit: one of those of the rules"),
    (SUIT.replace("8 h", "5 h"), "suit: thin", "rules", "a tank lasts the longer the less the effort: rest >= li"),
    (SUIT.replace("30 min", "9 h"), "suit: thin", "rules", "more is to be kept than there is: keep must be at most li"),
    (SUIT + "effort: {jump: heavy}\n", "suit: thin", "rules", "'jump' is no kind of step; known: bolt, call, "),
])  # fmt: skip
def test_a_suit_that_cannot_be_worn_is_told_at_its_line(day, world, of_rules, of_ev1, at, words):
    (rules,) = (world / "models" / "rules").rglob("*.yaml")
    rules.write_text(rules.read_text() + of_rules)
    text = day.read_text()
    text = text.replace("posture: rest, at: arm}", f"posture: rest, at: arm, {of_ev1}}}", 1)
    day.write_text(text)
    line = text.count("\n", 0, text.index(of_ev1)) + 1
    told = [str(problem) for problem in validate([day])]
    assert any(at.format(line=line) in one and words in one for one in told), told
