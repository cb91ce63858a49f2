"""Logs are read as they are: every row that cannot be used is told by its line, nothing is repaired."""

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from armcarry.errors import InputError, InputErrors
from armcarry.files.motion_log import MAX_COLUMNS, read_motion_log

GOOD = "time [s],elbow_bend [deg],slide [mm],move\n10,0,1,ready\n10.5,1.5,2,\n11,3,3,take go\n"


def write(tmp_path, text, name="log.csv"):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


def refused(tmp_path, text, name="log.csv"):
    with pytest.raises(InputError) as caught:
        read_motion_log(write(tmp_path, text, name))
    return str(caught.value)


def test_a_log_is_read_with_units_and_marks(tmp_path):
    log = read_motion_log(write(tmp_path, GOOD))
    assert [(column.joint, column.unit) for column in log.columns] == [("elbow_bend", "deg"), ("slide", "mm")]
    assert log.times_s.tolist() == [0.0, 0.5, 1.0]
    assert log.first_s == 10.0
    assert log.values.tolist() == [[0, 1], [1.5, 2], [3, 3]]
    assert log.lines.tolist() == [2, 3, 4]
    marks = [(mark.line, mark.time_s, mark.moves) for mark in log.marks]
    assert marks == [(2, 0.0, ("ready",)), (4, 1.0, ("take", "go"))]
    assert log.gaps == ()
    assert log.left_out == ()


@pytest.mark.parametrize("text", [
    GOOD.replace(",", ";"), GOOD.replace(",", "\t"), "\ufeff" + GOOD, "# from the bench\n\n" + GOOD,
    GOOD.replace("\n", "\r\n"),
    GOOD.replace("time [s]", "time_s").replace("elbow_bend [deg]", "elbow_bend_deg").replace("slide [mm]", "slide_mm"),
])  # fmt: skip
def test_the_usual_forms_of_csv_are_the_same_log(tmp_path, text):
    log = read_motion_log(write(tmp_path, text))
    assert log.values.tolist() == [[0, 1], [1.5, 2], [3, 3]]
    assert log.columns[0].unit == "deg"


def test_minutes_and_milliseconds_are_times(tmp_path):
    text = "time [ms],elbow_bend [rad]\n0,0\n250,1\n"
    assert read_motion_log(write(tmp_path, text)).times_s.tolist() == [0.0, 0.25]
    assert read_motion_log(write(tmp_path, text.replace("ms", "min"))).times_s.tolist() == [0.0, 15000.0]


@pytest.mark.parametrize(("row", "says"), [
    ("10.5,nan,2,", r":3: no finite number in column 'elbow_bend [deg]'; found 'nan'"),
    ("10.5,,2,", r":3: no finite number in column 'elbow_bend [deg]'; found ''"),
    ("10.5,inf,2,", r":3: no finite number in column 'elbow_bend [deg]'; found 'inf'"),
    ("10.5,1_5,2,", r":3: no finite number in column 'elbow_bend [deg]'; found '1_5'"),
    ("soon,1,2,", r":3: no finite number in column 'time [s]'; found 'soon'"),
    ("10,1.5,2,", r":3: the row repeats the time of line 2; found '10 s'; accepted: times that grow from row to row"),
    ("10.0000004,1.5,2,", r":3: the row is less than a microsecond after the row of line 2; found '10 s'"),
    ("9,1.5,2,", r":3: the row is earlier than the time of line 2; found '9 s'"),
    ("10.5,1.5", r":3: the row has 2 cells, the header 4"),
])  # fmt: skip
def test_a_row_that_cannot_be_used_is_told_by_its_line(tmp_path, row, says):
    assert says in refused(tmp_path, GOOD.replace("10.5,1.5,2,", row))


def test_every_bad_row_is_told_at_once_and_left_out_only_when_asked(tmp_path):
    path = write(tmp_path, GOOD + "11,0,0,\n12,nan,0,\n13,4,4,\n")
    with pytest.raises(InputErrors) as caught:
        read_motion_log(path)
    assert [problem.line for problem in caught.value.problems] == [5, 6]
    log = read_motion_log(path, leave_out=True)
    assert log.times_s.tolist() == [0.0, 0.5, 1.0, 3.0]
    assert [text.split(": ", 1)[0].rsplit(":", 1)[1] for text in log.left_out] == ["5", "6"]


def test_a_gap_is_told_by_the_line_behind_it(tmp_path):
    rows = [f"{t},{t}" for t in (0, 1, 2, 3, 9, 10)]
    path = write(tmp_path, "time [s],elbow_bend [deg]\n" + "\n".join(rows))
    (gap,) = read_motion_log(path).gaps
    assert (gap.line, gap.start_s, gap.end_s) == (6, 3.0, 9.0)
    assert read_motion_log(path, gap_s=7.0).gaps == ()


@pytest.mark.parametrize(("header", "says"), [
    ("time,elbow_bend [deg]", "column 'time' names no unit; found 'time'; accepted: time [s], shoulder_turn [deg]"),
    ("time [s],elbow_bend", "column 'elbow_bend' names no unit"),
    ("time [deg],elbow_bend [deg]", "'deg' is no unit for this column; found 'time [deg]'; accepted: time in s"),
    ("time [s],elbow_bend [kg]", "'kg' is no unit for this column; found 'elbow_bend [kg]'; accepted: angle in deg"),
    ("elbow_bend [deg],wrist [deg]", "no column of times; accepted: time [s]"),
    ("time [s],time [s]", "a second column for 'time'"),
    ("time [s],move", "no column of joint positions; accepted: elbow_bend [deg]"),
])  # fmt: skip
def test_a_header_that_leaves_something_open_is_refused(tmp_path, header, says):
    message = refused(tmp_path, f"{header}\n0,0\n1,1\n")
    assert says in message
    assert ":1: " in message


@pytest.mark.parametrize(("content", "name", "says"), [
    ("", "log.csv", "an empty log; accepted: a header such as"),
    ("time [s],elbow_bend [deg]\n0,0\n", "log.csv", "a log needs at least two rows that can be used; found 1"),
    (b"time [s],elbow_bend [deg]\n0,\xff\n", "log.csv", ":2: not UTF-8 text"),
    (b"time\0", "log.csv", "not a text file"),
    ('time [s],elbow_bend [deg]\n0,"1', "log.csv", "not CSV: unexpected end of data"),
    (b"PAR1nonsense", "log.parquet", "not a Parquet file"),
    ("x", "log.txt", "a log of a kind that is not read; found '.txt'; accepted: .csv, .parquet"),
    (",".join(["time [s]", *(f"j{k} [deg]" for k in range(MAX_COLUMNS))]), "log.csv", "too many columns"),
])  # fmt: skip
def test_a_file_that_is_no_log_is_refused(tmp_path, content, name, says):
    assert says in refused(tmp_path, content, name)


LONG = pa.DictionaryArray.from_arrays(pa.array(np.zeros(400_000, np.int8)), pa.array(["x" * 30_000_000]))
ODD = {
    "one long text in every row": {"time [s]": np.arange(4e5), "move": LONG, "elbow_bend [deg]": np.zeros(400_000)},
    "columns within columns": {"time [s]": [0.0, 1.0], "elbow_bend [deg]": [{"a": 1}, {"a": 2}]},
    "lists": {"time [s]": [0.0, 1.0], "elbow_bend [deg]": [[1.0], [2.0]]},
    "too many rows": {"time [s]": np.arange(600_000.0), "elbow_bend [deg]": np.zeros(600_000)},
    "truths": {"time [s]": [0.0, 1.0], "elbow_bend [deg]": [True, False]},
}


@pytest.mark.parametrize("kind", list(ODD))
def test_odd_parquet_is_refused_before_it_is_unpacked(tmp_path, kind):
    import tracemalloc

    path = tmp_path / "log.parquet"
    pq.write_table(pa.table(ODD[kind]), path)
    before = pa.total_allocated_bytes()
    tracemalloc.start()
    try:
        with pytest.raises(InputError, match=r"log\.parquet: not a Parquet file that is read: "):
            read_motion_log(path)
        assert tracemalloc.get_traced_memory()[1] < 200e6 and pa.total_allocated_bytes() - before < 100e6
    finally:
        tracemalloc.stop()


def test_very_many_lines_are_refused_before_they_are_read(tmp_path):
    with pytest.raises(InputError, match="too many lines; found 3000001; accepted: at most 2000000"):
        read_motion_log(write(tmp_path, "time [s],elbow_bend [deg]\n" + "\n" * 3_000_000))


def test_parquet_rows_are_told_by_their_number(tmp_path):
    path = tmp_path / "log.parquet"
    pq.write_table(pa.table({"time [s]": [0.0, 1.0, 2.0], "elbow_bend [deg]": [0.0, 1.0, 2.0]}), path)
    assert read_motion_log(path).values.ravel().tolist() == [0.0, 1.0, 2.0]
    pq.write_table(pa.table({"time [s]": [0.0, 1.0, 1.0], "elbow_bend [deg]": [0.0, None, 2.0]}), path)
    with pytest.raises(InputError) as caught:
        read_motion_log(path)
    assert "log.parquet:2: no finite number" in str(caught.value)


def test_random_bytes_are_refused_or_read_but_never_break(tmp_path):
    rng = np.random.default_rng(0)
    path = write(tmp_path, GOOD)
    for _ in range(300):
        content = bytearray(GOOD.encode())
        for place in rng.integers(len(content), size=3):
            content[place] = rng.integers(256)
        path.write_bytes(bytes(content))
        try:
            log = read_motion_log(path)
        except InputError:
            continue
        assert np.all(np.diff(log.times_s) > 0) and np.all(np.isfinite(log.values))
