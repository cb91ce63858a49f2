"""Commands killed at any moment: every output is whole or not there, and a rerun leaves nothing of the killed one."""

import os
import random
import sys

import pytest

from armcarry.record.store import load
from writers import WRITERS, names, whole

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks, SIGKILL and files without a name")


def kill_often(room, writer, kills):
    """Kill a command before acts on files spread over all of them, and at moments spread over its time.

    After each kill every file is whole, and the same command again ends well and leaves nothing behind.
    """
    for _ in range(2):  # a first call may make folders that stay
        first = room.run(writer)
        assert first["code"] in (0, 1) and "Traceback" not in first["said"], first["said"]
    whole_names, every = names(room.folder / writer.whole), names(room.folder)
    dice, killed = random.Random(writer.words[0]), 0
    by_act = sorted({1 + round(k * (first["acts"] - 1) / max(1, kills // 2)) for k in range(kills // 2 + 1)})
    by_time = [{"after_s": dice.uniform(0.1, 1.0) * first["took_s"]} for _ in range(kills - len(by_act))]
    for number, kill in enumerate([*({"act": act} for act in by_act), *by_time]):
        done = room.run(writer, **kill)
        assert done["killed"] or "after_s" in kill, done
        killed += done["killed"]
        left = [path for path in room.folder.rglob("*") if path.is_file() and "/." not in str(path)]
        assert [path for path in left if not whole(path)] == []
        if writer.whole and (room.folder / writer.whole).exists():
            assert names(room.folder / writer.whole) == whole_names
        for run in ("new", "flown/run"):
            if (room.folder / run).exists():
                load(room.folder / run)
        if number % 10 == 0 or number == kills - 1:
            after = room.run(writer) if writer.words[0] == "fly" else room.ask(writer.words)
            told = after["code"] == 2 and writer.whole == writer.anew != "" and "already" in after["said"]
            assert after["code"] in (0, 1) or told, after["said"]  # killed at its very end, when all was there
            assert names(room.folder) == every
    return killed


@pytest.mark.long
@pytest.mark.parametrize("command", list(WRITERS))
def test_commands_killed_at_any_moment_leave_whole_files(room, command):
    kills = int(os.environ.get("ARMCARRY_KILLS", "50"))
    # those at acts surely, those by time as far as the call before told how long it takes
    assert kill_often(room, WRITERS[command], kills) > kills // 2


@pytest.mark.parametrize("command", ["inspect", "examples", "fly"])
def test_a_command_killed_a_few_times_leaves_whole_files(room, command):
    assert kill_often(room, WRITERS[command], 3) >= 2
