"""Count which small changes of a room's code its own tests notice, with mutmut in a copy of the checkout.

    python tests/mutation.py checks                      every file of the room, each with the tests of its own name
    python tests/mutation.py checks grasp slowing        only these
    python tests/mutation.py checks --sample 60 --seed 1 at most so many changes a file, drawn by that seed

Needs ``pip install -e '.[mutation]'``. Prints a line a file and each change that nobody noticed.
"""

from __future__ import annotations

import argparse
import os
import random
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
#: files whose tests stand under another name, by room and file
TESTS = {
    "asked/places": ["tests/asked/test_places.py", "tests/asked/test_zones.py"],
    "seeing/gaps": ["tests/checks/test_seen.py"],
    "seeing/glare": ["tests/checks/test_light.py"],
    "seeing/sight": ["tests/checks/test_seen.py", "tests/checks/test_light.py"],
    "seeing/sunlight": ["tests/checks/test_light.py"],
    "seeing/worklight": ["tests/checks/test_light.py"],
    "whatif/cells": ["tests/whatif/test_faults.py"],
    "whatif/late_stop": ["tests/checks/test_stopping.py", "tests/whatif/test_faults.py"],
    "whatif/near_structure": ["tests/checks/test_slowing.py"],
    "whatif/nearness": ["tests/checks/test_near_people.py"],
    "whatif/runaway_joint": ["tests/checks/test_runaway.py", "tests/whatif/test_faults.py"],
    "whatif/stranding": ["tests/checks/test_stranded.py"],
}
#: what counts as noticed; 'suspicious' and 'skipped' do not
NOTICED = ("killed", "timeout", "segfault", "caught by type check")


def copied(room: str, name: str, tests: list[str]) -> Path:
    """Copy the checkout for mutmut, which wants the package under ``src``, and return the folder."""
    folder = Path(tempfile.mkdtemp(prefix=f"mutation_{name}_"))
    shutil.copytree(ROOT / "sim", folder / "src", ignore=shutil.ignore_patterns("__pycache__"))
    for part in ("models", "scenarios", "shared", "tests"):
        shutil.copytree(ROOT / part, folder / part, ignore=shutil.ignore_patterns("__pycache__", "bench", "hostile"))
    settings = (ROOT / "pyproject.toml").read_text().replace('"sim/', '"src/')
    settings += f"""
[tool.mutmut]
source_paths = ["src"]
only_mutate = ["src/armcarry/{room}/{name}.py"]
also_copy = ["models", "scenarios", "shared", "tests", "pyproject.toml"]
pytest_add_cli_args_test_selection = {tests!r}
"""
    (folder / "pyproject.toml").write_text(settings)
    return folder


def run(folder: Path, *words: str) -> str:
    """Run mutmut in a folder and return what it prints."""
    environment = {**os.environ, "MPLBACKEND": "Agg", "PYTHONPATH": ""}
    done = subprocess.run(
        [sys.executable, "-m", "mutmut", *words], cwd=folder, env=environment, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    return done.stdout + done.stderr


def measure(room: str, name: str, tests: list[str], sample: int | None, seed: int) -> tuple[int, list[str], int]:
    """Return how many changes of a file were noticed, which were not, and how many there are."""
    folder = copied(room, name, tests)
    try:
        chosen: list[str] = []
        if sample is not None:
            run(folder, "run", "--max-children", "1", "armcarry.none.such")  # only to make the changes
            every = names(folder)
            chosen = sorted(random.Random(f"{seed} {room}/{name}").sample(every, min(sample, len(every))))
        told = run(folder, "run", "--max-children", "1", *chosen)
        results = {
            words[0].rstrip(":"): " ".join(words[1:])
            for words in map(str.split, run(folder, "results", "--all", "true").splitlines()) if len(words) > 1
        }
        judged = {key: value for key, value in results.items() if value != "not checked"}
        if not judged:
            raise SystemExit(f"{room}/{name}: nothing was measured\n{told[-2000:]}")
        counts = Counter(value in NOTICED for value in judged.values())
        lost = [f"{key}: {value}\n{run(folder, 'show', key)}" for key, value in judged.items() if value not in NOTICED]
        return counts[True], lost, len(results)
    finally:
        shutil.rmtree(folder)


def names(folder: Path) -> list[str]:
    """Return the names of all changes that mutmut has made."""
    told = run(folder, "results", "--all", "true").splitlines()
    return [line.split()[0].rstrip(":") for line in told if line.split()]


def main() -> None:
    """Measure the files asked for."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("room")
    parser.add_argument("files", nargs="*")
    parser.add_argument("--sample", type=int)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    files = asked.files or sorted(path.stem for path in (ROOT / "sim/armcarry" / asked.room).glob("[a-z]*.py"))
    for name in files:
        tests = TESTS.get(f"{asked.room}/{name}", [f"tests/{asked.room}/test_{name}.py"])
        noticed, lost, every = measure(asked.room, name, tests, asked.sample, asked.seed)
        judged = noticed + len(lost)
        share = f"{noticed} of {judged} noticed ({noticed / judged:.0%}), {every} in all"
        print(f"{asked.room}/{name}: {share}", flush=True)
        for one in lost:
            print("  " + one.replace("\n", "\n  "), flush=True)


if __name__ == "__main__":
    main()
