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
    assert log.first == "10 s"
    assert log.values.tolist() == [[0, 1], [1.5, 2], [3, 3]]
    assert log.lines.tolist() == [2, 3, 4]
    marks = [(mark.line, mark.time_s, mark.moves) for mark in log.marks]
    assert marks == [(2, 0.0, ("ready",)), (4, 1.0, ("take", "go"))]
    assert log.gaps == ()
    assert log.left_out == ()


@pytest.mark.parametrize("text", [
    GOOD.replace(",", ";"), GOOD.replace(",", "\t"), "\ufeff" + GOOD, "# from the bench\n\n" + GOOD,
    GOOD.replace("\n", "\r\n"),
    GOOD.replace("[", "(").replace("]", ")"), GOOD.replace("[", " [ ").replace("]", " ] "),
    GOOD.replace(",", ";").replace("10.5", "10,5").replace("1.5", "1,5"),
    GOOD.replace(",", "\t").replace("10.5", "10,5").replace("1.5", "1,5"),
    GOOD.replace("time [s]", "time_s").replace("elbow_bend [deg]", "elbow_bend_deg").replace("slide [mm]", "slide_mm"),
])  # fmt: skip
def test_the_usual_forms_of_csv_are_the_same_log(tmp_path, text):
    log = read_motion_log(write(tmp_path, text))
    assert log.values.tolist() == [[0, 1], [1.5, 2], [3, 3]]
    assert log.columns[0].unit == "deg"


@pytest.mark.parametrize(("text", "line", "says"), [
    (GOOD.replace(",", ";").replace("10.5", "10,5"), 3,
     "another decimal sign than before in column 'elbow_bend [deg]'; found '1.5'; accepted: ',' in the whole log"),
    (GOOD.replace(",", ";").replace("11;3;3", "11;3;3,25"), 4, "accepted: '.' in the whole log"),
    (GOOD.replace(",", ";").replace("11;3;3", "11;3;1.003,25"), 4, "no finite number in column 'slide [mm]'"),
    (GOOD.replace("11,3,3", '11,"3,5",3'), 4, "no finite number in column 'elbow_bend [deg]'; found '3,5'"),
])  # fmt: skip
def test_a_log_has_one_decimal_sign_that_parts_no_cells(tmp_path, text, line, says):
    message = refused(tmp_path, text)
    assert f":{line}: " in message and says in message


@pytest.mark.parametrize("times", [
    ("2031-05-01T08:00:00Z", "2031-05-01T08:00:00.250Z", "2031-05-01T08:00:02Z"),
    ("2031-05-01T08:00:00+00:00", "2031-05-01T09:00:00.25+01:00", "2031-05-01T08:00:02Z"),
    ("2031-04-30 23:59:59.9", "2031-05-01 00:00:00.150000", "2031-05-01 00:00:01.9"),
    ("20310501T080000,0", "20310501T080000,25", "20310501T080002"),
])  # fmt: skip
def test_times_of_iso_8601_are_counted_from_the_first(tmp_path, times):
    text = "time;elbow_bend [deg]\n" + "".join(f"{time};{k}\n" for k, time in enumerate(times))
    log = read_motion_log(write(tmp_path, text))
    assert log.times_s.tolist() == [0.0, 0.25, 2.0]
    assert log.first == times[0]


@pytest.mark.parametrize(("cell", "says"), [
    ("12.5", "no date and time in column 'time'; found '12.5'; accepted: 2031-05-01T08:00:00.25Z in every row, or "
     "numbers under a heading with a unit such as time [s]"),
    ("2031-05-01", "no date and time"), ("", "no date and time"), ("2031-13-01T08:00:00Z", "no date and time"),
    ("2031-05-01T08:00:01", "another kind of time than in the rows before in column 'time'"),
    ("2031-05-01T08:00:00Z", "the row repeats the time of line 2; found '2031-05-01T08:00:00Z'"),
])  # fmt: skip
def test_what_is_no_date_and_time_among_them_is_told_by_its_line(tmp_path, cell, says):
    text = f"time,elbow_bend [deg]\n2031-05-01T08:00:00Z,0\n{cell},1\n"
    message = refused(tmp_path, text)
    assert ":3: " in message and says in message


OTHERS = "stamp;A1;A2 (rad);state;phase\n" + "".join(
    f"2031-05-01T08:00:0{k}Z;{angle};{k / 10};{k};{phase}\n".replace(".", ",")
    for k, (angle, phase) in enumerate([(170, "out"), (179.5, ""), (-171, ""), (-160, "in")])
)
SAID = """format: armcarry columns 1
title: How another house logs
time: {column: stamp}
move: phase
joints:
  A1: {joint: shoulder_turn, unit: deg, wraps: true}
  A2 (rad): {joint: elbow_bend, reversed: true, zero: 12 deg}
"""


def said(tmp_path, text=SAID, log=OTHERS):
    (tmp_path / "columns.yaml").write_text(text)
    return read_motion_log(write(tmp_path, log), columns=tmp_path / "columns.yaml")


def test_a_file_says_what_the_columns_of_another_log_hold(tmp_path):
    log = said(tmp_path)
    assert [(one.joint, one.unit, one.reversed, one.wraps) for one in log.columns] == [
        ("shoulder_turn", "deg", False, True), ("elbow_bend", "rad", True, False),
    ]
    assert log.columns[1].zero == pytest.approx(np.radians(12.0))
    assert log.values[:, 0].tolist() == pytest.approx([170.0, 179.5, 189.0, 200.0])
    assert log.values[:, 1].tolist() == [0.0, 0.1, 0.2, 0.3]
    assert [(mark.line, mark.moves) for mark in log.marks] == [(2, ("out",)), (5, ("in",))]
    assert log.passed_over == ("state",)
    assert [one.words for one in log.columns] == ["unwrapped", "reversed, then +0.20944 rad"]
    assert log.meanings == SAID.encode()


@pytest.mark.parametrize(("change", "line", "says"), [
    (("column: stamp", "column: stmp"), 3, "no column 'stmp' in log.csv, line 1; accepted: stamp (nearest), or one of"),
    (("move: phase", "move: step"), 4, "no column 'step' in log.csv, line 1"),
    (("A1: {", "A3: {"), 6, "no column 'A3' in log.csv, line 1"),
    (("unit: deg, ", ""), 6, "nothing says in which unit column 'A1' is; accepted: unit: deg"),
    (("unit: deg", "unit: kg"), 6, "'kg' is no unit for this column; accepted: angle in deg"),
    (("unit: deg", "unit: mm"), 6, "only what turns starts anew after a whole turn"),
    (("zero: 12 deg", "zero: 12 mm"), 7, "not an accepted unit; accepted: an angle"),
    (("column: stamp", "column: stamp, unit: deg"), 3, "'deg' is no unit for this column; accepted: time in s"),
    (("column: stamp", "column: A1"), 1, "column 'A1' is given two meanings"),
    (("joint: elbow_bend", "joint: shoulder_turn"), 1, "two columns are said to hold joint 'shoulder_turn'"),
])  # fmt: skip
def test_what_a_file_of_columns_gets_wrong_is_told_by_its_line(tmp_path, change, line, says):
    with pytest.raises(InputError) as caught:
        said(tmp_path, SAID.replace(*change))
    assert f"columns.yaml:{line}: " in str(caught.value) and says in str(caught.value), str(caught.value)


def test_a_heading_that_stands_twice_is_no_column_to_name(tmp_path):
    with pytest.raises(InputError, match=r"columns.yaml:6: two columns 'A1' in log.csv, line 1"):
        said(tmp_path, log=OTHERS.replace("state", "A1"))


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
