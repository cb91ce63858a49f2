"""A session survives a crash at any byte, replays bit for bit, and says in which line it is damaged."""

import os
import signal
import subprocess
import sys

import numpy as np
import pytest

from armcarry.errors import InputError, RecordError
from armcarry.handfly.cockpit import SESSION, Cockpit, next_folder
from armcarry.handfly.command import Command
from armcarry.handfly.session import read_session, replay


def flown(course, folder):
    cockpit = Cockpit(course, folder)
    for k in range(90):
        cockpit.tick(Command(frame="rider", push=(0.5, 0.0, 0.0), turn=(0.0, 0.0, 0.2 if k > 40 else 0.0)))
    return cockpit


@pytest.fixture
def session(course, tmp_path):
    cockpit = flown(course, tmp_path / "try_1")
    cockpit.close()
    return tmp_path / "try_1" / SESSION, np.array(cockpit.flight.kept.q)


def test_cut_off_at_any_byte_it_replays_as_far_as_it_goes(course, session, tmp_path):
    path, q = session
    content = path.read_bytes()
    first = content.index(b"\n") + 1
    for size in [*range(first, len(content), max((len(content) - first) // 9, 1)), len(content)]:
        cut = tmp_path / f"cut_{size}.jsonl"
        cut.write_bytes(content[:size])
        again = np.array(replay(read_session(cut), course.record.scene, course).kept.q)
        assert np.array_equal(again, q[: len(again)])
    assert len(again) == len(q)


def test_a_killed_program_leaves_a_session_that_replays(course, short_script, tmp_path):
    code = (
        "import pickle, sys, time\n"
        "from pathlib import Path\n"
        "from armcarry.handfly.cockpit import Cockpit\n"
        "from armcarry.handfly.command import Command\n"
        "course = pickle.load(open(sys.argv[1], 'rb'))\n"
        "cockpit = Cockpit(course, Path(sys.argv[2]))\n"
        "for tick in range(100000):\n"
        "    cockpit.tick(Command(frame='platform', push=(0.0, 0.5, 0.0)))\n"
        "    if tick == 80: print('flying', flush=True)\n"
    )
    import pickle

    packed = tmp_path / "course.pkl"
    packed.write_bytes(pickle.dumps(course))
    child = subprocess.Popen([sys.executable, "-c", code, str(packed), str(tmp_path / "try_1")],
                             stdout=subprocess.PIPE, text=True)
    assert child.stdout.readline().strip() == "flying"
    os.kill(child.pid, signal.SIGKILL)
    child.communicate()
    read = read_session(tmp_path / "try_1" / SESSION)
    assert not read.ended
    flight = replay(read, course.record.scene, course)
    assert flight.pilot.tick >= 60
    assert flight.pilot.rate.any()


@pytest.mark.parametrize(
    ("old", "new", "line", "said"),
    [
        (b'{"t":0,"c"', b'{"t":0,"c', 3, "a damaged line"),
        (b'"push":[0.5', b'"push":[5.5', 3, "not a command"),
        (b'"frame":"rider"', b'"frames":"rider"', 3, "not a command"),
        (b'"format":"armcarry', b'"format":"other', 1, "not a hand-flown session"),
        (b'0x1.', b'0x2.', 2, "the flight comes out differently"),
        (b'{"t":0,"c"', b'{"t":1000000000000,"c"', 3, "a line out of order"),
        (b'{"t":0,"c"', b'{"t":0,"fault":{"kind":"runaway","tick":0,"rate":NaN},"x"', 3, "not a fault"),
        (b'{"t":0,"c"', b'{"t":' + b"[" * 50_000 + b'0,"c"', 3, "a damaged line"),
    ],
)
def test_a_damaged_line_is_named(course, session, old, new, line, said):
    path, _ = session
    content = path.read_bytes()
    assert old in content
    path.write_bytes(content.replace(old, new, 1))
    number = content[: content.index(old)].count(b"\n") + 1
    with pytest.raises(InputError, match=said) as caught:
        replay(read_session(path), course.record.scene, course)
    assert f":{number}" in str(caught.value) or f"line {number}" in str(caught.value), (line, str(caught.value))


def test_a_session_of_other_files_is_refused(course, session):
    path, _ = session
    content = path.read_text(encoding="utf-8")
    digest = content.split('"inputs":"')[1][:64]
    path.write_text(content.replace(digest, "0" * 64), encoding="utf-8")
    with pytest.raises(InputError, match="the session was flown with other files than these"):
        replay(read_session(path), course.record.scene, course)


def test_a_session_is_never_written_over(course, session):
    with pytest.raises(RecordError, match="is there already; choose another name"):
        Cockpit(course, session[0].parent)
    assert next_folder(session[0].parent.parent).name == "try_2"


@pytest.fixture
def full_at():
    """Have the system refuse files larger than so many bytes, as a disk does that has no more room."""
    resource = pytest.importorskip("resource")
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)

    def limit(size):
        resource.setrlimit(resource.RLIMIT_FSIZE, (hard if size is None else size, hard))

    yield limit
    resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
    signal.signal(signal.SIGXFSZ, before)


def test_where_no_more_can_be_written_it_is_told_and_flown_on_once_there_is_room(course, tmp_path, full_at):
    cockpit = flown(course, tmp_path / "try_1")
    path, command = tmp_path / "try_1" / SESSION, Command(frame="rider", push=(0.0, 0.5, 0.0))
    whole = path.read_bytes()
    full_at(len(whole) + 5)
    with pytest.raises(RecordError, match=r"session\.jsonl cannot be written on: .*; what was flown until then"):
        cockpit.tick(command)
    full_at(None)
    assert path.read_bytes() == whole
    cockpit.tick(command)
    cockpit.close()
    again = replay(read_session(path), course.record.scene, course)
    assert np.array_equal(np.array(again.kept.q), np.array(cockpit.flight.kept.q))


def test_a_session_that_cannot_begin_leaves_its_name_free(course, tmp_path, full_at):
    full_at(5)
    with pytest.raises(RecordError, match="cannot be written on"):
        Cockpit(course, tmp_path / "try_1")
    full_at(None)
    assert not (tmp_path / "try_1" / SESSION).exists()
    Cockpit(course, tmp_path / "try_1").close()
