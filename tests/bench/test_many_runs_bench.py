"""Campaigns of very many runs: planned at once, read chunk by chunk, in bounded memory. Chunks are copies of real ones.

Each size runs in a process of its own, so that its peak of memory is its own.
"""

import pickle
import subprocess
import sys
from dataclasses import replace

import numpy as np
import pytest

from armcarry.dispersion.chunks import CHUNK
from armcarry.dispersion.problem import make_problem, prove_runs
from armcarry.files.places import scenarios_folder
from armcarry.rehearsal import rehearse

pytestmark = [pytest.mark.bench, pytest.mark.skipif(sys.platform != "linux", reason="peaks are read from /proc")]
#: what a process may hold in all with 10,000 runs, MB
MOST_MB = {10_000: 500}
SCENARIO = "pump_box_to_bay_7.yaml"
PROGRAM = """
import pickle, sys, time
from dataclasses import replace
from pathlib import Path
import numpy as np
from armcarry.dispersion import campaign, engine
from armcarry.dispersion.campaign import identity, run_campaign
from armcarry.dispersion.chunks import CHUNK, Chunks, chunk_ranges
from armcarry.dispersion.results import Results, write_tables
from armcarry.rehearsal import rehearse

record, problem, outcome = pickle.loads(Path(sys.argv[1]).read_bytes())
runs, folder, planned = int(sys.argv[2]), Path(sys.argv[3]), int(sys.argv[4])

def peak_mb():
    # not ru_maxrss: a program starts with the most that whoever starts it ever used
    line = next(one for one in Path("/proc/self/status").read_text().splitlines() if one.startswith("VmHWM"))
    return int(line.split()[1]) / 1024

def copied(part):
    return replace(outcome, runs=np.array(part))

if runs and not planned:
    record = rehearse(sys.argv[5])  # as a campaign does, in the same process
before = peak_mb()
chunks = Chunks(folder, identity(record.scene.loaded, 1))
for part in chunk_ranges(runs):
    chunks.keep(copied(part))
begun, cpu = time.perf_counter(), time.process_time()
if planned:
    class Enough(Exception):
        pass

    def one(problem, seed, runs):
        if runs.start > 10 * CHUNK:
            raise Enough
        return copied(runs)

    engine.prove_runs = one
    try:
        run_campaign(record, problem, planned, 1, folder)
    except Enough:
        pass
else:
    made = run_campaign(record, problem, runs, 1, folder)
    assert made.taken_up == runs
    write_tables(Results(made), folder)
print(before, peak_mb(), time.process_time() - cpu)
"""


@pytest.fixture(scope="module")
def packed(tmp_path_factory):
    """Pickle a demo carry without the rows of its own proof, its problem, and one chunk of real runs."""
    record = rehearse(scenarios_folder() / SCENARIO)
    problem = make_problem(record)
    outcome = prove_runs(problem, 1, range(CHUNK))
    path = tmp_path_factory.mktemp("packed") / "campaign"
    path.write_bytes(pickle.dumps((replace(record, kept=None, pairs=(), curves=()), problem, outcome)))
    print(f"\n{len(problem.watched)} watched pairs, {len(problem.numbers)} drawn numbers, "
          f"{np.count_nonzero(outcome.lower_m < problem.watch_m) / CHUNK:.0f} pairs near in a run")
    return path


@pytest.mark.parametrize(("runs", "planned", "most_mb"), [(0, 1_000_000, 50), (10_000, 0, 300), (100_000, 0, 1_500)])
def test_memory_and_time_of_many_runs(packed, tmp_path, runs, planned, most_mb):
    scenario = str(scenarios_folder() / SCENARIO)
    words = map(str, (packed, runs, tmp_path / "campaign", planned, scenario))
    done = subprocess.run([sys.executable, "-c", PROGRAM, *words], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    before, peak, cpu = map(float, done.stdout.split())
    what = f"{planned} runs planned, ten chunks done" if planned else f"{runs} runs read, judged and written"
    print(f"{what}: peak {peak:.0f} MB, of which {before:.0f} MB before the first; {cpu:.0f} s of processor")
    assert peak - before < most_mb
    assert peak < MOST_MB.get(runs, np.inf)
