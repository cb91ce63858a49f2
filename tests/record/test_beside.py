"""What is worked out in a process beside is as if worked out here, and what goes wrong there is worked out here."""

import os
import time
from dataclasses import replace
from functools import partial

import pytest

from armcarry.record import beside
from armcarry.record.beside import side_by_side
from armcarry.rehearsal import judge
from armcarry.whatif.runaway_joint import RUNAWAYS

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="no fork here")


@pytest.fixture(autouse=True)
def two_cores(monkeypatch):
    monkeypatch.setattr(beside, "cores", lambda: 2)


def test_each_process_takes_the_next_job_and_none_is_left_over():
    def job(k):
        time.sleep(2.0 if k == 0 else 0.05)  # this process begins with the first
        return k, os.getpid()

    given = side_by_side([partial(job, k) for k in range(6)], 2)
    assert [k for k, _ in given] == list(range(6))
    where = [pid for _, pid in given]
    assert where[0] == os.getpid() and where[1] != os.getpid()
    assert len(set(where[1:])) == 1
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)  # none is left


def test_a_process_that_is_ended_is_no_loss():
    here = os.getpid()
    ends = lambda: os._exit(3) if os.getpid() != here else 7  # noqa: E731
    assert side_by_side([lambda: time.sleep(1.0), ends, ends], 2) == [None, 7, 7]


def test_nothing_waits_for_processes_beside_when_a_job_breaks_off_here():
    def breaks():
        time.sleep(0.5)  # the other one is at work
        raise ArithmeticError("here")

    before = time.monotonic()
    with pytest.raises(ArithmeticError, match="here"):
        side_by_side([breaks, lambda: time.sleep(60.0)], 2)
    assert time.monotonic() - before < 20.0


def test_what_a_check_keeps_comes_with_its_findings_and_is_not_worked_out_again(short_run):
    record = replace(short_run[0])
    judge(record, 2)
    sent = dict(record.results())
    assert {"sight", "runaway_joint", "locked_joint"} <= set(sent)
    broken = replace(RUNAWAYS, compute=lambda record: pytest.fail("worked out again"))
    assert RUNAWAYS.pack(record, record.result(broken)) == sent["runaway_joint"]


def test_a_check_that_breaks_off_beside_is_told(short_run, monkeypatch):
    from armcarry.checks import corridor

    def check(record):
        raise ArithmeticError("no room")

    monkeypatch.setattr(corridor, "check", check)
    found = [one for one in judge(replace(short_run[0]), 2) if one.check == "corridor"]
    assert [one.verdict for one in found] == ["not_assessed"] and "no room" in found[0].message


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
