"""Count which small changes of a room's code its own tests notice, with mutmut in copies of the checkout.

    python tests/mutation.py checks                      every file of the room, each with the tests of its own name
    python tests/mutation.py checks/grasp seeing         only these
    python tests/mutation.py checks --sample 60 --seed 1 at most so many changes a file, drawn by that seed
    python tests/mutation.py checks whatif --processes 16 --seconds 500
                                                         so many files at once; what is judged by then is told

Needs ``pip install -e '.[mutation]'``. Prints a line a file, when it is done, and each change that nobody noticed.
"""

from __future__ import annotations

import argparse
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor, as_completed
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
#: files whose tests stand under another name, by room and file
TESTS = {
    "asked/places": ["tests/asked/test_places.py", "tests/asked/test_zones.py"],
    "asked/rooms": ["tests/checks/test_rooms.py", "tests/planning/test_space_rooms.py"],
    "asked/relaxed": ["tests/asked/test_requirement.py"],
    "seeing/gaps": ["tests/checks/test_seen.py"],
    "seeing/glare": ["tests/seeing/test_glare.py", "tests/checks/test_light.py"],
    "seeing/sight": ["tests/seeing/test_sight.py", "tests/checks/test_seen.py", "tests/checks/test_light.py"],
    "seeing/sunlight": ["tests/seeing/test_sunlight.py", "tests/checks/test_light.py"],
    "seeing/worklight": ["tests/seeing/test_sunlight.py", "tests/checks/test_light.py"],
    "whatif/beside_rooms": ["tests/whatif/test_beside_rooms.py", "tests/checks/test_rooms.py"],
    "whatif/by_arm": ["tests/whatif/test_by_arm.py", "tests/checks/test_stranded.py"],
    "whatif/goals": ["tests/whatif/test_ways_out.py"],
    "whatif/branches": ["tests/whatif/test_branches_plain.py", "tests/whatif/test_branches.py"],
    "whatif/cells": ["tests/whatif/test_cells.py", "tests/whatif/test_late_stop.py", "tests/whatif/test_faults.py"],
    "whatif/faults": [
        "tests/whatif/test_sides.py", "tests/whatif/test_in_reach.py", "tests/whatif/test_who_else_moves.py",
        "tests/whatif/test_faults.py",
    ],
    "whatif/locked_joint": ["tests/whatif/test_ways_out.py", "tests/whatif/test_locked_joint.py"],
    "whatif/late_stop": [
        "tests/whatif/test_late_stop.py", "tests/checks/test_stopping.py", "tests/whatif/test_who_else_moves.py",
        "tests/whatif/test_faults.py", "tests/checks/test_rooms.py",
    ],
    "whatif/near_structure": ["tests/checks/test_slowing.py"],
    "whatif/nearness": ["tests/whatif/test_nearness.py", "tests/checks/test_near_people.py"],
    "whatif/swept": ["tests/whatif/test_swept_plain.py"],
    "whatif/runaway_joint": [
        "tests/whatif/test_late_stop.py", "tests/checks/test_runaway.py", "tests/whatif/test_who_else_moves.py",
        "tests/whatif/test_faults.py",
    ],
    "whatif/stranding": ["tests/checks/test_stranded.py"],
}
#: lines by which mutmut shows that it is at work
_SPINNER = re.compile("[\u2800-\u28ff] ")
#: what counts as noticed; 'suspicious' and 'skipped' do not
NOTICED = ("killed", "timeout", "segfault", "caught by type check")


@contextmanager
def copied(room: str, name: str, tests: list[str]) -> Iterator[Path]:
    """Copy the checkout for mutmut, which wants the package under ``src``, and yield the folder while it lasts."""
    with tempfile.TemporaryDirectory(prefix=f"mutation_{name}_") as place:
        folder = Path(place)
        # with the compiled kernels, which are good for the copies too
        shutil.copytree(ROOT / "sim", folder / "src")
        unwanted = shutil.ignore_patterns("__pycache__", "bench", "hostile")
        for part in ("models", "scenarios", "shared", "tests"):
            shutil.copytree(ROOT / part, folder / part, ignore=unwanted)
        settings = (ROOT / "pyproject.toml").read_text().replace('"sim/', '"src/')
        # mutmut gives what it goes through a new time, which would have every kernel compiled anew: only this room
        settings += f"""
[tool.mutmut]
source_paths = ["src/armcarry/{room}"]
only_mutate = ["src/armcarry/{room}/{name}.py"]
also_copy = ["src", "models", "scenarios", "shared", "tests", "pyproject.toml"]
pytest_add_cli_args_test_selection = {tests!r}
"""
        (folder / "pyproject.toml").write_text(settings)
        yield folder


def run(folder: Path, *words: str, until: float | None = None) -> str:
    """Run mutmut in a folder, no longer than until, a time of the monotonic clock, and return what it prints."""
    libraries = os.pathsep.join(
        part for part in os.environ.get("PYTHONPATH", "").split(os.pathsep) if not (Path(part) / "armcarry").is_dir()
    )
    one_core = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
    with subprocess.Popen(
        [sys.executable, "-m", "mutmut", *words], cwd=folder, text=True, start_new_session=True,
        env={**os.environ, **one_core, "MPLBACKEND": "Agg", "PYTHONPATH": libraries},
        stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=subprocess.STDOUT,
    ) as process:  # fmt: skip
        try:
            told = process.communicate(timeout=None if until is None else max(until - time.monotonic(), 0.0))[0]
        except subprocess.TimeoutExpired:
            os.killpg(process.pid, signal.SIGKILL)
            told = process.communicate()[0]
        return "\n".join(line for line in told.splitlines() if not _SPINNER.match(line))


def results(folder: Path) -> dict[str, str]:
    """Return how each change that mutmut has made fared so far, by its name."""
    told = map(str.split, run(folder, "results", "--all", "true").splitlines())
    return {words[0].rstrip(":"): " ".join(words[1:]) for words in told if len(words) > 1}


def measure(room: str, name: str, sample: int | None, seed: int, until: float | None) -> str:
    """Return what is to be said of a file: how many changes were noticed, and each that was not."""
    tests = TESTS.get(f"{room}/{name}", [f"tests/{room}/test_{name}.py"])
    began = time.monotonic()
    with copied(room, name, tests) as folder:
        chosen: list[str] = []
        if sample is not None:
            run(folder, "run", "--max-children", "1", "armcarry.none.such", until=until)  # only to make the changes
            every = list(results(folder))
            chosen = sorted(random.Random(f"{seed} {room}/{name}").sample(every, min(sample, len(every))))
        told = run(folder, "run", "--max-children", "1", *chosen, until=until)
        found = results(folder)
        judged = {key: value for key, value in found.items() if value != "not checked"}
        if not judged:
            return f"{room}/{name}: nothing was measured\n{told[-1000:]}"
        lost = [f"{key}: {value}\n{run(folder, 'show', key)}" for key, value in judged.items() if value not in NOTICED]
    noticed = len(judged) - len(lost)
    told = f"{room}/{name}: {noticed} of {len(judged)} noticed ({noticed / len(judged):.0%}), {len(found)} in all"
    told += f", {time.monotonic() - began:.0f} s"
    if chosen and len(judged) < len(chosen):
        told += f", {len(chosen) - len(judged)} not judged in time"
    return "\n  ".join([told, *"\n".join(lost).splitlines()])


def main() -> None:
    """Measure what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("what", nargs="+", help="a room, or a file of one as room/file")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--processes", type=int, default=1)
    parser.add_argument("--seconds", type=float)
    asked = parser.parse_args()
    until = None if asked.seconds is None else time.monotonic() + asked.seconds
    pairs = []
    for what in asked.what:
        room, _, name = what.partition("/")
        every = sorted(path.stem for path in (ROOT / "sim/armcarry" / room).glob("[a-z]*.py"))
        pairs += [(room, one) for one in ([name] if name else every)]
    with ThreadPoolExecutor(asked.processes) as pool:
        for done in as_completed([pool.submit(measure, *pair, asked.sample, asked.seed, until) for pair in pairs]):
            print(done.result(), flush=True)


if __name__ == "__main__":
    main()
