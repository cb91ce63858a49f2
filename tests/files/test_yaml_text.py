"""Strict YAML: what each kind of text becomes, and what is refused with which words and line."""

import json
import time
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from armcarry.errors import InputError
from armcarry.files import yaml_text
from armcarry.files.yaml_text import parse_yaml, read_yaml

FILE = Path("a.yaml")


def test_values_are_those_of_yaml_1_2():
    # the words that YAML 1.1 turned into booleans, sexagesimal numbers, octals and dates stay text
    text = (
        "yes: no\non: off\nclock: 1:30:00\nday: 2026-01-01\noctal: 010\nold: 0o10\nhexa: 0x10\nunder: 1_000\n"
        "int: -7\nfloat: 1.5\nexp: 1e3\ntrue: true\nnothing: ~\nempty:\nquoted: '7'\nlist: [a, 2, {b: c}]\n"
    )
    assert parse_yaml(text.encode(), FILE).data == {
        "yes": "no",
        "on": "off",
        "clock": "1:30:00",
        "day": "2026-01-01",
        "octal": 10,
        "old": "0o10",
        "hexa": "0x10",
        "under": "1_000",
        "int": -7,
        "float": 1.5,
        "exp": 1000.0,
        "true": True,
        "nothing": None,
        "empty": None,
        "quoted": "7",
        "list": ["a", 2, {"b": "c"}],
    }


def test_lines_are_those_of_the_keys():
    yaml = parse_yaml(b"# first\na:\n  b: 1\n  c:\n  - x\n  - y: |\n      long\n      text\nd: 2\n", FILE)
    assert yaml.lines == {
        (): 1,
        ("a",): 2,
        ("a", "b"): 3,
        ("a", "c"): 4,
        ("a", "c", 0): 5,
        ("a", "c", 1): 6,
        ("a", "c", 1, "y"): 6,
        ("d",): 9,
    }
    assert yaml.line(("a", "gone", "deeper")) == 2
    assert yaml.known(("a", "c", 7)) == ("a", "c")
    assert yaml.value(("a", "c", 1, "y")) == "long\ntext\n"
    assert yaml.value(("a", "c", 9)) is None
    assert yaml.value(("d", "e")) is None


def test_a_byte_order_mark_and_windows_line_ends_are_read():
    yaml = parse_yaml(b"\xef\xbb\xbfa: 1\r\nb: 2\r\n", FILE)
    assert yaml.data == {"a": 1, "b": 2}
    assert yaml.lines["b",] == 2


REFUSED = [
    (b"a: 1\na: 2", "a.yaml:2: key 'a' stands twice, first in line 1; accepted: each key once"),
    (b"x:\n  a: 1\n  'a': 2", "a.yaml:3: key 'a' stands twice, first in line 2; accepted: each key once"),
    (b"a:\n\tb: 1", "a.yaml:2: not YAML: a tab stands where only spaces may indent"),
    (b"a: 1\nb: &x 1", "a.yaml:2: an anchor (&name) is not accepted; accepted: the value itself"),
    (b"a: *x", "a.yaml:1: an alias (*name) is not accepted; accepted: the value itself"),
    (b"<<: {a: 1}", "a.yaml:1: an empty or merge key; found '<<'; accepted: keys of plain text"),
    (b": 1", "a.yaml:1: an empty or merge key; found ''; accepted: keys of plain text"),
    (
        b"a: !!python/object:os.system x",
        "a.yaml:1: a tag is not accepted; found 'tag:yaml.org,2002:python/object:os.system'; "
        "accepted: values without tags",
    ),
    (b"a: !local x", "a.yaml:1: a tag is not accepted; found '!local'; accepted: values without tags"),
    (b"a: 1\n---\nb: 2", "a.yaml:2: a second document begins; accepted: one document a file"),
    (b"", "a.yaml:1: not a mapping of keys to values; accepted: lines such as 'key: value'"),
    (b"- 1", "a.yaml:1: not a mapping of keys to values; accepted: lines such as 'key: value'"),
    (b"just words", "a.yaml:1: not a mapping of keys to values; accepted: lines such as 'key: value'"),
    (b"a: 1\nb: \xff", "a.yaml:2: not UTF-8 text (byte 8); accepted: UTF-8"),
    (b"a: 1\nb: \x07", "a.yaml:2: a control character, which YAML does not allow; found '\\x07'"),
    (
        b'a: 1\nb: "\\ud800"',
        "a.yaml:2: an escape that is half a character (a lone surrogate); accepted: the character itself",
    ),
    (b"a: b\x00c", "a.yaml:1: a control character, which YAML does not allow; found '\\x00'"),
    (b"%YAML 1.1\n---\na: yes", "a.yaml:2: a %YAML or %TAG directive; accepted: YAML 1.2 without directives"),
    (b"a: .nan", "a.yaml:1: not a finite number; found '.nan'; accepted: finite numbers"),
    (b"a: -.inf", "a.yaml:1: not a finite number; found '-.inf'; accepted: finite numbers"),
    (b"a: 1e999", "a.yaml:1: a number too large to be meant; found '1e999'; accepted: finite numbers"),
    (b"a: [1", "a.yaml:1: not YAML: expected ',' or ']', but got '<stream end>'"),
    (b"a: b: c", "a.yaml:1: not YAML: a colon and a blank inside a text, which then needs quotes, or a line that is "
                 "indented wrongly"),
    (b"? [1]\n: 2", "a.yaml:1: a key that is a list or a mapping; accepted: keys of plain text"),
    (b"a: " + b"[" * 30 + b"]" * 30, "a.yaml:1: nested too deep; accepted: at most 24 levels"),
]


@pytest.mark.parametrize(("content", "message"), REFUSED, ids=[repr(content[:24]) for content, _ in REFUSED])
def test_what_is_refused(content, message):
    with pytest.raises(InputError) as caught:
        parse_yaml(content, FILE)
    assert str(caught.value) == message


def test_files_that_cannot_be_read(tmp_path):
    with pytest.raises(InputError, match=r"gone\.yaml: no such YAML file"):
        read_yaml(tmp_path / "gone.yaml")
    with pytest.raises(InputError, match="a folder, not a YAML file"):
        read_yaml(tmp_path)
    with pytest.raises(InputError, match="cannot read this YAML file: "):
        read_yaml(tmp_path / ("x" * 300 + ".yaml"))
    with pytest.raises(InputError, match="cannot read this YAML file: embedded null byte"):
        read_yaml(Path("a\0b"))
    large = tmp_path / "large.yaml"
    large.write_bytes(b"a: b\n" * 100_001)
    with pytest.raises(InputError, match=r"large\.yaml: YAML file too large; accepted: at most 500000 bytes"):
        read_yaml(large)
    with pytest.raises(InputError, match=r"a\.yaml: YAML file too large"):
        parse_yaml(b"a" * 500_001, FILE)


@pytest.mark.parametrize(
    "content",
    [
        b"[" * 100_000,
        b"{" * 100_000,
        b"- " * 100_000,
        b"? " * 100_000,
        b"[a," * 50_000,
        b"a: !a " * 50_000,
        b"&a " * 90_000,
    ],
    ids=["lists", "mappings", "dashes", "questions", "lists_of_two", "tags", "anchors"],
)
def test_deep_nesting_is_refused_at_once(content):
    start = time.process_time()
    with pytest.raises(InputError):
        parse_yaml(content[: yaml_text.MAX_BYTES], FILE)
    assert time.process_time() - start < 5.0


_keys = st.text("abcXYZ019", min_size=1, max_size=6)
_words = st.text("abc: #-'\"[]{}\\\n\t~&*!|>%@`0.eE+é漢", max_size=12)
_values = st.recursive(
    st.none() | st.booleans() | st.integers(-(10**12), 10**12) | st.floats(-1e9, 1e9) | _words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(_keys, inner, max_size=3),
    max_leaves=8,
)


def test_a_pair_of_escapes_is_one_character():
    assert parse_yaml(json.dumps({"a\U0001f600": "\U0001f600"}).encode(), FILE).data == {"a\U0001f600": "\U0001f600"}


@settings(deadline=None, max_examples=150)
@given(st.dictionaries(_keys, _values, max_size=4))
def test_json_is_read_as_json(data):
    # JSON is YAML 1.2, so an independent writer and reader of JSON must agree with us
    assert parse_yaml(json.dumps(data).encode(), FILE).data == data
