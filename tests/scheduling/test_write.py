"""A script with its day rearranged: lines move with their comments, and what cannot be moved is refused."""

from __future__ import annotations

from pathlib import Path

import pytest

from armcarry.errors import InputError
from armcarry.files.yaml_text import parse_yaml
from armcarry.scheduling.write import Going, Rearranged, rearranged

TEXT = """\
title: a day
day:
  cut_off: "1:00"
  steps:
    - {name: a, actors: [ev1], note: one}

    # about b
    - {name: b, actors: [ev1], note: two,
       after: [a]}
    - name: c
      actors: [ev2]
      note: three
  # of the day
# behind it
pictures: []
"""
NAMES = ("a", "b", "c")


def _new(text=TEXT, **change):
    yaml = parse_yaml(text.encode(), Path("day.yaml"))
    change.setdefault("order", NAMES)
    return rearranged(yaml, NAMES, Rearranged(**change))


def test_nothing_changes_where_nothing_does():
    assert _new() == TEXT


def test_comments_go_with_the_step_below_them_and_what_follows_the_steps_stays():
    assert _new(order=("c", "b", "a")).splitlines()[3:] == [
        "  steps:", "    - name: c", "      actors: [ev2]", "      note: three", "", "    # about b",
        "    - {name: b, actors: [ev1], note: two,", "       after: [a]}", "    - {name: a, actors: [ev1], note: one}",
        "  # of the day", "# behind it", "pictures: []",
    ]  # fmt: skip


def test_links_are_added_to_those_there_are_or_put_in():
    new = _new(links={"a": ("c",), "b": ("c",), "c": ("x", "y")})
    assert "{name: a, actors: [ev1], note: one, after: [c]}" in new
    assert "after: [c, a]}" in new
    assert "      note: three\n      after: [x, y]\n" in new


def test_a_way_is_put_in_before_its_step_under_a_name_that_is_free():
    new = _new(goings=(Going("ev1", "platform/rail_3", "c"),))
    assert '    - {name: ev1_to_rail_3, title: to rail 3, actors: [ev1], translate: {to: platform/rail_3}}\n' in new
    assert new.index("ev1_to_rail_3") < new.index("name: c")
    taken = _new(TEXT.replace("name: a,", "name: ev1_to_rail_3,"), goings=(Going("ev1", "rail_3", "c"),))
    assert "name: ev1_to_rail_3, title" in taken or "ev1_to_rail_3_2" in taken


def test_two_who_go_to_one_step_both_get_their_way_and_its_links():
    both = (Going("ev1", "rail_3", "c", "first_way"), Going("ev2", "rail_3", "c", "second_way", ("first_way",)))
    new = _new(goings=both).splitlines()
    at = next(k for k, line in enumerate(new) if "name: first_way" in line)
    assert "name: second_way" in new[at + 1] and "after: [first_way]" in new[at + 1] and "name: c" in new[at + 2]


def test_who_does_it_is_changed_in_its_own_step_alone():
    new = _new(handed={"a": ("ev1", "ev2")})
    assert "{name: a, actors: [ev2], note: one}" in new
    assert "{name: b, actors: [ev1]," in new


def test_what_is_left_out_is_put_in_or_replaced():
    assert '  cut_off: "1:00"\n  left_out: [b, c]\n  steps:\n' in _new(left_out=("b", "c"))
    there = TEXT.replace("  steps:", "  left_out: [a]\n  steps:")
    assert "  left_out: [c]\n  steps:" in _new(there, left_out=("c",))
    with pytest.raises(InputError, match="what is left out is not written on a line"):
        _new(TEXT.replace("  steps:", "  left_out:\n    - a\n  steps:"), left_out=("c",))


def test_steps_in_one_line_cannot_be_moved():
    text = "day:\n  steps: [{name: a, actors: [ev1], note: x}, {name: b, actors: [ev1], note: x}, {name: c, note: x}]\n"
    with pytest.raises(InputError) as caught:
        _new(text)
    assert "day.yaml:2: steps are moved as lines of the file" in str(caught.value)
    assert "accepted: steps one below another, each beginning with '- '" in str(caught.value)
