"""YAML as written: read back the same, by our reader and by another."""

import json
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ruamel.yaml import YAML

from armcarry.files import places
from armcarry.files.validate import read_any
from armcarry.files.yaml_text import parse_yaml, read_yaml
from armcarry.files.yaml_write import yaml_document

FILE = Path("a.yaml")


def test_short_values_stand_in_one_line_and_long_ones_below():
    data = {
        "format": "armcarry scenario 1",
        "start": {"turn": "15 deg", "slide": "0.5 m"},
        "moves": [{"to_joints": {f"joint_{k}": f"{k}.5 deg" for k in range(9)}, "say": "go: now"}, {"hold": "1:30"}],
        "empty": {},
        "none": None,
        "flag": True,
        "yes": "yes",
        "null": "null",
        "number": "7",
        "pattern": "arm/*",
    }
    assert yaml_document(data).splitlines() == [
        "format: armcarry scenario 1",
        "start: {turn: 15 deg, slide: 0.5 m}",
        "moves:",
        "- to_joints:",
        *(f"    joint_{k}: {k}.5 deg" for k in range(9)),
        '  say: "go: now"',
        '- {hold: "1:30"}',
        "empty: {}",
        "none: null",
        "flag: true",
        '"yes": "yes"',
        '"null": "null"',
        'number: "7"',
        "pattern: arm/*",
    ]


_keys = st.text("abcXYZ019_ :-#'\"", min_size=1, max_size=8).filter(lambda key: key not in ("null", "~", "<<"))
_words = st.text(st.characters(exclude_categories=("Cs", "Cn")), max_size=20) | st.text(
    "ab: #-'\"[]{}\\\n\t~&*!|>%@`0.eE+,?", max_size=12
)
_scalars = st.none() | st.booleans() | st.integers(-(10**12), 10**12) | st.floats(-1e200, 1e200) | _words
_values = st.recursive(
    _scalars, lambda inner: st.lists(inner, max_size=4) | st.dictionaries(_keys, inner, max_size=4), max_leaves=15
)


@settings(deadline=None, max_examples=300)
@given(st.dictionaries(_keys, _values, max_size=5))
def test_what_is_written_is_read_back(data):
    text = yaml_document(data)
    assert parse_yaml(text.encode(), FILE).data == data


@settings(deadline=None, max_examples=150)
@given(st.dictionaries(_keys, _values, max_size=4))
def test_another_reader_reads_the_same(data):
    # ruamel.yaml's own constructor, YAML 1.2; timestamps and numbers with underscores are its additions
    text = yaml_document(data)
    assert json.loads(json.dumps(YAML(typ="safe", pure=True).load(text))) == data


def test_what_cannot_be_written_is_refused():
    for data in ({"a": float("nan")}, {"a": object()}, {"a": "\ud800"}, {1: "a"}):
        with pytest.raises(ValueError, match=r"not JSON compliant|cannot hold|half of a character|a key is text"):
            yaml_document(data)


def test_shipped_files_come_back_as_the_same_documents(tmp_path):
    shipped = [*places.models_folder().glob("*/*/*.yaml"), *places.scenarios_folder().glob("*.yaml")]
    assert len(shipped) > 8
    for path in shipped:
        text = yaml_document(read_yaml(path).data)
        copy = tmp_path / path.name
        copy.write_text(text)
        assert read_any(copy).document == read_any(path).document
