"""Results worked out in a process beside are those worked out here, and what goes wrong there is worked out here."""

import os
from dataclasses import dataclass, replace

import numpy as np
import pytest

from armcarry.record import beside
from armcarry.record.beside import side_by_side, worked_out_beside
from armcarry.record.kept import Kept
from armcarry.rehearsal import judge
from armcarry.whatif.runaway_joint import RUNAWAYS

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")


@pytest.fixture(autouse=True)
def two_cores(monkeypatch):
    monkeypatch.setattr(beside, "cores", lambda: 2)


@dataclass(frozen=True)
class Made:
    where: int
    row: object
    values: np.ndarray


def _made(record):
    return Made(os.getpid(), record.pairs[3], np.array([1.5, np.inf]))


MADE = Kept("made", 1, _made, (Made,))


def test_a_result_comes_from_another_process_and_is_made_of_the_runs_own_objects(short_run):
    record = replace(short_run[0])
    with worked_out_beside(record, [[MADE]]):
        found = record.result(MADE)
    assert found.where != os.getpid()
    assert found.row is record.pairs[3] and found.values.tolist() == [1.5, np.inf]
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)  # none is left


def test_what_breaks_off_there_breaks_off_here_and_a_process_that_is_ended_is_no_loss(short_run):
    def breaks(record):
        raise ArithmeticError(str(os.getpid()))

    record, broken = replace(short_run[0]), Kept("broken", 1, breaks, ())
    with worked_out_beside(record, [[broken, MADE]]):
        with pytest.raises(ArithmeticError, match=str(os.getpid())):
            record.result(broken)
        assert record.result(MADE).where != os.getpid()
    ended = Kept("ended", 1, lambda record: os._exit(3) if os.getpid() != here else 7, ())
    here = os.getpid()
    with worked_out_beside(record, [[ended]]):
        assert record.result(ended) == 7


def test_what_no_check_will_ask_for_is_not_worked_out_ahead(short_run, tmp_path):
    def leaves_a_trace(record):
        (tmp_path / "worked_out").touch()

    needless = Kept("needless", 1, leaves_a_trace, (), asked=lambda record: False)
    record = replace(short_run[0])
    with worked_out_beside(record, [[needless, MADE]]):
        assert record.result(MADE).where != os.getpid()
    assert not (tmp_path / "worked_out").exists()
    arm = record.scene.loaded.arm
    load = arm.document.loads["free"].model_copy(update={"runaway_rate": None})
    silent = arm.document.model_copy(update={"loads": {**arm.document.loads, "free": load}, "runaway_rate": None})
    loaded = replace(record.scene.loaded, arm=replace(arm, document=silent))
    assert RUNAWAYS.asked(record)
    assert not RUNAWAYS.asked(replace(record, scene=replace(record.scene, loaded=loaded)))


def test_nothing_waits_for_a_result_that_nobody_asks_for(short_run):
    import time

    slow, before = Kept("slow", 1, lambda record: time.sleep(60.0), ()), time.monotonic()
    with worked_out_beside(replace(short_run[0]), [[slow]]):
        pass
    assert time.monotonic() - before < 20.0


def test_findings_and_results_are_the_same_with_one_process_and_with_four(short_run):
    alone, shared = replace(short_run[0]), replace(short_run[0])
    assert list(map(repr, judge(shared, 4))) == list(map(repr, judge(alone)))
    assert dict(shared.results()) == dict(alone.results())


def test_jobs_side_by_side_give_what_they_give_one_after_another():
    jobs = [lambda k=k: (k, k**2) for k in range(5)]
    assert side_by_side(jobs, 1) == side_by_side(jobs, 3) == [(k, k**2) for k in range(5)]


def test_what_cannot_be_done_or_sent_beside_is_done_here():
    here = os.getpid()

    def job():
        if os.getpid() != here:
            raise RuntimeError("only here")
        return lambda: "cannot be sent"

    assert [made() for made in side_by_side([job, job], 2)] == ["cannot be sent"] * 2
