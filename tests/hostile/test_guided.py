"""Readers fed with inputs that coverage chooses, in a process of their own: see ``guided.py``."""

import os
import re
import shutil
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path

import pytest

HERE = Path(__file__).parent

pytestmark = pytest.mark.skipif(
    find_spec("atheris") is None, reason="atheris is not installed; it has wheels for CPython on Linux x86_64 alone"
)

#: inputs for each one of the seeded damage; they cost less
TIMES = {"yaml": 10, "urdf": 20, "mesh": 20}
#: parts, each with a seed of its own, for several processes; a short run takes the first alone
PARTS = (1, 2, 3, 4)
TAKEN = PARTS if int(os.environ.get("ARMCARRY_FUZZ", "0")) >= 1000 else PARTS[:1]


def _run(kit, kind, place, runs, program=(), options=(), seed=1):
    """Run the fuzzer in a folder; return its exit code, what it said, and what changed that should not."""
    inner, corpus, kept = place / "inner", place / "corpus", place / "kept"
    for folder in (inner, corpus, kept):
        folder.mkdir(parents=True)
    kit.stand_beside(inner)
    for number, good in enumerate(kit.good_files(kind)):
        (corpus / str(number)).write_bytes(good)
    before = kit.listing(place, but=None)
    command = [sys.executable, "-W", "error", *(program or [str(HERE / "guided.py")]), kind, str(inner), str(corpus)]
    limits = [f"-runs={runs}", f"-seed={seed}", "-max_len=6000", "-timeout=5", "-rss_limit_mb=1000"]
    more = ["-print_final_stats=1", *options, f"-artifact_prefix={kept}/"]
    # a program starts with the most memory that whoever starts it ever used, and libFuzzer judges that: so a shell,
    # which starts small, stands between
    small = ["/bin/sh", "-c", '"$@"; exit $?', "sh"]
    done = subprocess.run(
        [*small, *command, *limits, *more], cwd=place, capture_output=True, text=True, errors="replace",
        env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
    )  # fmt: skip
    after = kit.listing(place, but=None)
    own = {inner / name for name in kit.READERS[kind][0]}
    changed = {path for path in {*before, *after} - own if before.get(path) != after.get(path)}
    return done.returncode, done.stdout + done.stderr, {path for path in changed if path.parent not in (corpus, kept)}


@pytest.mark.parametrize("part", TAKEN)
@pytest.mark.parametrize("kind", [
    pytest.param(kind, marks=() if kind == "yaml" else pytest.mark.long) for kind in TIMES
])  # fmt: skip
def test_inputs_that_reach_further(kind, part, kit, tmp_path, record_property):
    runs = TIMES[kind] * kit.COUNT // len(PARTS)
    code, said, changed = _run(kit, kind, tmp_path, runs, seed=part)
    kept = [path.read_bytes()[:1000] for path in (tmp_path / "kept").iterdir()]
    assert code == 0, f"{said[-3000:]}\n{kept}"
    assert kept == []  # neither a crash, nor longer than 5 s, nor more than 1000 MB
    assert changed == set()
    fed = int(re.search(r"number_of_executed_units: (\d+)", said)[1])
    coverage = [int(number) for number in re.findall(r"\bcov: (\d+)", said)]
    assert fed >= runs and coverage[-1] > coverage[0] > 50  # it was guided, and by code of ours
    record_property("inputs", fed)
    shutil.rmtree(tmp_path)


#: the same of days, run folders and calls from Python; a run folder takes longest to read, and most of its damage ends
#: at the same refusal: of too few none reaches further by chance
OTHERS = {"day": 2, "run": 6, "calls": 20}


@pytest.mark.parametrize("part", TAKEN)
@pytest.mark.parametrize("kind", [
    pytest.param(kind, marks=() if kind == "calls" else pytest.mark.long) for kind in OTHERS
])  # fmt: skip
def test_days_runs_and_calls_that_reach_further(kind, part, kit, record_property):
    runs = OTHERS[kind] * kit.COUNT // len(PARTS)
    command = [sys.executable, str(HERE / "guided.py"), kind, "--runs", str(runs), "--seed", str(part)]
    done = subprocess.run(command, capture_output=True, text=True, errors="replace", check=False)
    assert done.returncode == 0, done.stdout[-6000:] + done.stderr[-2000:]
    fed, first, last = map(int, re.search(r"(\d+) inputs, coverage (\d+) to (\d+)", done.stdout).groups())
    assert fed >= runs and last > first > 50
    record_property("inputs", fed)


SLIPS = """
import sys
sys.path.insert(0, {here!r})
from pathlib import Path
import conftest, guided

names, read_well = conftest.READERS["mesh"]
calls = 0

def read(path):
    global calls
    calls += 1
    if calls > 80:  # not yet while good files are read
        {act}
    read_well(path)

conftest.READERS["mesh"] = (names, read)
guided.main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:])
"""


@pytest.mark.parametrize(("act", "option", "told"), [
    ("(path.parent / 'owned').write_text(''); (path.parent / 'owned').unlink()", "", "'writes'"),
    ("raise KeyError('a slip')", "", "KeyError: 'a slip'"),
    pytest.param("import time; time.sleep(20)", "-timeout=1", "libFuzzer: timeout", marks=pytest.mark.long),
    pytest.param("held = b'x' * 300_000_000; import time; time.sleep(4)", "-rss_limit_mb=250",
                 "libFuzzer: out-of-memory", marks=pytest.mark.long),
])  # fmt: skip
def test_what_a_reader_must_not_do_is_noticed(act, option, told, kit, tmp_path):
    program = ["-c", SLIPS.format(here=str(HERE), act=act)]
    code, said, _ = _run(kit, "mesh", tmp_path, 500, program, [option] if option else [])
    assert code != 0 and told in said, said[-2000:]
    assert len(list((tmp_path / "kept").iterdir())) == 1
