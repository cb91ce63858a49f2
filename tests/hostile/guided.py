"""Feeds one part of the package with inputs that coverage chooses: a program, because the fuzzer ends its process.

    python tests/hostile/guided.py KIND --runs N [--seed S]
    python guided.py KIND FOLDER CORPUS [options of libFuzzer]

KIND is a key of ``conftest.READERS`` (yaml, urdf, mesh) or of ``targets.KINDS`` (day, run, calls); each input is
written into FOLDER and read there. Inputs that reach something new are added to CORPUS; the first form makes both, and
says how many were fed. Only armcarry is instrumented: the libraries below it are not ours to explore, and functions
that numba compiles stay as they are. What must not happen ends the program with a traceback and leaves the input where
-artifact_prefix says.
"""

import argparse
import os
import random
import re
import subprocess
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

import targets

import conftest

#: compiled by numba, which cannot read instrumented functions
COMPILED = [f"armcarry.clearance.{name}" for name in (
    "along", "bend", "book", "contact", "gjk", "grouped", "jit", "least", "measure", "paint", "planes", "prove", "rest",
    "search", "simplex", "support", "timetree", "tubes",
)]  # fmt: skip
#: beside what every run says: neither longer than 5 s, nor more than 1000 MB
LIMITS = ("-max_len=6000", "-timeout=5", "-rss_limit_mb=1000", "-print_final_stats=1")


class Files:
    """Single files of one kind."""

    def __init__(self, kind, folder):
        self.kind, self.folder = kind, folder
        self.names, self.read = conftest.READERS[kind]

    def goods(self):
        return conftest.good_files(self.kind)

    def ready(self):
        pass

    def feed(self, content, watch):
        for name in self.names:
            (self.folder / name).write_bytes(content)
            conftest.read_fairly(watch, self.folder, self.folder / name, self.read)


def target_of(kind, folder):
    """Return what a kind of input is fed to."""
    return Files(kind, folder) if kind in conftest.READERS else targets.KINDS[kind](folder)


def main(kind, folder, options):
    import atheris

    target = target_of(kind, folder)
    goods = target.goods()
    watch = conftest.Watch()
    with atheris.instrument_imports(include=["armcarry"], exclude=COMPILED):
        target.ready()
        for good in goods:  # everything is imported before the watch is set
            target.feed(good, conftest.Unwatched())

    def feed(content):
        target.feed(content, watch)

    def change(content, longest, seed):
        dice = random.Random(seed)
        if dice.random() < 0.5 and target.names:
            return conftest.damaged(content, goods, dice)[:longest]
        return atheris.Mutate(content, longest)

    atheris.Setup(["guided", *options], feed, custom_mutator=change)
    atheris.Fuzz()


def command(kind, folder, runs, seed, program=(), options=()):
    """Return the command that feeds a kind in a folder with inner/, corpus/ and kept/ in it."""
    inner, corpus, kept = (folder / name for name in ("inner", "corpus", "kept"))
    for place in (inner, corpus, kept):
        place.mkdir(parents=True, exist_ok=True)
    if kind != "calls":
        conftest.stand_beside(inner)
    for number, good in enumerate(target_of(kind, inner).goods()):
        (corpus / str(number)).write_bytes(good)
    # a program starts with the most memory that whoever starts it ever used, and libFuzzer judges that: so a shell,
    # which starts small, stands between
    small = ["/bin/sh", "-c", '"$@"; exit $?', "sh"]
    call = [sys.executable, "-W", "error", *(program or [str(Path(__file__))]), kind, str(inner), str(corpus)]
    return [*small, *call, f"-runs={runs}", f"-seed={seed}", *LIMITS, *options, f"-artifact_prefix={kept}/"]


def run(kind, runs, seed):
    """Feed a kind in a folder of its own, say what came of it, and return the exit code."""
    with TemporaryDirectory() as folder:
        done = subprocess.run(
            command(kind, Path(folder), runs, seed), capture_output=True, text=True, errors="replace",
            env={**os.environ, "PYTHONDONTWRITEBYTECODE": "1"},
        )  # fmt: skip
        said = done.stdout + done.stderr
        fed = re.search(r"number_of_executed_units: (\d+)", said)
        reached = re.findall(r"\bcov: (\d+)", said)
        if fed and reached:
            print(f"{kind}: {fed[1]} inputs, coverage {reached[0]} to {reached[-1]}")
        if done.returncode:
            kept = [path.read_bytes() for path in (Path(folder) / "kept").iterdir()]
            words = [line for line in said.splitlines() if not re.match(r"INFO|#\d+|WARNING|stat::|MS: ", line)]
            print(*words[-40:], *(repr(content[:6000]) for content in kept), sep="\n")
        return done.returncode


if __name__ == "__main__":
    if sys.argv[2].startswith("--"):
        asked = argparse.ArgumentParser()
        asked.add_argument("kind", choices=[*conftest.READERS, *targets.KINDS])
        asked.add_argument("--runs", type=int, required=True)
        asked.add_argument("--seed", type=int, default=1)
        told = asked.parse_args()
        sys.exit(run(told.kind, told.runs, told.seed))
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:])
