"""A short carry of the demo world, to be changed: out of the rack, aside, and back."""

import pytest

from long_carry import long_carry


@pytest.fixture
def script(tmp_path):
    """The demo carry up to where the box is out of the keel, with the comments of the file."""
    cut = "      - {line: {frame: platform/rack_a_stand, to: [-2.1 m, -3.7"
    text = long_carry().split(cut, 1)[0]
    path = tmp_path / "short.yaml"
    path.write_text(text, encoding="utf-8")
    return path
