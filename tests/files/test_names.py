"""Patterns of names."""

from __future__ import annotations

import re
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st
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
        ("*", "", True),
        ("**", "a/b", True),
        ("a*a", "a", False),
        ("a*ba", "aba", True),
        ("*ab*ab", "ab_ab", True),
        ("*ab*ab", "abab_abb", False),
    ],
)
def test_a_star_is_any_run_and_a_bar_is_or(pattern, name, fits):
    assert matches(pattern, name) is fits


@pytest.mark.parametrize("pattern", ["a||b", "|a", "a|", "a b", ""])
def test_patterns_without_a_name_on_both_sides_of_the_bar_are_refused(pattern):
    with pytest.raises(ValidationError):
        TypeAdapter(NamePattern).validate_python(pattern)
    TypeAdapter(NamePattern).validate_python("a_*|b/c")


@given(st.text("ab*|", min_size=1, max_size=12), st.text("ab", max_size=12))
def test_a_pattern_fits_what_the_same_regular_expression_fits(pattern, name):
    expression = "|".join(".*".join(map(re.escape, choice.split("*"))) for choice in pattern.split("|"))
    assert matches(pattern, name) is (re.fullmatch(expression, name) is not None)


def test_a_pattern_of_many_stars_is_decided_at_once():
    pattern, name = "*a" * 79 + "*b", "a" * 5000
    begun = time.process_time()
    assert not any(matches(pattern, f"{name}{k}") for k in range(100))
    assert time.process_time() - begun < 1.0
