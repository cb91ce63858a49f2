"""The public names: light to import, those the reference lists, found by type checkers and by entry points."""

import importlib.metadata
import re
import subprocess
import sys
from pathlib import Path

import pytest

import armcarry
from armcarry import checks
from armcarry.record.finding import Finding, Verdict

ROOT = Path(__file__).resolve().parents[1]


def test_the_reference_lists_the_public_names_and_no_others():
    page = (ROOT / "shared" / "reference" / "python.md").read_text()
    section = page.split("\n## Names\n")[1].split("\n## ")[0]
    rows = re.findall(r"^\| (`.+?) \|", section, re.MULTILINE)
    listed = [name for row in rows for name in re.findall(r"`(\w+)`", row)]
    assert sorted(listed) == sorted(armcarry.__all__)


def test_every_public_name_is_there_and_knows_where_it_stands():
    for name in armcarry.__all__:
        assert getattr(armcarry, name) is not None
    assert dir(armcarry) == sorted(armcarry.__all__)
    assert armcarry.load.__module__ == "armcarry.record.store"


def test_the_version_is_that_of_the_package():
    line = re.search(r'^version = "(.+)"$', (ROOT / "pyproject.toml").read_text(), re.MULTILINE)
    assert line is not None and armcarry.__version__ == line.group(1)


def test_an_unknown_name_is_told():
    with pytest.raises(AttributeError, match="module 'armcarry' has no attribute 'certify'"):
        _ = armcarry.certify


def test_types_are_published_and_known_to_a_checker(tmp_path):
    pytest.importorskip("mypy")
    assert (Path(armcarry.__file__).parent / "py.typed").is_file()
    user = tmp_path / "user.py"
    mistake = "    return armcarry.judge(run)[0].message + 1\n"
    user.write_text("import armcarry\n\n\ndef f(run: armcarry.Record) -> str:\n" + mistake)
    command = [sys.executable, "-m", "mypy", "--strict", "--follow-imports=silent", "--cache-dir", str(tmp_path / "c")]
    shown = subprocess.run(
        [*command, "--config-file", str(ROOT / "pyproject.toml"), str(user)], capture_output=True, text=True, cwd=ROOT
    ).stdout
    # the one mistake is seen, so the types of record and finding are known
    assert re.search(r"user\.py:5: error: Unsupported operand types for \+", shown), shown


def test_a_check_of_another_package_is_found_by_entry_point(monkeypatch):
    told = Finding("own", Verdict.PASS, "arm", "seen")

    class Entry:
        name = "own"

        @staticmethod
        def load():
            return lambda record: (told,)

    def entry_points(group):
        assert group == "armcarry.checks"
        return [Entry]

    monkeypatch.setattr(checks, "entry_points", entry_points)
    assert importlib.metadata.entry_points is not entry_points
    found = armcarry.registry()
    assert found["own"](None) == (told,)
    assert list(found)[:2] == ["clearance", "reach"]
