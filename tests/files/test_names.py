"""Patterns of names."""

from __future__ import annotations

import pytest
from pydantic import TypeAdapter, ValidationError

from armcarry.files.documents.base import NamePattern
from armcarry.files.names import matches


@pytest.mark.parametrize(
    ("pattern", "name", "fits"),
    [
        ("ev1/*", "ev1/boot_left", True),
        ("ev1/boot_*|ev1/shin_*", "ev1/shin_left", True),
        ("ev1/boot_*|ev1/shin_*", "ev1/thigh_left", False),
        ("ev1/boot|left", "ev1/boot_left", False),
        ("a|b", "a|b", False),
        ("a.c", "abc", False),
    ],
)
def test_a_star_is_any_run_and_a_bar_is_or(pattern, name, fits):
    assert matches(pattern, name) is fits


@pytest.mark.parametrize("pattern", ["a||b", "|a", "a|", "a b", ""])
def test_patterns_without_a_name_on_both_sides_of_the_bar_are_refused(pattern):
    with pytest.raises(ValidationError):
        TypeAdapter(NamePattern).validate_python(pattern)
    TypeAdapter(NamePattern).validate_python("a_*|b/c")
