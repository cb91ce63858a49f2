"""A run folder reloads bit for bit, and nothing half-written or damaged passes for one."""

import json
import shutil

import numpy as np
import pytest

from armcarry.errors import RecordError
from armcarry.record.finding import Verdict
from armcarry.record.store import load, save


@pytest.fixture(scope="session")
def folder(short_run, tmp_path_factory):
    record, findings = short_run
    path = tmp_path_factory.mktemp("runs") / "short"
    save(record, findings, path)
    return path


@pytest.fixture
def copy(folder, tmp_path):
    return shutil.copytree(folder, tmp_path / "copy")


def test_the_motion_comes_back_bit_for_bit(short_run, folder):
    record, _ = short_run
    again, _ = load(folder)
    assert again.motion.joints == record.motion.joints
    assert np.array_equal(again.motion.breaks_s, record.motion.breaks_s)
    assert np.array_equal(again.motion.coefficients, record.motion.coefficients)


def test_everything_else_comes_back_too(short_run, folder):
    record, findings = short_run
    again, found = load(folder)
    assert again.moves == record.moves
    assert again.events == record.events
    assert again.relaxed == record.relaxed
    assert again.shortfalls == record.shortfalls
    assert again.pairs == record.pairs
    assert [finding.as_dict() for finding in found] == [finding.as_dict() for finding in findings]
    for before, after in zip(record.curves, again.curves, strict=True):
        assert before.group == after.group
        assert np.array_equal(before.times_s, after.times_s)
        assert np.array_equal(before.lower_m, after.lower_m)


def test_poses_of_every_body_come_back_bit_for_bit(short_run, folder):
    record, _ = short_run
    again, _ = load(folder)
    times = np.linspace(0.0, record.duration_s, 37)
    assert np.array_equal(again.body_poses(times), record.body_poses(times))


def test_two_saves_of_one_run_hold_the_same_data(short_run, folder, tmp_path):
    record, findings = short_run
    save(record, findings, tmp_path / "twice")
    assert load(tmp_path / "twice")[0].pairs == load(folder)[0].pairs


def test_the_summary_counts_what_was_not_assessed_apart(short_run, folder):
    _, findings = short_run
    summary = json.loads((folder / "summary.json").read_text())
    silent = sum(finding.verdict is Verdict.NOT_ASSESSED for finding in findings)
    assert summary["counts"]["not_assessed"] == silent
    assert sum(summary["counts"].values()) == len(findings)


def test_the_inputs_are_kept_as_they_were_read(short_run, folder):
    record, _ = short_run
    for item in record.scene.loaded.inputs:
        assert (folder / "scenario" / item.role_path).read_bytes() == item.data


def test_a_file_that_was_changed_is_told(copy):
    (copy / "findings.json").write_text("[]")
    with pytest.raises(RecordError, match=r"is damaged: findings.json does not fit its digest in summary.json"):
        load(copy)


def test_a_file_that_is_missing_is_told(copy):
    (copy / "motion_pieces.parquet").unlink()
    with pytest.raises(RecordError, match=r"is damaged: motion_pieces.parquet is missing"):
        load(copy)


def test_a_foreign_folder_is_told(tmp_path):
    with pytest.raises(RecordError, match=r"is not a run folder: summary.json is missing"):
        load(tmp_path)
    (tmp_path / "a_file").write_text("")
    with pytest.raises(RecordError, match=r"a_file is not a run folder: summary.json is missing"):
        load(tmp_path / "a_file")
    (tmp_path / "summary.json").write_text('{"format": "something else"}')
    with pytest.raises(RecordError, match="is not a run of format 'armcarry run 1'"):
        load(tmp_path)
    (tmp_path / "summary.json").write_text("{not json")
    with pytest.raises(RecordError, match=r"summary\.json cannot be read"):
        load(tmp_path)


def test_a_digest_of_a_file_outside_the_folder_is_refused(copy):
    summary = json.loads((copy / "summary.json").read_text())
    summary["digests"]["../secret"] = "0" * 64
    (copy / "summary.json").write_text(json.dumps(summary))
    with pytest.raises(RecordError, match=r"is damaged: \.\./secret is missing"):
        load(copy)


def test_an_old_run_is_replaced_only_when_asked(short_run, copy):
    record, findings = short_run
    with pytest.raises(RecordError, match="holds a run already; choose another --out or add --overwrite"):
        save(record, findings, copy)
    save(record, findings, copy, overwrite=True)
    load(copy)


def test_a_folder_of_other_things_is_never_replaced(short_run, tmp_path):
    record, findings = short_run
    (tmp_path / "letter.txt").write_text("dear all")
    with pytest.raises(RecordError, match="exists and is not a run folder; choose another --out"):
        save(record, findings, tmp_path, overwrite=True)
    assert (tmp_path / "letter.txt").read_text() == "dear all"


def test_a_disk_that_fails_leaves_the_old_run(short_run, copy, monkeypatch):
    record, findings = short_run
    before = (copy / "summary.json").read_bytes()

    def fail(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("armcarry.record.store.write_motion", fail)
    with pytest.raises(RecordError, match=r"cannot write .*: the disk is full; nothing there was changed"):
        save(record, findings, copy, overwrite=True)
    assert (copy / "summary.json").read_bytes() == before
    assert [path.name for path in copy.parent.iterdir()] == ["copy"]
