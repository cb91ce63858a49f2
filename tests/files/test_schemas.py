"""The published JSON Schemas: generated from the documents, and in agreement with the reader."""

import copy
import json
from pathlib import Path

import pytest

from armcarry.errors import InputError, RecordError
from armcarry.files import places
from armcarry.files.load import validate_files
from armcarry.files.schemas import HINT, schema_name, schema_texts, write_schemas
from armcarry.files.validate import FORMATS, read_any
from armcarry.files.yaml_text import read_yaml

#: shipped: the made-up world has neither
SERIES = places.scenarios_folder() / "series" / "pump_box_there_and_back.yaml"
COLUMNS = places.scenarios_folder() / "logged" / "other_house_columns.yaml"

jsonschema = pytest.importorskip("jsonschema")

SHIPPED = sorted([*places.models_folder().glob("*/*/*.yaml"), *places.scenarios_folder().glob("**/*.yaml")])


def _validator(form: str):
    return jsonschema.Draft202012Validator(json.loads(schema_texts()[schema_name(form)]))


@pytest.mark.parametrize("name", sorted(schema_texts()))
def test_the_published_schemas_are_those_of_the_documents(name):
    # after a change of a document: python -m armcarry.files.schemas
    assert (places.shared_folder() / "schemas" / name).read_text() == schema_texts()[name]


def test_every_schema_is_a_schema_and_nothing_else_lies_there():
    for text in schema_texts().values():
        jsonschema.Draft202012Validator.check_schema(json.loads(text))
    published = {path.name for path in (places.shared_folder() / "schemas").glob("*.json")}
    assert published >= set(schema_texts())


@pytest.mark.parametrize("path", SHIPPED, ids=[path.stem for path in SHIPPED])
def test_every_shipped_file_fits_its_schema(path):
    data = read_yaml(path).data
    assert [error.message for error in _validator(data["format"]).iter_errors(data)] == []


def test_shipped_models_have_no_problem():
    models = [path for path in SHIPPED if path.is_relative_to(places.models_folder())]
    assert [str(problem) for problem in validate_files(models)] == []


def test_each_shipped_file_leads_editors_to_its_schema():
    for path in SHIPPED:
        first = path.read_text().splitlines()[0]
        assert first.startswith(HINT), path
        schema = (path.parent / first.removeprefix(HINT)).resolve()
        assert schema == places.shared_folder() / "schemas" / schema_name(read_yaml(path).data["format"])


def test_the_tiny_world_fits_too(world):
    for path in [*world.glob("models/*/*/*.yaml"), world / "script.yaml"]:
        data = read_yaml(path).data
        assert [error.message for error in _validator(data["format"]).iter_errors(data)] == []


def _leaves(data, path=()):
    if isinstance(data, dict):
        for key, value in data.items():
            yield from _leaves(value, (*path, key))
    elif isinstance(data, list):
        for index, value in enumerate(data):
            yield from _leaves(value, (*path, index))
    else:
        yield path, data


def _with(data, path, value):
    changed = copy.deepcopy(data)
    inner = changed
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return changed


@pytest.mark.parametrize("form", sorted(FORMATS))
def test_schema_and_reader_refuse_the_same_values_of_a_wrong_kind(world, tmp_path, form):
    # each value in turn becomes one that no key of the formats accepts; both must say no
    (source,) = [
        p for p in [*world.glob("models/*/*/*.yaml"), world / "script.yaml", SERIES, COLUMNS]
        if read_yaml(p).data["format"] == form
    ]
    data, validator = read_yaml(source).data, _validator(form)
    for path, _ in _leaves(data):
        for wrong in ([[]], {"no_such_key": {}}):
            changed = _with(data, path, wrong)
            assert not validator.is_valid(changed), path
            with pytest.raises(InputError):
                _read(changed, tmp_path)
    changed = {**data, "no_such_key": 1}
    assert not validator.is_valid(changed)
    with pytest.raises(InputError, match="unknown key 'no_such_key'"):
        _read(changed, tmp_path)


def _read(data, folder: Path):
    path = folder / "changed.yaml"
    path.write_text(json.dumps(data))
    return read_any(path)


@pytest.mark.parametrize(
    ("key", "good", "bad"),
    [
        (
            "report_distance",
            ["2 m", "2.5e1 mm", "+3 ft", ".5 m", " 2  m "],
            ["2", 2, "m", "", None, "-3 ft", "0 m", "0.0e9 m", "2 furlong"],
        ),
        (
            "safe_return",
            ["30 min", "1:30", "1:30:00", "0 s"],
            ["30", 30, "half an hour", "-0:10", "-0 s", "1:60", "30 kg"],
        ),
        ("confidence", ["95 %", 0.95, "0.95"], [None, [], True, 0, 1.5, -0.5, "-5 %", "0 %"]),
    ],
)
def test_quantities_are_judged_alike(world, tmp_path, key, good, bad):
    data = read_yaml(world / "models/rules/plain/plain.yaml").data
    validator = _validator("armcarry rules 1")
    for value in good:
        assert validator.is_valid({**data, key: value}), value
        _read({**data, key: value}, tmp_path)
    for value in bad:
        assert not validator.is_valid({**data, key: value}), value
        with pytest.raises(InputError):
            _read({**data, key: value}, tmp_path)


def test_a_name_that_is_refused_by_the_reader_is_refused_by_the_schema(world, tmp_path):
    data = read_yaml(world / "models/hardware/box/box.yaml").data
    data["fasteners"]["Bad Name"] = data["fasteners"]["cover"]
    assert not _validator("armcarry hardware 1").is_valid(data)
    with pytest.raises(InputError, match="not an accepted name; found 'Bad Name'"):
        _read(data, tmp_path)


def test_schemas_are_written_whole(tmp_path):
    written = write_schemas(tmp_path)
    assert {path.name: path.read_text() for path in written} == schema_texts()
    with pytest.raises(RecordError, match="its folder does not exist"):
        write_schemas(tmp_path / "gone")
