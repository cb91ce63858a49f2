"""The journal is written through no link, from no pipe, and goes on after a disk that was full."""

import json
import os
import signal
import sys

import pytest

from armcarry.editing.journal import Journal
from armcarry.errors import ArmcarryError, RecordError

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="links, pipes and limits of POSIX")


def test_a_journal_that_is_a_link_or_a_pipe_is_refused(tmp_path):
    (tmp_path / "elsewhere").write_text("mine")
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    with pytest.raises(RecordError, match="it is a link, which is not followed"):
        Journal(tmp_path / "link", "a.yaml", "text")
    assert (tmp_path / "elsewhere").read_text() == "mine"
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(ArmcarryError, match="a pipe, which may never end"):
        Journal(tmp_path / "pipe", "a.yaml", "text")


def test_after_a_full_disk_the_next_line_is_whole(tmp_path):
    import resource

    journal = Journal(tmp_path / "journal", "a.yaml", "text")
    size = (tmp_path / "journal").stat().st_size
    soft, hard = resource.getrlimit(resource.RLIMIT_FSIZE)
    before = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        resource.setrlimit(resource.RLIMIT_FSIZE, (size + 4, hard))
        with pytest.raises(RecordError, match="journal cannot be written: "):
            journal.note({"undo": True})
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, (soft, hard))
        signal.signal(signal.SIGXFSZ, before)
    journal.note({"redo": True})
    journal.close()
    lines = (tmp_path / "journal").read_text().splitlines()
    assert [json.loads(line) for line in lines[1:]] == [{"redo": True}]
