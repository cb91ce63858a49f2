"""Run folders that others send: nothing hangs, is unpacked large or touched outside; one clear error."""

import hashlib
import json
import os
import shutil
import sys
import time

import numpy as np
import pyarrow as pa
import pytest
from pyarrow import parquet

from armcarry.errors import RecordError
from armcarry.record import folder as folders
from armcarry.record.store import load, save

posix = pytest.mark.skipif(sys.platform == "win32", reason="links and pipes of POSIX")


@pytest.fixture(scope="module")
def good(short_run, tmp_path_factory):
    path = tmp_path_factory.mktemp("sent") / "run"
    save(*short_run, path)
    return path


@pytest.fixture
def run(good, tmp_path):
    return shutil.copytree(good, tmp_path / "run")


def sealed(run):
    """Give every file of a run the digest that fits it, as whoever sends a bad one would."""
    path = run / "summary.json"
    summary = json.loads(path.read_text())
    summary["digests"] = {
        one.relative_to(run).as_posix(): hashlib.sha256(one.read_bytes()).hexdigest()
        for one in sorted(run.rglob("*")) if one.is_file() and one != path and "views" not in one.parts
    }
    path.write_text(json.dumps(summary))
    return run


def refused(run):
    begun = time.process_time()
    with pytest.raises(RecordError) as caught:
        load(run)
    assert time.process_time() - begun < 5.0
    told = str(caught.value)
    assert told.startswith(str(run)) and told.isprintable() and len(told) < 700
    return told.removeprefix(f"{run} ").removeprefix("is damaged: ")


def changed(run, name, change):
    """Change a JSON file by a function and seal the run again."""
    value = json.loads((run / name).read_text())
    change(value)
    (run / name).write_text(json.dumps(value))
    return sealed(run)


def retold(run, name, change):
    """Change a table by a function of its columns and seal the run again."""
    columns = parquet.read_table(run / name).to_pydict()
    change(columns)
    parquet.write_table(pa.table(columns), run / name)
    return sealed(run)


def test_what_is_sealed_again_is_read(run):
    assert load(sealed(run))[1]


# -- links, pipes, files that nobody names --------------------------------------------------------------------


@posix
@pytest.mark.parametrize("name", ["findings.json", "clearance.parquet", "scenario/scenario.yaml", "scenario/models"])
def test_links_are_not_followed(run, tmp_path, name):
    (run / name).rename(tmp_path / "elsewhere")
    (run / name).symlink_to(tmp_path / "elsewhere")
    assert "is a link" in refused(run)


@posix
def test_a_linked_summary_is_not_read(run, tmp_path):
    (run / "summary.json").rename(tmp_path / "elsewhere")
    (run / "summary.json").symlink_to(tmp_path / "elsewhere")
    assert refused(run) == "summary.json cannot be read (it is a link)"


@posix
@pytest.mark.parametrize("name", ["summary.json", "run.json", "scenario/inputs.json", "more"])
def test_a_pipe_is_not_waited_for(run, name):
    (run / name).unlink(missing_ok=True)
    os.mkfifo(run / name)
    assert refused(run) == f"{name} is not a plain file"


def test_a_file_without_a_digest_is_refused(run):
    (run / ".DS_Store").write_text("systems put such files everywhere")
    load(run)
    (run / "scenario" / "models" / "more.yaml").write_text("x: 1\n")
    assert refused(run) == (
        "holds scenario/models/more.yaml, which no digest in summary.json names; move it elsewhere"
    )


@pytest.mark.parametrize("name", ["findings.json", "run.json", "motion_pieces.parquet", "scenario/inputs.json"])
def test_a_file_that_a_run_needs_must_be_named(run, name):
    (run / name).unlink()
    assert name in refused(sealed(run))


def test_too_many_files_and_folders_too_deep_are_refused(run, monkeypatch):
    monkeypatch.setattr(folders, "MOST_FILES", 20)
    assert refused(run) == "more than 20 files"
    deep = run / "scenario" / "/".join("abcdefghijklmnop")
    deep.mkdir(parents=True)
    assert refused(run).startswith(("folders nested deeper than 12", "more than 20 files"))


@posix
@pytest.mark.parametrize("link", ["views", "views/run.glb", "views/pictures"])
def test_a_briefing_is_never_written_through_a_link(run, tmp_path, link):
    from armcarry.views.brief.write import write_briefing

    elsewhere = tmp_path / "elsewhere"
    whole = link in ("views", "views/pictures")
    (run / link).parent.mkdir(exist_ok=True)
    if whole:
        elsewhere.mkdir()
    else:
        elsewhere.write_text("mine")
    (run / link).symlink_to(elsewhere)
    record, findings = load(run)
    parts = ("report",) if link == "views/pictures" else ("gltf",)
    if link == "views":
        with pytest.raises(RecordError, match="is a link; nothing is written through links"):
            write_briefing(record, findings, run / "views", parts=parts)
    elif whole:
        assert "is a link" in write_briefing(record, findings, run / "views", parts=parts).left_out["report"]
    else:
        write_briefing(record, findings, run / "views", parts=parts)
    if whole:
        assert list(elsewhere.iterdir()) == []
    else:
        assert elsewhere.read_text() == "mine"
        assert not (run / link).is_symlink() and (run / link).stat().st_size > 1000


# -- size -----------------------------------------------------------------------------------------------------


def test_a_small_file_of_very_many_rows_is_refused_before_it_is_unpacked(run, tmp_path):
    import tracemalloc

    rows = 30_000_000
    table = pa.table({"group": pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int8)), pa.array(["g"]))})
    parquet.write_table(table, run / "clearance_curve.parquet")
    del table
    assert (run / "clearance_curve.parquet").stat().st_size < 200_000
    sealed(run)
    before = pa.total_allocated_bytes()
    tracemalloc.start()
    assert refused(run) == f"clearance_curve.parquet: {rows} rows, at most 2000000 are read"
    assert tracemalloc.get_traced_memory()[1] < 100e6 and pa.total_allocated_bytes() - before < 100e6
    tracemalloc.stop()


def test_one_long_text_in_every_row_is_refused_before_it_is_unpacked(run):
    rows = 100_000
    text = pa.DictionaryArray.from_arrays(pa.array(np.zeros(rows, np.int8)), pa.array(["x" * 30_000_000]))
    parquet.write_table(pa.table({"group": text}), run / "clearance_curve.parquet")
    assert refused(sealed(run)).startswith("clearance_curve.parquet: ")


def test_a_table_packed_so_that_it_may_hide_its_size_is_refused(run):
    columns = parquet.read_table(run / "clearance_curve.parquet")
    parquet.write_table(columns, run / "clearance_curve.parquet", compression="gzip")
    assert refused(sealed(run)) == "clearance_curve.parquet: packed as GZIP; accepted: UNCOMPRESSED, SNAPPY"


def test_very_many_groups_of_a_curve_take_no_time(run):
    many = 200_000
    zeros = np.zeros(many)
    columns = {"group": [f"g{k}" for k in range(many)], **dict.fromkeys(("required_m", "start_s", "lower_m"), zeros),
               "end_s": zeros + 1.0, "upper_m": zeros}
    parquet.write_table(pa.table(columns), run / "clearance_curve.parquet")
    assert refused(sealed(run)) == "clearance_curve.parquet: 200000 groups, at most 5000 are read"


def test_large_json_is_refused_before_it_is_read(run, monkeypatch):
    monkeypatch.setattr(folders, "MOST_JSON_BYTES", 20_000)
    (run / "run.json").write_text("[" + "0," * 20_000 + "0]")
    assert refused(sealed(run)) == "run.json has more than 20000 bytes"


# -- what does not fit ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("text", ["[" * 200_000, '{"a":' * 5_000 + "1" + "}" * 5_000, "[" * 30 + "]" * 30])
def test_deep_json_is_refused(run, text):
    for name in ("findings.json", "run.json"):
        (run / name).write_text(text)
        assert refused(sealed(run)).startswith(f"{name} cannot be read (") or name == "run.json"
    (run / "summary.json").write_text(text)
    assert refused(run).startswith("summary.json cannot be read (")


UNFIT = {
    "no phases": ("run.json", lambda run: run.update(phases=[]), "it has no phases"),
    "phases elsewhere": ("run.json", lambda run: run["phases"][-1].update(end_s=1e12), "phases that do not cover"),
    "a gap": ("run.json", lambda run: run["phases"][0].update(end_s=0.5), "phases with gaps"),
    "no pose": ("run.json", lambda run: run["phases"][0]["mountings"]["arm"].update(pose=[0] * 16), "no rigid one"),
    "half a pose": ("run.json", lambda run: run["phases"][0]["mountings"]["arm"].update(pose=[1]), "not 16 numbers"),
    "hangs nowhere": (
        "run.json", lambda run: run["phases"][0]["mountings"]["arm"].update(parent="x/y"), "arm hangs from 'x/y'",
    ),
    "a circle": (
        "run.json", lambda run: run["phases"][0]["mountings"]["platform"].update(parent="arm/base"), "from itself",
    ),
    "nothing hangs": ("run.json", lambda run: run["phases"][0].update(mountings={}), "KeyError: 'platform'"),
    "a move outside": ("run.json", lambda run: run["moves"][0].update(end_s=1e12), "moves: one outside the run"),
    "a move of text": ("run.json", lambda run: run["moves"][0].update(start_s="soon"), "ValidationError: "),
    "an event outside": ("run.json", lambda run: run["events"][0].update(time_s=-9), "events: one outside the run"),
    "a list": ("run.json", lambda run: run.update(moves={}), "ValidationError: "),
    "no moves": ("run.json", lambda run: run.pop("moves"), "KeyError: 'moves'"),
    "no number": ("run.json", lambda run: run["moves"][0].update(start_s=float("nan")), "NaN is no number"),
    "large number": ("run.json", lambda run: run["moves"][0].update(start_s=10**400), ""),
    "a verdict": ("findings.json", lambda found: found[0].update(verdict="fine"), "ValidationError: "),
    "a time": ("findings.json", lambda found: found[0].update(start_s=1e12), "findings.json: a time outside the run"),
    "an end before its start": (
        "findings.json", lambda found: found[0].update(start_s=5, end_s=1), "findings.json: an end before its start",
    ),
    "a move that ends first": ("run.json", lambda run: run["moves"][0].update(start_s=3, end_s=1), "moves: one out"),
    "far away": (
        "run.json", lambda run: run["phases"][0]["mountings"]["arm"]["pose"].__setitem__(3, 9e8), "not 16 numbers",
    ),
    "a slip of years": ("run.json", lambda run: run.update(slip={"step": 1e300}), "slip: a step that takes longer"),
    "acts outside": (
        "ledger.json", lambda book: [act.update(time_s=1e12) for act in book["acts"]], "ledger.json: acts outside",
    ),
    "acts of nobody": (
        "ledger.json", lambda book: [act.update(item="nobody", kind="take") for act in book["acts"]], "nobody",
    ),
    "no ledger": ("ledger.json", lambda book: book.clear(), "KeyError: 'acts'"),
    "another verdict": (
        "summary.json", lambda told: told.update(verdict=["pass"]), "summary.json tells another verdict than findings",
    ),
    "other counts": (
        "summary.json", lambda told: told.update(counts={"pass": 999, "fail": 0, "not_assessed": 0}),
        "summary.json counts other verdicts than findings.json holds",
    ),
    "findings left out": ("findings.json", lambda found: found.clear(), "summary.json counts other verdicts than"),
    "engines": ("run.json", lambda run: run.update(engines=[{}]), "ValidationError: "),
    "displaced": ("run.json", lambda run: run.update(displaced=[1, 2]), "AttributeError: "),
    "no finding": ("findings.json", lambda found: found.append(3), "TypeError: "),
    "half a gap": ("findings.json", lambda found: found[0].update(lower_m=1.0), "KeyError: 'upper_m'"),
}


@pytest.mark.parametrize("kind", list(UNFIT))
def test_parts_that_do_not_fit_are_told(run, kind):
    name, change, words = UNFIT[kind]
    assert words in refused(changed(run, name, change))


def _long(columns):
    columns["end_s"] = [1e9 if end == max(columns["end_s"]) else end for end in columns["end_s"]]


MISTOLD = {
    "a run of 30 years": ("motion_pieces.parquet", _long, "a run of 1e+09 s, at most 604800 s are read"),
    "no pieces": ("motion_pieces.parquet", lambda c: [column.clear() for column in c.values()], "neither of numbers"),
    "many powers": ("motion_pieces.parquet", lambda c: c.update(power=range(len(c["power"]))), "powers, 1 to 12"),
    "out of order": ("motion_pieces.parquet", lambda c: c["piece"].reverse(), "pieces that are not in order"),
    "a joint less": ("motion_pieces.parquet", lambda c: c.pop("arm/elbow_bend"), "other joints than the scene has"),
    "nan": ("motion_pieces.parquet", lambda c: c["arm/elbow_bend"].__setitem__(0, float("nan")), "without a number"),
    "too large": ("motion_pieces.parquet", lambda c: c["arm/elbow_bend"].__setitem__(0, 1e300), "too large"),
    "text": ("motion_pieces.parquet", lambda c: c.update({"arm/elbow_bend": ["x"] * len(c["piece"])}), "of numbers"),
    "an unknown body": ("clearance.parquet", lambda c: c["body_a"].__setitem__(3, "gh\x1b[2Jost"), "'gh\\x1b[2Jost'"),
    "a status": ("clearance.parquet", lambda c: c["status"].__setitem__(3, "good"), "status 'good'; known: proven"),
    "bounds": ("clearance.parquet", lambda c: c["lower_m"].__setitem__(3, 1e9), "a lower bound above the upper one"),
    "a row outside": ("clearance.parquet", lambda c: c["end_s"].__setitem__(3, 1e12), "a row outside the run"),
    "no text": ("clearance.parquet", lambda c: c["why"].__setitem__(3, None), "rows without a text"),
    "no column": ("clearance.parquet", lambda c: c.pop("why"), "column 'why' is missing"),
    "a pair of lists": ("clearance.parquet", lambda c: c.update(why=[{"a": 1, "b": 2}] * len(c["why"])), "within"),
    "a list": ("clearance.parquet", lambda c: c.update(why=[[1]] * len(c["why"])), "neither of numbers nor of text"),
    "back in time": ("clearance_curve.parquet", lambda c: c["start_s"].__setitem__(3, -1.0), "times"),
    "late": ("clearance_curve.parquet", lambda c: c.update(end_s=[1e12] * len(c["end_s"])), "outside the run"),
}


@pytest.mark.parametrize("kind", list(MISTOLD))
def test_tables_that_do_not_fit_are_told(run, kind):
    name, change, words = MISTOLD[kind]
    assert words in refused(retold(run, name, change))


def test_more_rows_of_pairs_than_are_read_are_refused_before_they_are(run):
    zeros = np.zeros(2_100_000)
    many = {
        name: pa.DictionaryArray.from_arrays(pa.array(zeros.astype(np.int8)), pa.array(values[:1]))
        if isinstance(values[0], str) else zeros
        for name, values in parquet.read_table(run / "clearance.parquet").to_pydict().items()
    }
    parquet.write_table(pa.table(many), run / "clearance.parquet")
    assert refused(sealed(run)) == "clearance.parquet: 2100000 rows, at most 2000000 are read"


@posix
@pytest.mark.parametrize("name", ["a\nb\x1b[2J", b"\xff\xfe"])
def test_files_of_strange_names_are_told_plainly(run, name):
    (run / os.fsdecode(name)).touch()
    assert "which no digest in summary.json names" in refused(run)


@posix
def test_what_is_hard_linked_into_a_briefing_is_not_written_over(run, tmp_path):
    from armcarry.views.brief.write import write_briefing

    (tmp_path / "mine").write_text("mine")
    (run / "views").mkdir(exist_ok=True)
    os.link(tmp_path / "mine", run / "views" / "run.glb")
    write_briefing(*load(run), run / "views", parts=("gltf",))
    assert (tmp_path / "mine").read_text() == "mine"
    assert (run / "views" / "run.glb").stat().st_size > 1000


def test_what_is_no_table_is_told(run):
    (run / "clearance.parquet").write_bytes(b"PAR1" + b"\xff" * 50 + b"PAR1")
    assert refused(sealed(run)).startswith("clearance.parquet: not a table: ")


def test_a_scenario_with_a_mistake_is_told_with_its_line(run):
    path = run / "scenario" / "scenario.yaml"
    path.write_text(path.read_text() + "more: 1\n")
    value = json.loads((run / "scenario" / "inputs.json").read_text())
    value["sha256"]["scenario.yaml"] = hashlib.sha256(path.read_bytes()).hexdigest()
    (run / "scenario" / "inputs.json").write_text(json.dumps(value))
    told = refused(sealed(run))
    assert f"{path}:" in told and "unknown key 'more'" in told
