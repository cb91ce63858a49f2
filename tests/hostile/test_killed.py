"""Commands killed at any moment: every output is whole or not there, and a rerun leaves nothing of the killed one.

Not at random: a command is killed once before each of its acts on files, and by the system in the middle of writes.
"""

import os
import re
import sys
import time
from typing import get_type_hints

import pytest
from typer.main import get_command

from writers import WRITERS, Seen, names, rests

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="forks, SIGKILL and files without a name")

#: reruns after kills that left different things, at most; each computes all of it again
RERUNS = 6
#: and at most so long together, but one always, s
RERUNS_S = 60.0
#: a command that takes longer is killed before so many of its acts as are asked for, not before each, s
LONG_S = 10.0


def kill_all_over(room, writer, kills, most=10_000):
    """Kill a command before each of its acts (``most`` at most, spread evenly) and so often in writes that it is often.

    After each kill every file is whole. Where a kill left something else than the kills before, the same command again
    ends well and leaves nothing behind.

    Returns:
        Kills before acts, and kills in the middle of a write.
    """
    for _ in range(2):  # a first call may make folders that stay, long after those it found
        begun = time.time()
        first = room.run(writer)
        assert first["code"] in (0, 1) and "Traceback" not in first["said"], first["said"]
    every, acts = names(room.folder), first["acts"]
    most = min(most, kills) if kills and first["took_s"] > LONG_S else most
    seen = Seen(room, writer, begun)
    in_writes = max(12, kills - len(acts)) if most > len(acts) else 1
    chosen = {1 + round(k * (len(acts) - 1) / max(1, min(most, len(acts)) - 1)) for k in range(min(most, len(acts)))}
    reruns = max(1, min(RERUNS, int(RERUNS_S / first["took_s"])))
    begins = rests(acts)
    ends = [*begins[1:], len(acts) + 1]
    at_acts = at_writes = 0
    left_before = set()
    with room.held(writer, begins[0]) as held:
        for begin, end in zip(begins, ends, strict=True):
            ways = [{"act": act} for act in sorted(chosen) if begin <= act < end]
            if end == len(acts) + 1:
                ways += [{"bytes": round(seen.largest * (k + 0.5) / in_writes)} for k in range(in_writes)]
            if ways and begin != begins[0]:
                held.on(begin)
            for way in ways:
                done = held.go(way)
                assert done["killed"] or "bytes" in way or len(done["acts"]) < way["act"], (way, done)
                at_acts += "act" in way and done["killed"]
                at_writes += "bytes" in way and done["killed"]
                seen.look()
                left = frozenset(re.sub("-[a-z0-9_]{8}", "-", name) for name in seen.hidden())
                if left not in left_before and len(left_before) < reruns:
                    left_before.add(left)
                    again = room.run(writer) if writer.words[0] == "fly" else room.ask(writer.words)
                    told = again["code"] == 2 and writer.whole == writer.anew != "" and "already" in again["said"]
                    assert again["code"] in (0, 1) or told, again["said"]  # killed at its end, when all was there
                    assert names(room.folder) == every
    return at_acts, at_writes


@pytest.mark.long
@pytest.mark.parametrize("command", list(WRITERS))
def test_commands_killed_at_each_act_leave_whole_files(room, command, record_property, capsys):
    kills = int(os.environ.get("ARMCARRY_KILLS", "50"))
    at_acts, at_writes = kill_all_over(room, WRITERS[command], kills)
    record_property("kills_at_acts", at_acts)
    record_property("kills_in_writes", at_writes)
    with capsys.disabled():
        print(f"\n{command:16} killed before each of {at_acts} acts and in {at_writes} writes")
    assert at_acts + at_writes >= kills or command == "movie"  # whose file another program writes


def test_a_command_killed_a_few_times_leaves_whole_files(room):
    at_acts, _ = kill_all_over(room, WRITERS["inspect"], 0, most=4)
    assert at_acts == 4


def test_every_option_that_names_a_file_is_read_or_killed():
    """A new option with a path is listed as one that is only read, or a row of WRITERS has it killed."""
    from armcarry.cli import app

    killed = {(writer.words[0], word) for writer in WRITERS.values() for word in writer.words}
    typed = {name: {one.name: one.opts for one in made.params} for name, made in get_command(app).commands.items()}
    missing, seen = [], 0
    for command in app.registered_commands:
        name = command.name or command.callback.__name__
        for key, hint in get_type_hints(command.callback, include_extras=True).items():
            if "Path" not in str(hint) or "OptionInfo" not in str(hint):
                continue
            seen += 1
            spelled = max(typed[name][key], key=len)
            if not ((name, spelled) in killed or spelled in READ.get(name, ()) or spelled in READ["any"]):
                missing.append((name, spelled))
    assert seen >= 20
    assert missing == []


#: options that name what is read; what --out of handfly names is written by a try that is flown, a row of WRITERS
READ = {
    "any": ("--tls-ca", "--tls-cert", "--tls-key", "--log-columns"), "rehearse": ("--motion",), "play": ("--over",),
    "handfly": ("--keys", "--score", "--out"), "inspect": ("--root",), "brief": ("--words", "--actual"),
}  # fmt: skip
