"""What there is to say of a logged motion."""

import numpy as np
import pytest

from armcarry.checks import log
from armcarry.files.motion_log import Gap
from armcarry.record.finding import Verdict
from armcarry.timeline.log_facts import Jump, Logged, Step

PLAIN = {
    "name": "flown.csv", "sha256": "0", "pieces": "linear", "rows": 12, "first": "30 s", "gaps": (), "left_out": (),
    "jumps": (), "largest": Step("arm/j2", 7, 4.0, np.radians(3.0)), "between_rad": np.radians(0.25), "unmarked": (),
    "start_off": np.radians(1.5), "start_joint": "arm/j4",
}  # fmt: skip


@pytest.fixture
def judged(rider_scene, moving_record):
    """Judge a run that replays a log; keys of Logged, and more of the script."""

    def build(script=None, **facts):
        return log.check(moving_record(rider_scene({}, script=script), {}, logged=Logged(**{**PLAIN, **facts})))

    return build


def test_nothing_is_said_of_a_planned_run(rider_scene, moving_record):
    assert log.check(moving_record(rider_scene({}), {})) == ()


def test_a_log_without_faults_tells_its_facts_and_what_it_leaves_open(judged):
    facts, accelerations = judged()
    assert facts.verdict is Verdict.PASS
    assert facts.message == (
        "12 rows from 30 s as logged, straight pieces between them; largest step 3.00 deg of arm/j2 up to line 7; "
        "straight and cubic pieces differ by 0.250 deg at most; the first row is 1.50 deg from the script's start "
        "(arm/j4)"
    )
    assert (facts.subject, facts.end_s, facts.unit) == ("flown.csv", 10.0, "rad")
    assert facts.value == pytest.approx(np.radians(3.0))
    assert accelerations.verdict is Verdict.NOT_ASSESSED
    assert accelerations.message == (
        "accelerations: between rows they are those of the pieces and not of the arm, so joint_rate judges rates alone"
    )
    assert accelerations.remedy == "take them from the arm's own records"


def test_the_kind_of_pieces_is_told(judged):
    assert "as logged, monotone cubic pieces between them" in judged(pieces="cubic")[0].message


def test_each_whole_turn_between_rows_fails(judged):
    jumps = (Jump(9, 5.0, "arm/j6", -6.2), Jump(11, 6.0, "arm/j1", 6.3))
    first, second = judged(jumps=jumps)[1:3]
    assert first.verdict is second.verdict is Verdict.FAIL
    assert first.message == (
        "flown.csv:9: arm/j6 steps by -355.2 deg from one row to the next, as a logger does that wraps angles; it is "
        "replayed as written"
    )
    assert (first.subject, first.value, first.start_s, first.end_s, first.unit) == ("arm/j6", 6.2, 5.0, 5.0, "rad")
    assert first.remedy == (
        "log joint angles that count on beyond half a turn, or say wraps: true of the column in a file of columns"
    )
    assert second.value == 6.3


def test_gaps_rows_left_out_and_moves_nobody_marks_are_not_assessed(judged):
    gap, row, move, _ = judged(gaps=(Gap(14, 3.0, 8.5),), left_out=("flown.csv:4: no number",), unmarked=("take",))[1:]
    assert {item.verdict for item in (gap, row, move)} == {Verdict.NOT_ASSESSED}
    assert gap.message == "flown.csv:14: no row for 5.5 s; the motion there is assumed"
    assert (gap.start_s, gap.end_s, gap.remedy) == (3.0, 8.5, "supply the missing rows")
    assert (row.message, row.remedy) == ("row left out: flown.csv:4: no number", "supply the row as it was")
    assert move.message == "no row says when 'take' happens, so it is left out of the run"
    assert move.remedy == "write take in the column 'move' of the row where it happens"


def test_what_a_file_of_columns_did_is_told(judged):
    told = judged(changed={"j2": "reversed", "j3": "unwrapped"}, passed_over=("state", "load"))[1]
    assert told.verdict is Verdict.PASS and told.subject == "columns"
    assert told.message == "as the file of columns says: j2 reversed; j3 unwrapped; columns passed over: state, load"
    assert judged(passed_over=("state",))[1].message == "as the file of columns says: columns passed over: state"


def test_a_day_is_not_in_a_log(judged):
    day = {"day": {"steps": [{"name": "look", "actors": ["ev1"], "note": "look", "takes": "1 min"}]}}
    last = judged(script=day)[-1]
    assert last.verdict is Verdict.NOT_ASSESSED
    assert last.message == "the day of the script: a log holds the motion alone"
    assert last.remedy == "rehearse the script without a log"


def test_the_largest_step_of_a_joint_that_slides_is_in_metres(rider_scene, moving_record):
    facts = Logged(**PLAIN | {"largest": Step("arm/j2", 7, 4.0, 0.0123456)})
    told = log.check(moving_record(rider_scene({}, slides=("j2",)), {}, logged=facts))[0]
    assert "; largest step 0.0123 m of arm/j2 up to line 7; " in told.message
    assert (told.unit, told.value) == ("m", 0.0123456)
