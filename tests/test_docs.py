"""Commands and Python blocks of the tutorial, and Python blocks of all other pages, run as they stand there.

Shell commands of the other pages: test_docs_commands.py.
"""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest
from typer.main import get_command
from typer.testing import CliRunner

from armcarry.cli import app

ROOT = Path(__file__).resolve().parents[1]
TUTORIAL = (ROOT / "shared" / "tutorial.md").read_text()
FENCED = re.compile(r"^```(\w+)(?: file=(\S+))?\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def _run(command: list[str], folder: Path, expected: int = 0) -> str:
    done = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300)
    assert done.returncode == expected, f"{command}\n{done.stdout}\n{done.stderr}"
    return done.stdout


def _console(text: str, folder: Path) -> int:
    count = 0
    for line in text.splitlines():
        if line.startswith("$ armcarry "):
            words = shlex.split(line[2:], comments=True)
            said = re.search(r"# exit (\d)", line)
            _run([sys.executable, "-m", *words], folder, int(said.group(1)) if said else 0)
            count += 1
    return count


def test_the_tutorial_runs_from_the_first_line_to_the_last(tmp_path):
    assert len(TUTORIAL.splitlines()) <= 240
    commands = blocks = 0
    for kind, file, text in FENCED.findall(TUTORIAL):
        if file:
            (tmp_path / file).write_text(text)
        elif kind == "console":
            commands += _console(text, tmp_path)
        elif kind == "python":
            _run([sys.executable, "-c", text], tmp_path)
            blocks += 1
    assert commands >= 6 and blocks >= 2
    assert (tmp_path / "first_run" / "summary.json").is_file()
    assert (tmp_path / "own" / "small" / "small.yaml").is_file()


def _indented(text: str) -> list[str]:
    """Return the blocks of a document that are indented by four spaces."""
    blocks, lines = [], []
    for line in [*text.splitlines(), "end"]:
        if line.startswith("    ") or (lines and not line.strip()):
            lines.append(line[4:])
        elif lines:
            blocks.append("\n".join(lines).strip("\n"))
            lines = []
    return blocks


@pytest.fixture(scope="module")
def checkout(tmp_path_factory):
    """A place with models and scenarios, where blocks may write."""
    folder = tmp_path_factory.mktemp("checkout")
    for name in ("models", "scenarios", "shared"):
        shutil.copytree(ROOT / name, folder / name)
    return folder


@pytest.mark.parametrize(
    ("name", "least"), [("README.md", 1), ("shared/reference/python.md", 1), ("DEVELOPERS.md", 0)]
)
def test_python_blocks_run(name, least, checkout):
    blocks = [block for block in _indented((ROOT / name).read_text()) if re.match(r"(import|from) \w+", block)]
    assert len(blocks) >= least
    for block in blocks:
        _run([sys.executable, "-c", block], checkout)


def test_the_readme_is_short_and_leads_to_every_command():
    text = (ROOT / "README.md").read_text()
    assert len(text.splitlines()) < 150
    told = set(re.findall(r"`armcarry (\w+)", text)) | set(re.findall(r"&& armcarry (\w+)", text))
    assert told == set(get_command(app).commands)


def test_every_command_of_the_reference_is_known_with_its_options():
    known = get_command(app)
    text = (ROOT / "shared" / "reference" / "commands.md").read_text()
    rows = re.findall(r"^\| `armcarry (\w+)([^`]*)` \|(.*)\|$", text, re.MULTILINE)
    assert [row[0] for row in rows] == list(known.commands), "a row each, in the order of armcarry --help"
    for command, usage, words in rows:
        told = re.findall(r"--[a-z-]+", usage + words)
        options = {option for parameter in known.commands[command].params for option in parameter.opts}
        assert set(told) <= options, command


def test_help_says_what_a_command_does_and_what_each_option_is():
    for name, command in get_command(app).commands.items():
        first = (command.help or "").splitlines()[0]
        assert first.endswith(".") and first[0].isupper(), name
        assert "Exit code: 0 " in command.help, name
        for parameter in command.params:
            assert parameter.name == "help" or getattr(parameter, "help", None), (name, parameter.name)


def test_help_fits_a_terminal_and_cuts_no_summary():
    said = CliRunner().invoke(app, ["--help"], terminal_width=80).stdout
    assert max(map(len, said.splitlines())) <= 80
    assert "..." not in said.replace("[ARGS]...", "")


def test_every_schema_has_an_example_that_validates():
    import json

    from ruamel.yaml import YAML

    yaml = YAML(typ="safe", pure=True)
    for path in sorted((ROOT / "shared" / "schemas").glob("*.schema.json")):
        schema = json.loads(path.read_text())
        kind = path.name.removesuffix(".schema.json")
        examples = [
            file for file in [*(ROOT / "models").rglob("*.yaml"), *(ROOT / "scenarios").rglob("*.yaml")]
            if f"format: armcarry {kind} 1" in file.read_text()
        ]  # fmt: skip
        assert examples, kind
        for example in examples:
            data = json.loads(json.dumps(yaml.load(example.read_text()), default=lambda value: value.isoformat()))
            jsonschema.validate(data, schema)
