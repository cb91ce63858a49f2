"""Runs commands and kills them: a program that has everything imported and forks for each, so that a kill is cheap.

    python killing.py FOLDER

A line of JSON in, one out. In: ``words`` of a command, or ``["fly", FOLDER]`` for a try flown by hand; ``act``: killed
before its so manyeth act on files (one that is opened to be written, made, renamed or removed); ``after_s``: killed
then; ``disk``: see ``on_disk``. Out: whether it was killed, its exit code, how many acts it did, how long it took,
what it said.
"""

import json
import os
import shutil
import signal
import subprocess
import sys
import time
import traceback
from pathlib import Path

ACTS = ("os.mkdir", "os.rename", "os.remove", "os.rmdir", "os.link", "os.symlink", "os.truncate", "shutil.rmtree")
WRITES = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


def count_acts(kill_at):
    """Count acts on files from now on; end this process by SIGKILL just before one of them."""
    count = [0]

    def note(event, args):
        written = event == "open" and not str(args[0]).startswith("/dev/") and (args[2] or 0) & WRITES
        if written or event in ACTS:
            count[0] += 1
            if count[0] == kill_at:
                os.kill(os.getpid(), signal.SIGKILL)

    sys.addaudithook(note)
    return count


def fly(folder):
    """Fly a try by hand, three seconds of it."""
    from armcarry.handfly.cockpit import Cockpit, course_of
    from armcarry.handfly.command import Command

    cockpit = Cockpit(course_of(Path("run")), Path(folder))
    for tick in range(90):
        cockpit.tick(Command(frame="platform", push=(0.0, -1.0, 0.0) if tick % 20 < 10 else (0.0, 0.0, 0.0)))
        time.sleep(0.003)
    cockpit.close()


def child(words, kill_at, said, told):
    """Run one command in this process and end it; its acts go to the pipe ``told``."""
    code = 3
    os.dup2(said, 1)
    os.dup2(said, 2)
    sys.stdout, sys.stderr = open(1, "w", closefd=False), open(2, "w", closefd=False)  # noqa: SIM115
    count = count_acts(kill_at)
    try:
        if words[0] == "fly":
            fly(words[1])
            code = 0
        else:
            from armcarry.cli import main

            sys.argv = ["armcarry", *words]
            main()
    except SystemExit as ended:
        code = ended.code or 0
    except BaseException:
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os.write(told, str(count[0]).encode())
        os._exit(code)


def run(words, act=0, after_s=None):
    read, told = os.pipe()
    said = os.open("/tmp", os.O_TMPFILE | os.O_RDWR)  # noqa: S108
    begun = time.monotonic()
    pid = os.fork()
    if pid == 0:
        child(words, act, said, told)
    os.close(told)
    if after_s is not None:
        time.sleep(after_s)
        os.kill(pid, signal.SIGKILL)  # not reaped yet: the number is its own whether it runs or has ended
    _, status = os.waitpid(pid, 0)
    took_s = time.monotonic() - begun
    acts = os.read(read, 100)
    size = os.fstat(said).st_size
    answer = {
        "killed": os.WIFSIGNALED(status), "code": os.waitstatus_to_exitcode(status), "acts": int(acts or 0),
        "took_s": took_s, "said": os.pread(said, size, 0).decode(errors="replace"),
    }  # fmt: skip
    os.close(said)
    os.close(read)
    return answer


def on_disk(words, kb, good):
    """Run a command that writes into disk/, a file system of so many kB with a copy of ``good``; leave it as after/."""
    disk, after = Path("disk"), Path("after")
    disk.mkdir(exist_ok=True)
    mount = ["mount", "-t", "tmpfs", "-o", f"size={kb}k,nr_inodes=4096", "tmpfs", str(disk)]
    subprocess.run(mount, check=True, stdout=sys.stderr)
    try:
        shutil.copytree(good, disk, dirs_exist_ok=True)
        answer = run(words)
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
    for line in sys.stdin:
        asked = json.loads(line)
        disk = asked.pop("disk", None)
        print(json.dumps(run(**asked) if disk is None else on_disk(asked["words"], **disk)), flush=True)


if __name__ == "__main__":
    main()
