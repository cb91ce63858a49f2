"""Two in one place, more bolts than there are, and slips of the pen: told by validate, at their line."""

from pathlib import Path

import pytest

from armcarry.files.load import validate_files

DAY = Path(__file__).parents[1] / "timeline" / "short_day.yaml"

SLIPS = {
    "two riders": ("ev2: {posture: carry, at: inside}", "ev2: {posture: carry, at: arm}",
                   "ev2 starts in the restraint on the arm, where ev1 is; accepted: a place of its own"),
    "two in one seat": ("at: platform/cart_2_seat", "at: platform/cart_1_seat",
                        "rail_cart_2 starts in seat 'cart_1_seat', where rail_cart_1 is; accepted: a place of its own"),
    "a worker in a box": ("ev2: {posture: carry, at: inside}", "ev2: {posture: carry, at: platform/rack_b_seat}",
                          "thermal_blanket starts in seat 'rack_b_seat', where ev2 is; accepted: a place of its own"),
    "more bolts than there are": (
        "count: 4, each: 1 min, make: loose", "count: 20, each: 1 min, make: loose",
        "no seat of pump_box has more than 4 bolts; found 20; accepted: 4 at most"),
    "bolts where there are none": (
        "{name: hold, actors: [ev1], at: rack_a, steady: {what: pump_box}, takes: 1 min}",
        "{name: hold, actors: [ev1], at: rack_a, connect: {what: thermal_blanket, make: parted}, takes: 1 min}",
        "no seat of thermal_blanket has more than 0 connectors; found 1; accepted: 0 at most"),
    "a capital": ("arm: heron", "arm: Heron",
                  "names of models are lower case; did you mean 'heron'?; found 'Heron'; accepted: a name such as "
                  "heron, or own/arm.yaml"),
    "a colon": ("title: a short day", "title: a day: short",
                "not YAML: a colon and a blank inside a text, which then needs quotes, or a line that is indented "
                "wrongly"),
}  # fmt: skip


@pytest.mark.parametrize(("good", "bad", "words"), SLIPS.values(), ids=SLIPS)
def test_a_slip_is_told_at_its_line(good, bad, words, tmp_path):
    text = DAY.read_text()
    assert good in text
    path = tmp_path / "day.yaml"
    path.write_text(text.replace(good, bad, 1))
    told = [str(problem).removeprefix(f"{path}:").partition(": ") for problem in validate_files([path])]
    assert [rest for line, _, rest in told if line.isdigit()] == [words]


def test_the_day_itself_has_none():
    assert validate_files([DAY]) == []


def test_an_unknown_key_with_signs_that_are_not_shown_is_told_where_it_stands(tmp_path):
    path = tmp_path / "day.yaml"
    path.write_text(DAY.read_text() + '"\\e[2Jodd": 1\n')
    (told,) = [str(problem) for problem in validate_files([path])]
    assert told.startswith(f"{path}:1: unknown key '") and told.isprintable()
