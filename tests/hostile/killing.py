"""Runs commands and kills them: a program that has everything imported and forks for each, so that a kill is cheap.

    python killing.py FOLDER

Acts are what a command does to files: one that is opened to be written, made, renamed, removed, flushed or exchanged.
A line of JSON in, one out. In: ``words`` of a command, or ``["fly", FOLDER]`` for a try flown by hand, and one of

- nothing more: it runs to its end;
- ``interrupt``: Ctrl-C reaches it before its so manyeth act (``act``), or after so many seconds (``after_s``);
- ``hold``: it runs until just before its so manyeth act and stays there; its work is done once, however often it is
  killed from there on;
- ``disk``: see ``on_disk``.

Or ``go``: whoever is held goes on, as a fork of itself, and is killed before its act ``act``, or by the system in the
middle of the write that makes a file larger than ``bytes``; ``on``: it goes on itself until just before that act and
stays there; or ``drop``: the held one ends. Out: whether it was killed,
its exit code, its acts (when, and whether it may be held there), how long it took, what it said.
"""

import contextlib
import json
import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import time
import traceback
from pathlib import Path

ACTS = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "shutil.rmtree")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND
#: a temporary file or folder that is just being made: nothing is locked yet, so that a held command holds no lock
MADE = re.compile(r"\..+\.(part|partial)-[a-z0-9_]{8}(\.\w+)?")


class Acts:
    """The acts of this process on files from now on."""

    def __init__(self, kill_at=0, hold_at=0, sign=signal.SIGKILL):
        self.seen, self.kill_at, self.hold_at, self.sign = [], kill_at, hold_at, sign
        self.begun, self.paused, self.pid = time.monotonic(), False, os.getpid()
        sys.addaudithook(self._audited)
        self._also(os, "fsync")
        from armcarry.files import atomic

        self._also(atomic, "exchange")

    def _audited(self, event, args):
        if event == "open":
            # a handle of this program's own is no file that is opened
            named = not isinstance(args[0], int) and not str(args[0]).startswith("/dev/")
            if named and (args[2] or 0) & WRITES:
                self.note(args[0], anew=bool(args[2] & os.O_EXCL))
        elif event in ACTS:
            self.note(args[0], anew=event == "os.mkdir")

    def _also(self, module, name):
        real = getattr(module, name)

        def noted(*args):
            self.note("")
            return real(*args)

        setattr(module, name, noted)

    def note(self, path, anew=False):
        if self.paused or os.getpid() != self.pid:  # not what the command forks itself
            return
        free = (anew and bool(MADE.fullmatch(Path(os.fsdecode(path)).name))) or not self.seen
        self.seen.append((round(time.monotonic() - self.begun, 3), free))
        if len(self.seen) == self.hold_at:
            self.paused = True
            hold(self)
            self.paused = False
        if len(self.seen) == self.kill_at:
            os.kill(os.getpid(), self.sign)


class Told:
    """Where a forked command puts what it says and did: files without a name."""

    def __init__(self):
        self.said, self.acts = (os.open("/tmp", os.O_TMPFILE | os.O_RDWR) for _ in range(2))  # noqa: S108

    def take(self):
        """Have this process say into it from now on."""
        os.dup2(self.said, 1)
        os.dup2(self.said, 2)

    def read(self):
        texts = [os.pread(place, os.fstat(place).st_size, 0) for place in (self.said, self.acts)]
        for place in (self.said, self.acts):
            os.close(place)
        return texts[0].decode(errors="replace"), json.loads(texts[1] or "[]")


HELD_BY = 0  # where one that is held is spoken to
CURRENT = None


def answer_of(pid, told, begun):
    _, status = os.waitpid(pid, 0)
    said, acts = told.read()
    return {"killed": os.WIFSIGNALED(status), "code": os.waitstatus_to_exitcode(status), "acts": acts,
            "took_s": time.monotonic() - begun, "said": said}  # fmt: skip


def hold(acts):
    """Stand before an act and let forks of this process go on from here, until told to end."""
    global CURRENT
    with os.fdopen(os.dup(HELD_BY), "r") as asks:
        os.write(HELD_BY, b'{"held": true}\n')
        for line in asks:
            kill = json.loads(line)
            if "on" in kill:
                acts.hold_at = kill["on"]
                return
            told, begun = Told(), time.monotonic()
            pid = os.fork()
            if pid == 0:
                CURRENT, acts.kill_at, acts.pid = told, kill.get("act", 0), os.getpid()
                told.take()
                if "bytes" in kill:
                    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
                    resource.setrlimit(resource.RLIMIT_FSIZE, (kill["bytes"],) * 2)
                    signal.signal(signal.SIGXFSZ, signal.SIG_DFL)
                return
            os.write(HELD_BY, (json.dumps(answer_of(pid, told, begun)) + "\n").encode())
    os._exit(0)


def fly(folder):
    """Fly a try by hand, three seconds of it; a refusal is told as the command line does."""
    from armcarry.errors import ArmcarryError
    from armcarry.handfly.cockpit import Cockpit, course_of
    from armcarry.handfly.command import Command

    try:
        cockpit = Cockpit(course_of(Path("run")), Path(folder))
        for tick in range(90):
            cockpit.tick(Command(frame="platform", push=(0.0, -1.0, 0.0) if tick % 20 < 10 else (0.0, 0.0, 0.0)))
        cockpit.close()
    except ArmcarryError as error:
        sys.stderr.write(f"armcarry: {error}\n")
        sys.exit(2)


def interrupted(act=0, after_s=0.0):
    """Have Ctrl-C reach this process before an act, or after some time."""
    signal.signal(signal.SIGINT, signal.default_int_handler)
    signal.signal(signal.SIGALRM, lambda *_: signal.raise_signal(signal.SIGINT))
    signal.setitimer(signal.ITIMER_REAL, after_s)
    return Acts(kill_at=act, sign=signal.SIGINT)


def child(words, told, hold_at=0, interrupt=None):
    """Run one command in this process and end it."""
    global CURRENT
    CURRENT, code = told, 3
    told.take()
    sys.stdout, sys.stderr = open(1, "w", closefd=False), open(2, "w", closefd=False)  # noqa: SIM115
    acts = Acts(hold_at=hold_at) if interrupt is None else interrupted(**interrupt)
    try:
        if words[0] == "fly":
            fly(words[1])
            code = 0
        else:
            from armcarry.__main__ import main

            sys.argv = ["armcarry", *words]
            main()
    except SystemExit as ended:
        code = ended.code or 0
    except BaseException:
        traceback.print_exc()
    finally:
        acts.paused = True
        with contextlib.suppress(OSError):
            sys.stdout.flush()
            sys.stderr.flush()
        os.write(CURRENT.acts, json.dumps(acts.seen).encode())
        os._exit(code)


def run(words, interrupt=None):
    told, begun = Told(), time.monotonic()
    pid = os.fork()
    if pid == 0:
        child(words, told, interrupt=interrupt)
    return answer_of(pid, told, begun)


class Held:
    """A command that stands before one of its acts."""

    def __init__(self, words, act):
        global HELD_BY
        import socket

        ours, theirs = socket.socketpair()
        self._told = Told()
        self._pid = os.fork()
        if self._pid == 0:
            ours.close()
            HELD_BY = theirs.detach()
            child(words, self._told, act)
        theirs.close()
        self._socket = ours
        self._lines = ours.makefile("r")

    def begin(self):
        return json.loads(self._lines.readline() or "null") or {"held": False, "said": self._told.read()[0]}

    def go(self, kill):
        self._socket.sendall((json.dumps(kill) + "\n").encode())
        return json.loads(self._lines.readline())

    def drop(self):
        self._lines.close()
        self._socket.close()
        os.waitpid(self._pid, 0)
        return {}


def on_disk(words, kb, good):
    """Run a command that writes into disk/, a file system of so many kB with a copy of ``good``; leave it as after/."""
    disk, after = Path("disk"), Path("after")
    disk.mkdir(exist_ok=True)
    mount = ["mount", "-t", "tmpfs", "-o", f"size={kb}k,nr_inodes=4096", "tmpfs", str(disk)]
    subprocess.run(mount, check=True, stdout=sys.stderr)
    try:
        shutil.copytree(good, disk, dirs_exist_ok=True)
        answer = words.go({}) if isinstance(words, Held) else run(words)
        shutil.rmtree(after, ignore_errors=True)
        shutil.copytree(disk, after)
    finally:
        subprocess.run(["umount", str(disk)], check=True, stdout=sys.stderr)
    return answer


def main():
    os.chdir(sys.argv[1])
    from armcarry import cli, rehearsal
    from armcarry.clearance.ready import make_ready
    from armcarry.dispersion import campaign, results
    from armcarry.handfly import cockpit
    from armcarry.planning import passing
    from armcarry.record import store
    from armcarry.views.brief import write
    from armcarry.whatif import swept

    assert all((cli, rehearsal, campaign, results, cockpit, passing, store, write, swept))  # loaded before the forks
    make_ready()
    held = None
    for line in sys.stdin:
        asked = json.loads(line)
        if "hold" in asked:
            held = Held(asked["words"], asked["hold"])
            answer = held.begin()
        elif "drop" in asked:
            answer, held = held.drop(), None
        elif "go" in asked:
            answer = held.go(asked["go"])
        elif "on" in asked:
            answer = held.go(asked)
        elif "disk" in asked:
            answer = on_disk(held or asked["words"], **asked["disk"])
        else:
            answer = run(**asked)
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    main()
