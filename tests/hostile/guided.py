"""Feeds one reader with inputs that coverage chooses: a program, because the fuzzer ends its process.

    python guided.py KIND FOLDER CORPUS [options of libFuzzer]

KIND is a key of ``conftest.READERS``; each input is written into FOLDER and read there. Inputs that reach something
new are added to CORPUS. Only armcarry is instrumented: the libraries below it are not ours to explore. What a reader
must not do ends the program with a traceback and leaves the input where -artifact_prefix says.
"""

import random
import sys
from pathlib import Path

import atheris

import conftest


def main(kind, folder, options):
    names, read = conftest.READERS[kind]
    goods = conftest.good_files(kind)
    with atheris.instrument_imports(include=["armcarry"]):
        for name in names:  # everything is imported before the watch is set
            for good in goods:
                (folder / name).write_bytes(good)
                try:
                    read(folder / name)
                except Exception as error:  # an OBJ file read as STL, a document cut short
                    assert type(error).__module__ == "armcarry.errors", repr(error)
    watch = conftest.Watch()

    def feed(content):
        for name in names:
            (folder / name).write_bytes(content)
            conftest.read_fairly(watch, folder, folder / name, read)

    def change(content, longest, seed):
        dice = random.Random(seed)
        if dice.random() < 0.5:
            return conftest.damaged(content, goods, dice)[:longest]
        return atheris.Mutate(content, longest)

    atheris.Setup(["guided", *options], feed, custom_mutator=change)
    atheris.Fuzz()


if __name__ == "__main__":
    main(sys.argv[1], Path(sys.argv[2]), sys.argv[3:])
