"""A script and its changes: plain values and the text say the same, whatever was done."""

import random
from pathlib import Path

import pytest

from armcarry.editing.script import Change, Op, Script
from armcarry.files.yaml_text import parse_yaml

SCENARIOS = sorted((Path(__file__).parents[2] / "scenarios").glob("*.yaml"))


@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_the_text_says_what_the_values_say_after_any_acts(path):
    text = path.read_text(encoding="utf-8")
    script = Script(text, parse_yaml(text.encode(), path).data)
    assert script.written() == text
    draw = random.Random(1)
    for _ in range(12):
        script.do(_drawn(script.data, draw))
        while draw.random() < 0.3:
            draw.choice((script.undo, script.redo))()
    assert parse_yaml(script.written().encode(), path).data == script.data
    comments = [line.strip() for line in text.splitlines() if line.strip().startswith("#")]
    assert comments[0] in script.written()


def _drawn(data, draw):
    carries = [k for k, carry in enumerate(data["carries"]) if carry.get("moves")] if data.get("carries") else []
    if not carries:
        return Change("title", (Op("set", ("title",), f"T {draw.random()}"),))
    k = draw.choice(carries)
    n = draw.randrange(len(data["carries"][k]["moves"]))
    at = ("carries", k, "moves", n)
    return draw.choice((
        Change("rate", (Op("set", (*at, "rate"), 0.5),)),
        Change("hold", (Op("insert", at, {"hold": "3 s", "say": "Wait: once"}),)),
        Change("title", (Op("set", ("title",), "Another"), Op("set", (*at, "say"), "Now"))),
        *([Change("gone", (Op("remove", at),))] if len(data["carries"][k]["moves"]) > 1 else []),
    ))  # fmt: skip


def test_undo_has_no_end_and_a_new_change_forgets_what_was_undone():
    script = Script("title: a\n", {"title": "a"})
    for number in range(500):
        script.do(Change("", (Op("set", ("title",), str(number)),)))
    for number in reversed(range(499)):
        script.undo()
        assert script.data["title"] == str(number)
    script.undo()
    assert script.data["title"] == "a"
    assert script.undo() is None
    assert script.written() == "title: a\n"
    script.redo()
    script.do(Change("", (Op("set", ("title",), "b"),)))
    assert script.redo() is None
    assert len(script.changes) == 2


@pytest.mark.parametrize("gap", ["", "  "])
def test_lists_stand_from_their_keys_as_they_did(gap):
    moves = "".join(f"{gap}  {gap}- {{hold: {count} s}}\n" for count in (5, 6))
    text = f"title: a\ncarries:  # all\n\n{gap}- name: out\n{gap}  moves:\n{moves}"
    script = Script(text, parse_yaml(text.encode(), Path("a.yaml")).data)
    script.do(Change("title", (Op("set", ("title",), "b"),)))
    assert script.written() == text.replace("title: a", "title: b")
