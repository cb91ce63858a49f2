"""Recorded tries of steps: what becomes of them, and every row that cannot be used, at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from armcarry.errors import InputError
from armcarry.files.load import load_scenario
from armcarry.timeline.task import Duration, duration_of

VARY = (Path(__file__).parents[2] / "scenarios" / "day_that_may_vary.yaml").read_text(encoding="utf-8")
TRIES = """step,who,took,where
near_clamp,ev2,11 min,pool
near_clamp,ev2,9 min,pool
near_clamp,ev2,16:00,pool
near_clamp,ev2,10 min,pool

# another does it too
near_clamp,ev1,8 min,pool
near_clamp,ev1,7 min,pool
near_clamp,ev1,7.5 min,pool
"""


@pytest.fixture
def with_tries(tmp_path):
    """Write a day with a table of tries; return its path."""

    def write(tries, name="tries.csv", text=VARY):
        path = tmp_path / "day.yaml"
        path.write_text(text.replace('  cut_off: "1:30"', f'  cut_off: "1:30"\n  practice: {name}'), encoding="utf-8")
        if tries is not None:
            (tmp_path / "tries.csv").write_bytes(tries if isinstance(tries, bytes) else tries.encode())
        return path

    return write


def _step(loaded, name):
    return next(step for step in loaded.scenario.day.steps if step.name == name)


def test_tries_give_each_person_least_likely_and_most(with_tries):
    loaded = load_scenario(with_tries(TRIES.replace("16:00", "16 min")))
    clamp = _step(loaded, "near_clamp")
    assert duration_of(clamp, {}) == Duration(540.0, 630.0, 960.0)  # ev2 does it; of four the middle two make likely
    assert clamp.takes_by["ev1"].likely == 450.0
    assert duration_of(_step(loaded, "far_lamp"), {}) == Duration(300.0, 360.0, 540.0)  # no tries: as it says
    assert "tries.csv" in {file.role_path for file in loaded.inputs}


@pytest.mark.parametrize(("tries", "line", "words"), [
    ("step,took\n", 1, "not a table of tries; found 'step,took'; accepted: a heading with step, who, took, each once"),
    ("", 1, "an empty table of tries; accepted: step,who,took"),
    (TRIES.replace("near_clamp,ev2,9 min", "near_clmp,ev2,9 min"), 3, "no step named 'near_clmp'; accepted: near_cl"),
    (TRIES.replace("ev1,8 min", "ev9,8 min"), 8, "no actor named 'ev9'; accepted: "),
    (TRIES.replace("11 min,pool", "11,pool"), 2, "took: a bare number"),
    (TRIES.replace("11 min,pool", "0 min,pool"), 2, "a try that took no time; found '0 min'; accepted: more than 0 s"),
    (TRIES.replace("9 min,pool", "9 min"), 3, "the row has 3 cells, the heading 4"),
    (TRIES.replace("near_clamp,ev1,7 min,pool\n", ""), 9, "too few tries of 'near_clamp' by ev1 to tell how long it"),
    (b"step,who,took\n\xff,a,b\n", 2, "not text in UTF-8"),
])  # fmt: skip
def test_a_row_that_cannot_be_used_is_told_at_its_line(with_tries, tries, line, words):
    tries = tries.replace("16:00", "16 min") if isinstance(tries, str) else tries
    path = with_tries(tries)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert str(caught.value).startswith(f"{path.parent / 'tries.csv'}:{line}: {words}")


def test_tries_of_whom_the_step_speaks_itself_are_refused(with_tries):
    clamp = '{name: near_clamp, title: "free the clamp", '
    own = VARY.replace(clamp, clamp + "takes_by: {ev1: 9 min}, ")
    with pytest.raises(InputError, match=r"tries\.csv:10: step 'near_clamp' states under takes_by how long it"):
        load_scenario(with_tries(TRIES.replace("16:00", "16 min"), text=own))


@pytest.mark.parametrize(("name", "words"), [
    ("tries.csv", "no such practice file"), ("../tries.csv", "a CSV file beside this one, as practice.csv"),
])  # fmt: skip
def test_a_table_that_is_not_beside_the_script_is_told_at_its_line(with_tries, name, words):
    path = with_tries(None, name)
    line = next(k for k, row in enumerate(path.read_text().splitlines(), start=1) if "practice:" in row)
    with pytest.raises(InputError) as caught:
        load_scenario(path)
    assert f"{path}:{line}: " in str(caught.value) and words in str(caught.value)
