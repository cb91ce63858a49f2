"""A short carry of the demo world, to be changed: out of the rack, aside, and back."""

import pytest

from armcarry.editing import Session
from long_carry import short_carry


@pytest.fixture
def script(tmp_path):
    """The demo carry up to where the box is out of the keel, with the comments of the file."""
    path = tmp_path / "short.yaml"
    path.write_text(short_carry(), encoding="utf-8")
    return path


@pytest.fixture(scope="session")
def _opened(tmp_path_factory):
    path = tmp_path_factory.mktemp("edited") / "short.yaml"
    path.write_text(short_carry(), encoding="utf-8")
    return Session(path)


@pytest.fixture
def session(_opened):
    """A session on it that all share: it is planned and proven once, and every test leaves it as it was."""
    yield _opened
    while _opened.script.done:
        _opened.undo()
