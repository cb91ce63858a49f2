"""Campaigns: the same numbers whoever computes them, nothing lost, nothing counted twice."""

import gc
import json
import multiprocessing
import os
import signal
import subprocess
import sys
import tempfile
import time
from contextlib import contextmanager
from dataclasses import replace

import numpy as np
import pytest
from pyarrow import parquet

from armcarry.dispersion import campaign as campaigns
from armcarry.dispersion import engine
from armcarry.dispersion.campaign import disperse, guided, perturbed_record, run_campaign
from armcarry.dispersion.chunks import CHUNK, Chunks, chunk_ranges
from armcarry.dispersion.problem import make_problem, prove_runs
from armcarry.dispersion.results import Results, write_tables
from armcarry.errors import ArmcarryError, InputError, MissingExtraError, RecordError
from armcarry.files.load import load_scenario
from armcarry.files.places import scenarios_folder
from armcarry.record.record import PairRow

RUNS = 3 * CHUNK + 7
SCENARIO = scenarios_folder() / "unreachable_worksite.yaml"


@pytest.fixture
def problem(record):
    return make_problem(record)


def _same(one, other):
    for name in ("runs", "values", "lower_m", "upper_m", "time_s"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_chunks_do_not_depend_on_how_many_runs_there_are():
    assert chunk_ranges(RUNS)[:3] == chunk_ranges(10 * RUNS)[:3]
    assert sum(map(len, chunk_ranges(RUNS))) == RUNS


def test_two_processes_give_the_same_numbers_as_one(record, problem, tmp_path, monkeypatch):
    monkeypatch.setattr(engine, "AHEAD", 2)  # chunks are handed out one by one
    one = run_campaign(record, problem, RUNS, 7, tmp_path / "one")
    two = run_campaign(record, problem, RUNS, 7, tmp_path / "two", workers=2)
    _same(one.outcome, two.outcome)
    _same(one.outcome, prove_runs(problem, 7, range(RUNS)))


def test_a_campaign_in_which_nothing_is_watched_says_that_nothing_varies(rider_scene, swung, tmp_path):
    record = swung(rider_scene, required=[{"between": ["worker", "structure"], "distance": "1 m"}])  # and no worker
    results = Results(run_campaign(record, make_problem(record), CHUNK, 7, tmp_path))
    first, second = results.lines
    assert first == (
        "nothing varies: whatever is drawn, no pair of bodies comes within 2 m (watch) of what it must keep; 0 pairs "
        "are proven to stay clear in every draw"
    )
    assert second == "widen watch or the terms of the rules' dispersion to see margins"
    _, runs, pairs = write_tables(results, tmp_path)
    assert parquet.read_table(runs).column("body_a").null_count == CHUNK
    assert parquet.read_table(pairs).num_rows == 0
    told = results.as_dict()
    assert (told["watched"], told["weights"], told["least"]["short"]) == (0, [], 0)


def test_an_interrupted_campaign_goes_on(record, problem, tmp_path):
    whole = run_campaign(record, problem, RUNS, 7, tmp_path / "whole")

    def stop(words, share):
        if "of" in words and int(words.split()[1]) >= 2 * CHUNK:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        run_campaign(record, problem, RUNS, 7, tmp_path / "cut", progress=stop)
    told = []
    done = run_campaign(record, problem, RUNS, 7, tmp_path / "cut", progress=lambda words, share: told.append(words))
    assert done.taken_up == 2 * CHUNK
    assert told[-1] == f"run {RUNS} of {RUNS}, 0 s left"
    _same(done.outcome, whole.outcome)


@pytest.mark.parametrize("harm", ["cut short", "other bytes", "missing", "empty"])
def test_a_damaged_chunk_is_proven_again(record, problem, tmp_path, harm):
    whole = run_campaign(record, problem, 2 * CHUNK, 7, tmp_path)
    path = tmp_path / "chunks" / f"from_{CHUNK:07d}.npz"
    data = path.read_bytes()
    if harm == "missing":
        path.unlink()
    else:
        middle = len(data) // 2
        worse = {"cut short": data[:middle], "empty": b"",
                 "other bytes": data[:middle] + bytes(b ^ 255 for b in data[middle:middle + 40]) + data[middle + 40:]}
        path.write_bytes(worse[harm])
    again = run_campaign(record, problem, 2 * CHUNK, 7, tmp_path)
    assert again.taken_up == CHUNK
    _same(again.outcome, whole.outcome)


def test_a_campaign_can_be_made_longer(record, problem, tmp_path):
    run_campaign(record, problem, CHUNK + 5, 7, tmp_path)
    longer = run_campaign(record, problem, 2 * CHUNK, 7, tmp_path)
    assert longer.taken_up == CHUNK  # the short chunk at the end does not count
    assert longer.outcome.runs.tolist() == list(range(2 * CHUNK))


def test_a_folder_of_another_campaign_is_refused(record, problem, tmp_path):
    run_campaign(record, problem, 1, 7, tmp_path)
    with pytest.raises(RecordError, match=r"holds another campaign \(different: seed\); choose another --out"):
        run_campaign(record, problem, 1, 8, tmp_path)
    (tmp_path / "campaign.json").write_text("{")
    with pytest.raises(RecordError, match=r"campaign\.json is damaged; choose another --out"):
        run_campaign(record, problem, 1, 7, tmp_path)
    with pytest.raises(RecordError, match="cannot write"):
        run_campaign(record, problem, 1, 7, tmp_path / "campaign.json")


def test_a_folder_of_another_campaign_is_refused_before_anything_is_computed(tmp_path, monkeypatch):
    Chunks(tmp_path, campaigns.identity(load_scenario(SCENARIO), 1))
    monkeypatch.setattr(campaigns, "rehearse", lambda *_: pytest.fail("computed"))
    with pytest.raises(RecordError, match=r"holds another campaign \(different: seed\)"):
        disperse(SCENARIO, 10, 2, tmp_path)


def test_numbers_out_of_range_are_refused(tmp_path):
    with pytest.raises(InputError, match="not a campaign; found '0 runs, seed 1'"):
        disperse("none.yaml", 0, 1, tmp_path)


def test_a_script_that_cannot_be_flown_is_refused(tmp_path, monkeypatch, record):
    short = type("Short", (), {"shortfalls": [type("S", (), {"reason": "too far away"})]})
    monkeypatch.setattr(campaigns, "rehearse", lambda *_: short)
    with pytest.raises(InputError, match="the script cannot be flown as it is: too far away"):
        disperse(SCENARIO, 1, 1, tmp_path)


# -- workers --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("absent", ["distributed", "cryptography"])
def test_without_dask_one_process_is_usual_and_more_say_what_to_type(record, problem, tmp_path, monkeypatch, absent):
    monkeypatch.setitem(sys.modules, absent, None)
    assert engine.usual_workers(100_000) == 1
    assert run_campaign(record, problem, 2, 7, tmp_path / "one").outcome.runs.tolist() == [0, 1]
    for options in ({"workers": 2}, {"cluster": "tcp://127.0.0.1:1"}):
        with pytest.raises(MissingExtraError, match=rf"process needs {absent}, .* pip install 'armcarry\[cluster\]'"):
            run_campaign(record, problem, RUNS, 7, tmp_path / "more", **options)


def test_with_dask_as_many_cores_are_used_as_pay_unless_told(monkeypatch):
    monkeypatch.setattr(pytest.importorskip("dask.system"), "CPU_COUNT", 6)
    pytest.importorskip("distributed")
    assert [engine.usual_workers(CHUNK * chunks) for chunks in (1, 7, 8, 20, 1000)] == [1, 1, 2, 5, 6]


def test_worker_processes_listen_on_the_loopback_only_and_leave_nothing(record, problem, tmp_path, monkeypatch, capfd):
    psutil = pytest.importorskip("psutil")
    pytest.importorskip("distributed")
    (scratch := tmp_path / "scratch").mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(scratch))
    seen = []

    def look(words, share):
        if words.startswith("run") and not seen:
            everyone = [psutil.Process(), *psutil.Process().children(recursive=True)]
            seen.extend(c.laddr for p in everyone for c in p.net_connections("inet") if c.status == "LISTEN")

    done = run_campaign(record, problem, RUNS, 7, tmp_path / "out", workers=2, progress=look)
    _same(done.outcome, prove_runs(problem, 7, range(RUNS)))
    assert {place.ip for place in seen} == {"127.0.0.1"}
    assert 8787 not in {place.port for place in seen}
    assert list(scratch.iterdir()) == []
    assert multiprocessing.active_children() == []
    assert capfd.readouterr() == ("", "")


def test_a_killed_worker_process_changes_nothing(record, problem, tmp_path, capfd):
    pytest.importorskip("distributed")
    killed = []

    def kill_one(words, share):
        if words.startswith("run") and not killed:
            killed.append(multiprocessing.active_children()[0])
            killed[0].kill()

    done = run_campaign(record, problem, RUNS, 7, tmp_path, workers=2, progress=kill_one)
    assert killed
    _same(done.outcome, prove_runs(problem, 7, range(RUNS)))
    assert capfd.readouterr().err == ""


def test_workers_that_end_again_and_again_are_told_and_their_campaign_goes_on(record, problem, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    dask = pytest.importorskip("dask")
    monkeypatch.setattr(engine, "_prove", lambda *_: os._exit(1))
    with dask.config.set({"distributed.scheduler.allowed-failures": 0}), pytest.raises(
        ArmcarryError, match=r"worker processes end again and again .*the same command goes on"
    ):
        run_campaign(record, problem, RUNS, 7, tmp_path, workers=2)
    monkeypatch.undo()
    assert run_campaign(record, problem, RUNS, 7, tmp_path).outcome.runs.tolist() == list(range(RUNS))


@pytest.fixture
def ctrl_c():
    """Have ctrl-C raise here, also where whoever started the tests lets it pass, as a script's background does."""
    before = signal.signal(signal.SIGINT, signal.default_int_handler)
    yield
    signal.signal(signal.SIGINT, before)


@pytest.mark.usefixtures("ctrl_c")
def test_ctrl_c_reaches_every_process_and_leaves_a_campaign_that_goes_on(record, problem, tmp_path, capfd):
    pytest.importorskip("distributed")

    def stop(words, share):
        if words.startswith("run"):
            for child in multiprocessing.active_children():
                os.kill(child.pid, signal.SIGINT)
            os.kill(os.getpid(), signal.SIGINT)

    with pytest.raises(KeyboardInterrupt):
        run_campaign(record, problem, RUNS, 7, tmp_path, workers=2, progress=stop)
    assert multiprocessing.active_children() == []
    assert capfd.readouterr() == ("", "")
    again = run_campaign(record, problem, RUNS, 7, tmp_path)
    assert again.taken_up in (CHUNK, RUNS % CHUNK)
    _same(again.outcome, prove_runs(problem, 7, range(RUNS)))


def test_a_worker_with_another_armcarry_is_refused(record, problem, tmp_path, monkeypatch):
    pytest.importorskip("distributed")
    monkeypatch.setattr(engine, "VERSION", "0.0.1")
    with pytest.raises(ArmcarryError, match=r"a worker has armcarry .*, this is 0\.0\.1: both must be the same"):
        run_campaign(record, problem, RUNS, 7, tmp_path, workers=2)


# -- beyond one machine ---------------------------------------------------------------------------------------


@pytest.fixture
def cluster():
    """Start a scheduler and two worker processes on the loopback, as somebody else would have."""
    distributed = pytest.importorskip("distributed")
    with distributed.LocalCluster(
        n_workers=2, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None, silence_logs=50
    ) as started:
        yield started


@pytest.mark.long
@pytest.mark.filterwarnings("ignore")
def test_a_killed_worker_of_a_cluster_changes_nothing(record, problem, tmp_path, cluster):
    pids = [worker.process.pid for worker in cluster.workers.values()]
    assert len(pids) == 2
    killed = []

    def kill_one(words, share):
        if words.startswith("run") and not killed:
            os.kill(pids[0], signal.SIGKILL)
            killed.append(pids[0])

    done = run_campaign(record, problem, RUNS, 7, tmp_path, cluster=cluster.scheduler_address, progress=kill_one)
    assert killed
    undisturbed = prove_runs(problem, 7, range(RUNS))
    _same(done.outcome, undisturbed)
    _same(run_campaign(record, problem, RUNS, 7, tmp_path).outcome, undisturbed)


@pytest.mark.filterwarnings("ignore")
def test_a_scheduler_that_goes_away_is_told_and_the_campaign_goes_on(record, problem, tmp_path, cluster):
    def close(words, share):
        if words.startswith("run"):
            cluster.close()

    with pytest.raises(ArmcarryError, match="the Dask scheduler went away; finished runs are kept"):
        run_campaign(record, problem, 4 * RUNS, 7, tmp_path, cluster=cluster.scheduler_address, progress=close)
    assert list((tmp_path / "chunks").iterdir())


@contextmanager
def outside(folder, *options):
    """Start a scheduler and a worker as programs of their own; yield the scheduler's process and address."""
    pytest.importorskip("distributed")
    place = folder / "scheduler.json"
    base = [sys.executable, "-m"]
    first = [*base, "distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", "--no-dashboard",
             "--scheduler-file", str(place), *options]
    second = [*base, "distributed.cli.dask_worker", "--scheduler-file", str(place), "--nthreads", "1", "--no-dashboard",
              "--local-directory", str(folder), "--death-timeout", "60", *options]
    running = []
    try:
        for command in (first, second):
            running.append(subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL))
            end = time.monotonic() + 60.0
            while not place.exists() and time.monotonic() < end:
                time.sleep(0.1)
        yield running[0], json.loads(place.read_text())["address"]
    finally:
        for process in running:
            process.kill()
            process.wait()


def certificates(folder):
    """Write an authority of our own and a certificate that it signed for this machine; return the options for Dask."""
    security = pytest.importorskip("distributed").Security.temporary()
    (folder / "ca.pem").write_text(security.tls_ca_file)
    (folder / "cert.pem").write_text(security.tls_client_cert)
    (folder / "key.pem").write_text(security.tls_client_key)
    paths = [folder / f"{name}.pem" for name in ("ca", "cert", "key")]
    return engine.Tls(*paths), [
        word for option, path in zip(("--tls-ca-file", "--tls-cert", "--tls-key"), paths, strict=True)
        for word in (option, str(path))
    ]


def test_a_scheduler_is_known_by_its_certificates(record, problem, tmp_path, capfd):
    pytest.importorskip("cryptography")
    tls, options = certificates(tmp_path)
    (other := tmp_path / "other").mkdir()
    strangers, _ = certificates(other)
    with outside(tmp_path, *options, "--protocol", "tls") as (_, address):
        assert address.startswith("tls://127.0.0.1:")
        done = run_campaign(record, problem, RUNS, 7, tmp_path / "out", cluster=address, tls=tls)
        _same(done.outcome, prove_runs(problem, 7, range(RUNS)))
        with pytest.raises(ArmcarryError, match="no Dask scheduler that knows these certificates answers at tls://"):
            run_campaign(record, problem, RUNS, 7, tmp_path / "no", cluster=address, tls=strangers)
    assert "Traceback" not in capfd.readouterr().err


@pytest.mark.long
@pytest.mark.skipif(sys.platform == "win32", reason="SIGKILL")
def test_a_killed_scheduler_is_told_without_a_traceback(record, problem, tmp_path, capfd):
    with outside(tmp_path) as (scheduler, address):
        def kill(words, share):
            if words.startswith("run"):
                scheduler.kill()

        with pytest.raises(ArmcarryError, match="the Dask scheduler went away; finished runs are kept"):
            run_campaign(record, problem, 20 * RUNS, 7, tmp_path / "out", cluster=address, progress=kill)
    gc.collect()
    assert capfd.readouterr() == ("", "")
    assert list((tmp_path / "out" / "chunks").iterdir())


@pytest.mark.parametrize(
    ("given", "cluster", "words"),
    [
        (("ca", None, None), "tls://a:1", "TLS needs all three of its files; accepted: --tls-cert, --tls-key too"),
        (("ca", "cert", "key"), None, "TLS is for a scheduler that runs already; accepted: --cluster tls://HOST:PORT"),
        (("ca", "gone", "key"), "tls://a:1", "gone: no such file; accepted: a PEM file for --tls-cert"),
    ],
)
def test_files_of_tls_that_do_not_serve_are_told(tmp_path, given, cluster, words):
    for name in ("ca", "cert", "key"):
        (tmp_path / name).write_text("x")
    paths = [None if name is None else tmp_path / name for name in given]
    with pytest.raises(InputError) as caught:
        engine.tls_of(*paths, cluster)
    assert str(caught.value).removeprefix(f"{tmp_path}/") == words
    assert engine.tls_of(None, None, None, None) is None


def test_no_scheduler_at_the_address_is_told(record, problem, tmp_path, monkeypatch):
    distributed = pytest.importorskip("distributed")

    def refuse(*_, **__):
        raise OSError("timed out")

    monkeypatch.setattr(distributed, "Client", refuse)
    with pytest.raises(ArmcarryError, match=r"no Dask scheduler answers at tcp://127\.0\.0\.1:1"):
        run_campaign(record, problem, 1, 7, tmp_path, cluster="tcp://127.0.0.1:1")


def test_a_finished_campaign_asks_no_scheduler(record, problem, tmp_path):
    run_campaign(record, problem, 3, 7, tmp_path)
    assert run_campaign(record, problem, 3, 7, tmp_path, cluster="tcp://127.0.0.1:1").taken_up == 3


# -- what it says ---------------------------------------------------------------------------------------------


def test_results_are_the_statistics_of_the_runs(record, problem, tmp_path):
    from pyarrow import parquet

    done = run_campaign(record, problem, 100, 7, tmp_path)
    results = Results(done)
    least = done.outcome.lower_m.min(axis=1)
    overall = results.overall
    assert overall.least_m == least.min()
    assert overall.limit_m == np.sort(least)[1]  # order 2 of 93 to 123 runs
    assert overall.short == np.count_nonzero(least < 0)
    assert done.worst == int(np.argmin(least))
    assert [spread.least_m for spread in results.pairs] == sorted(spread.least_m for spread in results.pairs)
    assert results.weights[0].clear
    assert abs(results.weights[0].correlation) > 0.4
    paths = write_tables(results, tmp_path)
    told = json.loads(paths[0].read_text())
    assert told["least"]["least_m"] == overall.least_m
    runs = parquet.read_table(paths[1]).to_pydict()
    assert runs["run"] == list(range(100))
    np.testing.assert_array_equal(runs["least_margin_m"], least)
    table = parquet.read_table(paths[2])
    assert table.num_rows == np.count_nonzero(done.outcome.lower_m < problem.watch_m)
    pair = problem.watched[int(np.argmin(done.outcome.lower_m[done.worst]))]
    assert f"in run {done.worst}: {pair.body_a} to {pair.body_b} at 0:" in results.lines[0]
    low, high = (f"{100 * share:.1f} %" for share in overall.chance)
    assert f"{overall.short} of 100 runs fall short of a requirement: {low} to {high} of all" in results.lines[2]


def test_a_campaign_that_was_taken_up_says_the_same_but_for_how_much_was(record, problem, tmp_path):
    whole = write_tables(Results(run_campaign(record, problem, RUNS, 7, tmp_path / "whole")), tmp_path / "whole")
    run_campaign(record, problem, 2 * CHUNK, 7, tmp_path / "cut")
    again = write_tables(Results(run_campaign(record, problem, RUNS, 7, tmp_path / "cut")), tmp_path / "cut")
    told, told_again = (json.loads(paths[0].read_text()) for paths in (whole, again))
    assert (told.pop("taken_up"), told_again.pop("taken_up")) == (0, 2 * CHUNK)
    assert told == told_again
    assert [path.read_bytes() for path in whole[1:]] == [path.read_bytes() for path in again[1:]]


def test_what_is_kept_of_runs_is_what_their_chunks_say(record, problem, tmp_path):
    done = run_campaign(record, problem, RUNS, 7, tmp_path)
    kept, outcome, watch = done.gathered, done.outcome, problem.watch_m
    lower = np.full(outcome.lower_m.shape, watch)
    lower[kept.near_run, kept.near_pair] = kept.near_lower_m
    np.testing.assert_array_equal(lower, np.minimum(outcome.lower_m, watch))
    np.testing.assert_array_equal(kept.least_m, outcome.lower_m.min(axis=1))
    np.testing.assert_array_equal(kept.reached_m, outcome.upper_m.min(axis=1, initial=watch))
    (tmp_path / "chunks" / "from_0000020.npz").unlink()
    with pytest.raises(RecordError, match="was changed meanwhile; the same command proves again what is gone"):
        _ = done.outcome


def test_too_few_runs_for_a_limit_are_told(record, problem, tmp_path):
    results = Results(run_campaign(record, problem, 20, 7, tmp_path))
    assert results.overall.limit_m is None
    assert "too few runs for a limit without a distribution: 59 are needed" in results.lines[1]


def test_one_term_of_one_joint_is_named_as_what_matters(rider_scene, swung, tmp_path):
    terms = {
        "swing": {"kind": "joint_offset", "title": "j1", "of": ["arm/j1"], "amount": "1 deg"},
        "load": {"kind": "body_offset", "title": "the wall far away", "of": ["platform/*"], "position": "1 mm"},
    }
    record = swung(rider_scene, terms)
    results = Results(run_campaign(record, make_problem(record), 60, 7, tmp_path))
    assert results.weights[0].name == "swing: arm/j1"
    assert abs(results.weights[0].correlation) > 0.95


def test_a_run_as_a_record_has_the_margins_of_the_campaign(record, problem, tmp_path):
    done = run_campaign(record, problem, 20, 7, tmp_path)
    worst, _ = _without_checks(done)
    margins = {(row.body_a, row.body_b): row.lower_m - row.required_m for row in worst.pairs if row.required_m}
    for pair, lower in zip(problem.watched, done.outcome.lower_m[done.worst], strict=True):
        found = min(max(margins[(pair.body_a, pair.body_b)], -pair.required_m), problem.watch_m)
        assert found == pytest.approx(lower, abs=1.1e-3)
    with pytest.raises(InputError, match="no such run; found 20; accepted: 0 to 19"):
        perturbed_record(done, 20)


def test_only_a_contact_that_is_allowed_is_guided():
    row = PairRow("a", "b", "structure", "hardware", 0, 1, 0.0, "the box leaves", "contact", -np.inf, 0.0, 0, (), ())
    assert (guided(row).status, guided(row).required_m) == ("intended", None)
    for other in (replace(row, required_m=0.1), replace(row, required_m=None), replace(row, status="proven")):
        assert guided(other) is other


def _without_checks(done):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(campaigns, "run_checks", lambda record: ())  # they need a whole scenario
        return perturbed_record(done, done.worst)
