"""How a rehearsal with all its checks grows with bodies, with moves and with time: linear, or better."""

import subprocess
import sys
from pathlib import Path

import pytest

from large_yards import large_yard

pytestmark = pytest.mark.bench
#: what is rehearsed in a process of its own, so that its peak of memory is its own
REHEARSED = """
import resource, sys, time
from armcarry.clearance.ready import make_ready
from armcarry.rehearsal import judge, rehearse
make_ready()
start = time.process_time()
record = rehearse(sys.argv[1])
judge(record)
took, most = time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(took, most, len(record.bodies), len(record.moves), record.duration_s, len(record.pairs))
"""
GROWN = {
    "bodies": [{"bodies": count} for count in (625, 2500, 10_000)],
    "moves": [{"bodies": 0, "laps": laps} for laps in (4, 16, 64)],
    "time": [{"bodies": 0, "laps": 4, "rate": rate} for rate in (1.0, 0.25, 0.0625)],
}


@pytest.mark.parametrize("what", GROWN)
def test_a_rehearsal_grows_no_faster_than_what_it_is_about(what, tmp_path, capsys):
    rows = []
    for k, size in enumerate(GROWN[what]):
        (tmp_path / str(k)).mkdir()
        path = large_yard(tmp_path / str(k), **size)
        told = subprocess.run([sys.executable, "-c", REHEARSED, str(path)], check=True, capture_output=True, text=True)
        rows.append([float(word) for word in told.stdout.split()])
    with capsys.disabled():
        print(f"\n{what}: processor s, MB at most, bodies, moves, run s, rows of pairs")
        for row in rows:
            print("  ", *(f"{value:,.1f}" for value in row))
    took = [row[0] for row in rows]
    assert took[2] <= 4.4 * took[1] <= 4.4 * 4.4 * took[0]
    assert Path(path).exists()
