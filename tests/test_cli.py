"""What a first start says, and where it says it."""

import pytest
from typer.testing import CliRunner

from armcarry.clearance.ready import WORDS
from armcarry.cli import app


@pytest.mark.parametrize("options", [[], ["--json"]])
def test_the_first_start_says_that_it_compiles_beside_the_output(monkeypatch, tmp_path, options):
    monkeypatch.setattr("armcarry.clearance.jit.compiled_marker", lambda: tmp_path / "marker")
    command = ["rehearse", str(tmp_path / "absent.yaml"), *options]
    first, second = CliRunner().invoke(app, command), CliRunner().invoke(app, command)
    assert first.stderr.splitlines()[0] == WORDS
    assert WORDS not in first.stdout
    assert WORDS not in second.stderr
