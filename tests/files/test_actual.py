"""Times of steps as they were flown: read by the clock or from the start, refused with file and line."""

import pytest

from armcarry.errors import InputError
from armcarry.files.actual import Actual, read_actual

STEPS = ("ride", "bolt", "home")


@pytest.fixture
def read(tmp_path):
    def make(text, day_start_s=27_000.0):
        path = tmp_path / "times.csv"
        path.write_bytes(text.encode() if isinstance(text, str) else text)
        return read_actual(path, STEPS, day_start_s)

    return make


def test_times_are_from_the_start_or_by_the_clock(read):
    found = {"ride": Actual(60.0, 750.0, "windy, wet"), "bolt": Actual(750.0, None)}
    assert read('step,start,end,remark\nride,0:01,750 s,"windy, wet"\n\nbolt, 0:12:30\n') == found
    assert read('step,start (clock),end (clock)\nride,7:31,7:42:30\n') == {"ride": Actual(60.0, 750.0)}


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", "not a table of times; found '0 lines'"),
        ("a,b\n", "times.csv:1: not a table of times; found 'a, b'; accepted: step, start, end, remark"),
        ("step,start,end\nrude,1 s,2 s\n", "times.csv:2: no step named 'rude' in this run; accepted: ride (nearest)"),
        ("step,start,end\nride,1,2 s\n", "times.csv:2: a bare number"),
        ("step,start,end\nride,soon,2 s\n", "times.csv:2: "),
        ("step,start,end\nride,3 s,2 s\n", "times.csv:2: a step that ends before it begins"),
        ("step,start (clock),end (clock)\nride,7:00,7:10\n", "times.csv:2: a step that ends before it begins, or"),
        ("step,start,end\nride,1 s,2 s\nride,1 s,2 s\n", "times.csv:3: step 'ride' is told twice"),
        ("step,start,end\nride\n", "times.csv:2: not a line of the table; found '1 cells'"),
        ("step,start,end\nride,1 s,2 s,x,y\n", "times.csv:2: not a line of the table"),
        ('step,start,end\n"ride,1 s,2 s\n', "not a table: "),
        (b"step,start\xff", "not text in UTF-8"),
    ],
)
def test_what_is_no_table_of_times_is_refused(read, text, words):
    with pytest.raises(InputError) as told:
        read(text)
    assert words in str(told.value)


def test_the_clock_says_nothing_of_a_run_without_a_day(read, tmp_path):
    with pytest.raises(InputError, match="belongs to no day"):
        read("step,start (clock),end (clock)\nride,7:31,7:42\n", None)
    with pytest.raises(InputError, match="cannot be read"):
        read_actual(tmp_path / "none.csv", STEPS, None)
