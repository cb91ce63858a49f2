"""Ctrl-C, sent for real, at three instants of each command: one line says what is kept and how to go on."""

import os
import subprocess
import sys
import time

import pytest

from writers import WRITERS, Seen, Writer

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks, and files without a name")

#: commands that write nothing
READERS = {
    "validate": Writer(("validate", "short.yaml")), "told": Writer(("compare", "run", "run")),
    "restraint": Writer(("restraint", "small.yaml", "bay_7")), "explain": Writer(("explain", "rate")),
    "list": Writer(("examples",)),
}  # fmt: skip
COMMANDS = {name: writer for name, writer in (WRITERS | READERS).items() if name != "fly"}
#: while the command line is imported, and what commands read and show with
MODULES = ("typer", "armcarry.cli.running", "rich")
AT_IMPORT = """
import os, signal, sys
signal.signal(signal.SIGINT, signal.default_int_handler)
at = sys.argv.pop(1)
def note(event, args):
    if event == "import" and args[0] == at:
        os.kill(os.getpid(), signal.SIGINT)
sys.addaudithook(note)
from armcarry.__main__ import main
main()
"""


def told(code, said):
    """Ask that Ctrl-C was told in one line, after which there is nothing."""
    assert code == 130 and "Traceback" not in said and "Exception" not in said, said
    last = said.strip().splitlines()[-1]
    assert last.startswith("armcarry: stopped; ") and said.count("stopped; ") == 1, said


def stop(room, command):
    """Stop a command in its middle and while it writes; return how often it was stopped before it had ended."""
    writer, begun, stopped = COMMANDS[command], time.time(), 0
    for _ in range(2):
        first = room.run(writer)
    assert first["code"] in (0, 1), first["said"]
    seen = Seen(room, writer, begun)
    instants = [{"after_s": 0.5 * first["took_s"]}]
    if first["acts"]:
        instants.append({"act": 1 + len(first["acts"]) // 2})
    for instant in instants:
        done = room.run(writer, interrupt=instant)
        if done["code"] != first["code"]:
            told(done["code"], done["said"])
            stopped += 1
        seen.look()
        assert seen.hidden() == []
    return stopped


@pytest.mark.long
@pytest.mark.parametrize("command", list(COMMANDS))
def test_ctrl_c_in_the_middle_and_while_writing(room, command):
    assert stop(room, command) >= (command in WRITERS)


def test_ctrl_c_while_a_model_is_written(room):
    assert stop(room, "inspect") >= 1


@pytest.mark.parametrize(("command", "module"), [
    pytest.param(name, module, marks=() if (name, module) == ("validate", MODULES[0]) else pytest.mark.long)
    for name in COMMANDS for module in MODULES
])  # fmt: skip
def test_ctrl_c_while_it_starts(room, command, module):
    words = [sys.executable, "-W", "ignore", "-c", AT_IMPORT, module, *COMMANDS[command].words]
    done = subprocess.run(words, cwd=room.folder, capture_output=True, text=True, env=os.environ, timeout=120)
    if done.returncode not in (0, 1) or module != "rich":  # not every command shows with it
        told(done.returncode, done.stderr)
        assert done.stdout == ""
