"""A frozen run says whether it is still what was frozen, and is not written over."""

import json
import shutil

import pytest

from armcarry.cli import main
from armcarry.errors import InputError, RecordError
from armcarry.record.frozen import FORMAT, digest_of, freeze, frozen_state
from armcarry.record.store import FORMAT as RUN
from armcarry.record.store import load, save


@pytest.fixture(scope="module")
def saved(short_run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("frozen") / "run"
    save(*short_run, folder)
    return folder


@pytest.fixture
def folder(saved, tmp_path):
    return shutil.copytree(saved, tmp_path / "run")


def test_a_frozen_run_is_told_and_loads_as_before(folder):
    assert frozen_state(folder) is None
    made = freeze(folder, "2031-03-20", ["A. Lead", "B.  Second"], RUN)
    told = frozen_state(folder)
    assert told == made and told.holds and told.by == ("A. Lead", "B. Second")
    assert told.words.startswith("Frozen on 2031-03-20, looked through by A. Lead, B. Second (digest ")
    assert told.words.endswith("what is shown here is that run.")
    assert load(folder)[0].duration_s > 0
    assert json.loads((folder / "frozen.json").read_text())["digest"] == digest_of(folder)


def test_a_run_that_changed_since_says_so(folder):
    freeze(folder, "2031-03-20", ["A"], RUN)
    summary = json.loads((folder / "summary.json").read_text())
    (folder / "summary.json").write_text(json.dumps({**summary, "title": "another"}))
    told = frozen_state(folder)
    assert not told.holds and "NOT the frozen run" in told.words


def test_a_frozen_run_is_not_written_over(folder, short_run):
    freeze(folder, "2031-03-20", ["A"], RUN)
    before = (folder / "summary.json").read_bytes()
    with pytest.raises(RecordError, match="holds a frozen run, which is not written over; choose another --out"):
        save(*short_run, folder, overwrite=True)
    with pytest.raises(RecordError, match=r"is frozen already, on 2031-03-20; remove frozen\.json there"):
        freeze(folder, "2031-03-21", ["A"], RUN)
    assert (folder / "summary.json").read_bytes() == before


@pytest.mark.parametrize(
    ("day", "by", "words"),
    [
        ("20 March", ["A"], "not a date; found '20 March'; accepted: year-month-day"),
        ("2031-02-30", ["A"], "not a date"),
        ("2031-03-20", [], "nobody is named"),
        ("2031-03-20", [" "], "nobody is named"),
        ("2031-03-20", ["A" * 121], "nobody is named"),
    ],
)
def test_what_is_no_date_or_no_name_is_refused(folder, day, by, words):
    with pytest.raises(InputError) as told:
        freeze(folder, day, by, RUN)
    assert words.split(";")[0] in str(told.value) and not (folder / "frozen.json").exists()


@pytest.mark.parametrize(
    "content",
    ["", "[]", "{}", '{"format": "x"}',
     json.dumps({"format": FORMAT, "date": "2031-03-20", "by": [], "digest": "0"}),
     json.dumps({"format": FORMAT, "date": "x", "by": ["a"], "digest": "0" * 64})],
)  # fmt: skip
def test_a_damaged_word_of_it_is_refused(folder, content):
    (folder / "frozen.json").write_text(content)
    with pytest.raises(RecordError, match="is damaged"):
        frozen_state(folder)


def test_what_a_killed_freeze_left_is_no_damage(folder):
    (folder / ".frozen.part-abcdefgh.json").write_text("{")
    assert load(folder)[0].duration_s > 0
    assert freeze(folder, "2031-03-20", ["A"], RUN).holds


def test_a_damaged_run_is_not_frozen(folder):
    (folder / "findings.json").write_text("[]\n")
    with pytest.raises(RecordError, match="does not fit its digest"):
        freeze(folder, "2031-03-20", ["A"], RUN)


def test_the_command_line_freezes_once(folder, monkeypatch, capsys):
    words = ["armcarry", "freeze", str(folder), "--date", "2031-03-20", "--by", "A. Lead", "--by", "B. Second"]
    for code in (0, 2):
        monkeypatch.setattr("sys.argv", words)
        with pytest.raises(SystemExit) as ended:
            main()
        assert (ended.value.code or 0) == code
    told = capsys.readouterr()
    assert "looked through by A. Lead, B. Second" in told.out and "frozen already" in told.err
