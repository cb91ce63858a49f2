"""Every key explained: descriptions, examples that are accepted, the reference pages, and one key looked up."""

from __future__ import annotations

import json

import pytest
from pydantic import TypeAdapter

from armcarry.errors import InputError
from armcarry.files import places
from armcarry.files.document_types import parts
from armcarry.files.reference import OWN, all_keys, explain, pages, write_pages
from armcarry.files.schemas import example_of, schema_texts
from armcarry.files.validate import FORMATS
from armcarry.files.yaml_text import parse_yaml

KEYS = [key for keys in all_keys().values() for key in keys]


@pytest.mark.parametrize("name", sorted(pages()))
def test_the_published_pages_are_those_of_the_schemas(name):
    # after a change of a document: python -m armcarry.files.reference
    assert (places.shared_folder() / "reference" / name).read_text() == pages()[name]


#: pages written by hand, held to what they tell of by the tests of the documents
BY_HAND = {"logs.md", "commands.md", "day.md", "install.md", "python.md", "run_folder.md", "terms.md"}


def test_nothing_else_lies_among_the_pages():
    assert {path.name for path in (places.shared_folder() / "reference").iterdir()} == {*pages(), *BY_HAND}


def test_every_key_of_every_schema_has_a_description_and_an_example():
    bare = []
    for name, text in schema_texts().items():
        schema = json.loads(text)
        for part, node in (("top", schema), *schema.get("$defs", {}).items()):
            for key, said in node.get("properties", {}).items():
                # an annotation of the type alone, such as a quantity's range, is no meaning
                if len(said.get("description", "").split("; ")[0]) < 8 or not said.get("examples"):
                    bare.append(f"{name} {part}.{key}")
    assert bare == []


def test_every_field_says_its_meaning_itself():
    bare = [
        f"{part.__name__}.{name}"
        for document in FORMATS.values()
        for part in parts(document).values()
        for name, info in part.model_fields.items()
        if not info.description
    ]
    assert bare == []


@pytest.mark.parametrize("form", sorted(FORMATS))
def test_every_example_is_accepted(form):
    for part in parts(FORMATS[form]).values():
        for name, info in part.model_fields.items():
            if name == "takes":  # a plain time, which the step turns into three
                continue
            field = TypeAdapter(part.__annotations__ and _field_type(part, name))
            field.validate_json(json.dumps(example_of(part, name)), strict=True)
            for example in info.examples or ():
                field.validate_json(json.dumps(example), strict=True)


def _field_type(part, name):
    from typing import Annotated

    info = part.model_fields[name]
    return Annotated[(info.annotation, *info.metadata)] if info.metadata else info.annotation


def test_the_example_of_a_whole_part_is_accepted():
    for document in FORMATS.values():
        for part in parts(document).values():
            if part.EXAMPLE:
                part.model_validate_json(json.dumps(part.EXAMPLE), strict=True)


def test_examples_are_yaml_that_reads_back():
    for key in KEYS:
        assert parse_yaml(key.example.encode(), places.shared_folder()).data.keys() == {key.path[-1]}


def test_every_key_of_the_schemas_is_on_a_page():
    made = pages()
    for key in KEYS:
        page = made[f"{key.document}.md"]
        assert f"| `{key.path[-1]}` | " in page
        assert f"## `{'.'.join(key.path[:-1]).replace('.[]', '[]')}`" in page or len(key.path) == 1
    assert len(KEYS) > 390


@pytest.mark.parametrize(
    ("wanted", "path"),
    [
        ("rate", "carries[].moves[].rate"),
        ("moves.rate", "carries[].moves[].rate"),
        ("carries[0].moves[3].rate", "carries[].moves[].rate"),
        ("scenario.carries.moves.rate", "carries[].moves[].rate"),
        ("crew.ev1.posture", f"crew.{OWN}.posture"),
        ("from", "day.steps[].translate.from"),
        ("arm.base", "base"),
    ],
)
def test_a_key_is_found_by_its_name_or_path(wanted, path):
    assert path in {key.spelled for key in explain(wanted)}


def test_a_key_says_unit_range_default_and_example():
    (key,) = explain("safe_return")
    assert key.meaning == (
        "longest time for a stranded rider to the airlock; the default is an assumption; "
        "a time with its unit (s, min, h, ms), 0 s to 168 h"
    )
    assert (key.default, key.required, key.example) == ("30 min", False, "safe_return: 30 min")
    (key,) = explain("joint_acceleration")
    assert "each an angular acceleration with its unit (deg/s^2, rad/s^2), more than 0 deg/s^2" in key.meaning
    (key,) = explain("vehicle")
    assert (key.takes, key.default) == ("docked, absent", "absent")
    assert explain("margins")[0].holds == ("joint_position", "joint_travel", "smallest_singular_value")


@pytest.mark.parametrize(
    ("wanted", "words"),
    [
        ("reacton_time", "no key of any document; found 'reacton_time'; accepted: reaction_time (nearest)"),
        ("day.rate", "no key of any document; found 'day.rate'; accepted: rate"),
        ("", "no key of any document; found ''; accepted: "),
        ("...", "no key of any document; found '...'; accepted: "),
    ],
)
def test_an_unknown_key_names_the_nearest(wanted, words):
    with pytest.raises(InputError) as caught:
        explain(wanted)
    assert str(caught.value).startswith(words)


def test_pages_are_written_whole(tmp_path):
    assert {path.name: path.read_text() for path in write_pages(tmp_path)} == pages()


@pytest.mark.parametrize(("wanted", "words"), [
    ("foo_bar", "accepted: all keys stand in shared/reference"),
    ("wayin", "accepted: way_in (nearest), way, way_in_loaded, waits; all keys stand in"),
])  # fmt: skip
def test_an_unknown_key_has_no_neighbours_that_are_none(wanted, words):
    with pytest.raises(InputError) as caught:
        explain(wanted)
    assert words in str(caught.value)
