"""What was judged is kept with the run, and shown as it was judged: nothing of it is worked out again."""

import json
import shutil
import warnings
from dataclasses import dataclass, fields, is_dataclass, replace
from typing import NamedTuple

import numpy as np
import pytest

from armcarry.errors import RecomputedWarning, RecordError
from armcarry.record.kept import Kept, Packed
from armcarry.record.record import Phase
from armcarry.record.store import load, save
from armcarry.seeing.gaps import WATCHED
from armcarry.seeing.glare import HINDERED
from armcarry.seeing.sight import SIGHTINGS
from armcarry.whatif.late_stop import RUN_OUTS
from armcarry.whatif.locked_joint import ESCAPES
from armcarry.whatif.nearness import NEARNESS
from armcarry.whatif.runaway_joint import RUNAWAYS
from armcarry.whatif.stranding import STRANDINGS

ALL = (RUN_OUTS, RUNAWAYS, ESCAPES, STRANDINGS, NEARNESS, SIGHTINGS, WATCHED, HINDERED)


def same(one, other):
    """Tell whether two results are the same bit for bit; what belongs to the two records counts by its place."""
    if isinstance(one, np.ndarray):
        words = one.dtype == object
        return one.dtype == other.dtype and one.shape == other.shape and (
            np.array_equal(one, other) if words else one.tobytes() == other.tobytes()
        )
    if isinstance(one, Phase):
        return (one.start_s, one.end_s) == (other.start_s, other.end_s)
    if type(one).__name__ == "Record":
        return type(other) is type(one)
    if is_dataclass(one) and not isinstance(one, type):
        names = [field.name for field in fields(one)]
    elif isinstance(one, tuple):
        return type(one) is type(other) and len(one) == len(other) and all(map(same, one, other))
    else:
        return type(one) is type(other) and (one == other or (one != one and other != other))
    return type(one) is type(other) and all(same(getattr(one, name), getattr(other, name)) for name in names)


@pytest.fixture(scope="module")
def folder(short_run, tmp_path_factory):
    record, findings = short_run
    path = tmp_path_factory.mktemp("kept") / "short"
    for kept in ALL:
        record.result(kept)  # also what no check of this run asks for
    save(record, findings, path)
    return path


@pytest.fixture
def nothing_is_computed(monkeypatch):
    """Let everything that a result is worked out with fail."""

    def fail(*_more, **_named):
        raise AssertionError("worked out again")

    for kept in ALL:
        monkeypatch.setitem(kept.__dict__, "compute", fail)
    for name in (
        "whatif.late_stop.least_margins", "whatif.runaway_joint.least_margins", "whatif.runaway_joint.free_until",
        "whatif.locked_joint.Gauge", "whatif.stranding.forward", "whatif.nearness.distances", "seeing.gaps.distances",
        "seeing.sight.sight_lines", "seeing.sunlight.sight_lines", "seeing.gaps.sight_lines",
    ):
        monkeypatch.setattr(f"armcarry.{name}", fail)


@pytest.mark.parametrize("kept", ALL, ids=lambda kept: kept.name)
def test_a_result_comes_back_bit_for_bit_and_is_not_worked_out_again(short_run, folder, kept, nothing_is_computed):
    record, _ = short_run
    again, _ = load(folder)
    assert same(record.result(kept), again.result(kept))
    assert again.result(kept) is again.result(kept)


def test_what_occurs_twice_comes_back_once_and_refers_to_the_record(folder):
    record, _ = load(folder)
    found = record.result(RUNAWAYS)
    assert found.record is record
    around, among = found.parts[:2]
    assert around.window is among.window
    assert any(around.window.side.phase is phase for phase in record.phases)


def test_a_run_that_is_loaded_and_saved_keeps_what_was_judged(folder, tmp_path, nothing_is_computed):
    record, findings = load(folder)
    record.result(RUN_OUTS)
    save(record, findings, tmp_path / "again")
    for path in (folder / "judged").iterdir():
        assert (tmp_path / "again" / "judged" / path.name).read_bytes() == path.read_bytes()


def test_a_folder_without_a_result_is_shown_with_a_warning(short_run, folder, tmp_path):
    record, _ = short_run
    copy = shutil.copytree(folder, tmp_path / "copy")
    for path in (copy / "judged").glob("late_stop.*"):
        path.unlink()
    summary = json.loads((copy / "summary.json").read_text())
    for end in ("json", "parquet"):
        del summary["digests"][f"judged/late_stop.{end}"]
    (copy / "summary.json").write_text(json.dumps(summary))
    again, _ = load(copy)
    with pytest.warns(RecomputedWarning, match="the run folder does not hold what was judged of 'late_stop'; it "):
        found = again.result(RUN_OUTS)
    assert same(found, record.result(RUN_OUTS))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        again.result(RUN_OUTS)  # said once


@pytest.mark.parametrize("change", [{"version": 99}, {"types": ()}])
def test_another_versions_result_is_never_taken_for_ours(folder, change):
    record, _ = load(folder)
    with pytest.warns(RecomputedWarning, match="holds in the form of another version what was judged of 'stra"):
        record.result(replace(STRANDINGS, **change, compute=lambda _record: "anew"))


def _exchanged(tree, of, by):
    """Return a result's JSON with its first value of one type in the place of a field exchanged; None without one."""
    if isinstance(tree, dict) and "fields" in tree:
        for k, value in enumerate(tree["fields"]):
            if type(value) is of:
                return {**tree, "fields": [*tree["fields"][:k], by, *tree["fields"][k + 1 :]]}
            inner = _exchanged(value, of, by)
            if inner is not None:
                return {**tree, "fields": [*tree["fields"][:k], inner, *tree["fields"][k + 1 :]]}
    if isinstance(tree, list):
        for k, value in enumerate(tree):
            inner = _exchanged(value, of, by)
            if inner is not None:
                return [*tree[:k], inner, *tree[k + 1 :]]
    return None


@pytest.mark.parametrize(("of", "by"), [(float, "text"), (str, 3), (int, None)])
def test_a_result_with_a_field_of_another_type_is_refused(folder, of, by):
    record, _ = load(folder)
    tried = 0
    for kept in ALL:
        structure, numbers = record.judged[kept.name]
        said = json.loads(structure)
        tree = _exchanged(said["tree"], of, by)
        if tree is not None:
            tried += 1
            with pytest.raises(RecordError, match=rf"the kept result '{kept.name}' is damaged: TypeError: .* of anoth"):
                kept.unpack(record, Packed(json.dumps({**said, "tree": tree}).encode(), numbers))
    assert tried


def test_a_result_whose_arrays_have_no_size_is_refused(folder):
    record, _ = load(folder)
    structure, numbers = record.judged["late_stop"]
    said = json.loads(structure)
    said["arrays"][0]["shape"] = [-1]
    with pytest.raises(RecordError, match="an array of no shape"):
        RUN_OUTS.unpack(record, Packed(json.dumps(said).encode(), numbers))


def test_a_damaged_result_is_refused_by_name(folder):
    record, _ = load(folder)
    data = record.judged["late_stop"]
    structure, numbers = data
    short = json.loads(structure)
    short["arrays"].pop()
    for damage in (
        (b"", numbers), (structure, b""), (structure, numbers[:-100]), (b"[]", numbers), (b"\xff", numbers),
        (structure.replace(b'"array": 0', b'"array": -9999'), numbers), (json.dumps(short).encode(), numbers),
        (structure.replace(b'"same": ', b'"same": 99'), numbers),
    ):
        with pytest.raises(RecordError, match="the kept result 'late_stop' is damaged: "):
            RUN_OUTS.unpack(record, Packed(*damage))


@dataclass(frozen=True, eq=False)
class _Thing:
    number: float
    table: np.ndarray
    inner: object


class _Pair(NamedTuple):
    one: int
    other: float


@pytest.mark.parametrize(
    "value", [0.1, -0.0, np.inf, -np.inf, 5, True, "wörter", None, (), (1, (2.5, "x")), _Pair(1, 2.0)]
)
@pytest.mark.parametrize(
    "table",
    [np.array([np.nan, -0.0, 1e-300]), np.zeros((0, 3)), np.arange(6).reshape(2, 3), np.array([[True], [False]]),
     np.array(["b", "a", "b"], dtype=object)],
)  # fmt: skip
def test_every_kind_of_value_comes_back(short_run, value, table):
    record, _ = short_run
    kept = Kept("things", 1, lambda _record: None, (_Thing, _Pair))
    made = _Thing(2.5, table, (value, table))
    again = kept.unpack(record, kept.pack(record, made))
    assert same(made, again) and again.inner[1] is again.table
    assert np.signbit(made.inner[0]) == np.signbit(again.inner[0]) if isinstance(value, float) else True


def test_what_cannot_be_kept_is_refused(short_run):
    record, _ = short_run
    with pytest.raises(TypeError, match=r"things.0: a kept result holds no set"):
        Kept("things", 1, lambda _record: None, ()).pack(record, ({1},))
