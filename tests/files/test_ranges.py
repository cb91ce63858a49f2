"""Every number of every document has a unit and a range; reader and schema refuse what is outside alike."""

import copy
import json
import re

import pytest
from annotated_types import Ge, Gt, Le, Lt

from armcarry.errors import InputError
from armcarry.files import places
from armcarry.files.document_types import alternatives, flat, numbers, parts, quantity
from armcarry.files.documents.base import Quantity
from armcarry.files.documents.dispersion import Lag
from armcarry.files.schemas import schema_name, schema_texts
from armcarry.files.validate import FORMATS, read_any
from armcarry.files.yaml_text import read_yaml
from armcarry.quantities import KINDS, parse

jsonschema = pytest.importorskip("jsonschema")


def _validator(form: str):
    return jsonschema.Draft202012Validator(json.loads(schema_texts()[schema_name(form)]))


def _deep(annotation, metadata):
    """Yield every type inside an annotation with what annotates it."""
    for choice, notes in flat(annotation, metadata):
        yield choice, notes
        for inner in getattr(choice, "__args__", ()):
            if inner is not Ellipsis:
                yield from _deep(inner, ())


@pytest.mark.parametrize("form", sorted(FORMATS))
def test_every_number_has_a_range(form):
    bare = []
    for part in parts(FORMATS[form]).values():
        for name, info in part.model_fields.items():
            for choice, notes in _deep(info.annotation, tuple(info.metadata)):
                if choice not in (int, float) or quantity([(choice, notes)]) is not None:
                    continue
                limits = [limit for note in notes for limit in getattr(note, "metadata", [note])]
                low = any(isinstance(limit, (Ge, Gt)) for limit in limits)
                high = any(isinstance(limit, (Le, Lt)) for limit in limits)
                if not (low and high):
                    bare.append(f"{part.__name__}.{name}")
    assert bare == []


def _with(data, path, value):
    changed = copy.deepcopy(data)
    inner = changed
    for step in path[:-1]:
        inner = inner[step]
    inner[path[-1]] = value
    return changed


def _refused(data, folder):
    path = folder / "changed.yaml"
    path.write_text(json.dumps(data))
    with pytest.raises(InputError) as caught:
        read_any(path)
    return str(caught.value)


#: a shipped file of columns: the made-up world has none
COLUMNS = places.scenarios_folder() / "logged" / "other_house_columns.yaml"


def _sources(form, world):
    rules = places.models_folder() / "rules/tern_yard/tern_yard.yaml"
    files = [*world.glob("models/*/*/*.yaml"), world / "script.yaml", rules, COLUMNS]
    return [data for path in files if (data := read_yaml(path).data)["format"] == form]


#: a number and a unit of none of the kinds a value may be of
WRONG = {kind: "1 s" if kind == "mass" else "1 kg" for kind in KINDS}


@pytest.mark.parametrize("form", sorted(FORMATS))
def test_reader_and_schema_refuse_wrong_dimensions_furlongs_and_what_is_outside(world, tmp_path, form):
    validator, document, seen = _validator(form), FORMATS[form], 0
    for data in _sources(form, world):
        for path, _ in numbers(document, data):
            found: Quantity | None = quantity(alternatives(document, path))
            if found is None or found.kind == "fraction":
                continue
            if path[-2:] == ("lag", "amount"):  # of a union's parts the first is found, this is another
                found = quantity(alternatives(Lag, ("amount",)))
            seen += 1
            for kind, least, most in found.ranges:
                for wrong in ("1 furlong", "1 furlong/fortnight", WRONG[kind]):
                    changed = _with(data, path, wrong)
                    assert not validator.is_valid(changed), (path, wrong)
                    assert "not an accepted unit" in _refused(changed, tmp_path)
                unit = most.split()[1]
                told = _refused(_with(data, path, f"{float(most.split()[0]) * 1.001} {unit}"), tmp_path)
                assert "outside the accepted range" in told, (path, told)
                assert re.search(r"changed\.yaml:\d+: ", told)
                below = f"{float(least.split()[0]) - 0.5} {unit}"
                changed = _with(data, path, below)
                assert "outside the accepted range" in _refused(changed, tmp_path), (path, below)
                # a schema sees the sign, not the size
                assert validator.is_valid(changed) is (parse(least, kind) < 0), path
                nought = _with(data, path, f"0 {unit}")
                assert validator.is_valid(nought) is not found.above, path
                if found.above:
                    assert "outside the accepted range" in _refused(nought, tmp_path), path
    assert seen > 0 or form == "armcarry series 1"  # names and words, no quantity


#: file, text in it -> replacement, and what is told
DECK = "models/platforms/deck/deck.yaml"
OUTSIDE = [
    ("models/arms/small/small.yaml", "reaction_time: 2 s", "reaction_time: -3 s", "reaction_time"),
    ("models/arms/small/small.yaml", "detection_time: 0.5 s", "detection_time: -0.5 s", "detection_time"),
    ("models/arms/small/small.yaml", "tip_speed: 0.2 m/s", "tip_speed: -0.2 m/s", "loads.free.tip_speed"),
    ("models/arms/small/small.yaml", "tip_positioning: 20 mm", "tip_positioning: -20 mm", "tip_positioning"),
    ("models/arms/small/small.yaml", "default: 2 deg/s", "default: 0 deg/s", "loads.free.joint_rate.default"),
    ("models/hardware/box/box.yaml", "mass: 30 kg", "mass: -30 kg", "mass"),
    ("models/crew/body/body.yaml", "one_hand: 0.6 m", "one_hand: -0.6 m", "sizes.medium.reach.one_hand"),
    ("models/crew/body/body.yaml", "translation_speed: 0.2 m/s", "translation_speed: -1 m/s", "translation_speed"),
    (DECK, "turning_time: 60 s", "turning_time: -60 s", "appendages.wing.turning_time"),
    (DECK, "horizontal_view: 60 deg", "horizontal_view: 0 deg", "cameras.eye.horizontal_view"),
    ("models/restraints/step/step.yaml", "step: 30 deg", "step: -30 deg", "settings.yaw.step"),
    ("models/rules/plain/plain.yaml", "distance: 0.6 m", "distance: -0.6 m", "required[0].distance"),
    ("models/rules/plain/plain.yaml", "distance: 0.6 m", "distance: 600 m", "required[0].distance"),
    ("models/rules/plain/plain.yaml", "stop_remainder: 0.1 m", "stop_remainder: -0.1 m", "stop_remainder"),
    ("models/rules/plain/plain.yaml", "rider_tip_speed: 0.15 m/s", "rider_tip_speed: 900 m/s", "rider_tip_speed"),
    ("script.yaml", "hold: 1:30", "hold: -90 s", "carries[0].moves[7].hold"),
    ("script.yaml", "required: 0.3 m", "required: -0.3 m", "carries[0].moves[6].relax[0].required"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "old", "new", "key"), OUTSIDE, ids=[new for _, _, new, _ in OUTSIDE])
def test_values_outside_their_range_are_told_with_file_line_and_range(world, change, file, old, new, key):
    path, line = change(file, old, new)
    with pytest.raises(InputError) as caught:
        read_any(path)
    told = str(caught.value).splitlines()
    assert any(f"{path}:{line}: {key}: outside the accepted range; found '" in text for text in told), told
    assert re.search(r"; accepted: .* with its unit \(.*\), (more than )?-?[\d.]+ ", told[0])


def test_hands_that_can_work_nowhere_are_refused(world, change):
    path, line = change("models/crew/body/body.yaml", "nearest: 0.2 m", "nearest: 0.55 m")
    words = rf":{line}: sizes.medium.reach: nearest must be less than one_hand and two_hand"
    with pytest.raises(InputError, match=words):
        read_any(path)


def test_a_budget_amount_under_nothing_is_refused(world, tmp_path):
    (data,) = [d for d in _sources("armcarry rules 1", world) if "budget" in d]
    told = _refused(_with(data, ("budget", "thermal", "amount"), "-2 mm"), tmp_path)
    assert "budget.thermal.amount: outside the accepted range; found '-2 mm'; accepted: a length with its unit" in told


def test_a_key_of_a_part_of_several_kinds_is_told_by_its_own_path(world, tmp_path):
    (data,) = [d for d in _sources("armcarry rules 1", world) if "dispersion" in d]
    told = _refused(_with(data, ("dispersion", "terms", "lag", "amount"), "-2 s"), tmp_path)
    assert "dispersion.terms.lag.amount: outside the accepted range; found '-2 s'" in told
