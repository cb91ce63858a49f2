"""The house keeps its shape: top level, sizes, no paths of a machine, one test command, a wheel with its data."""

import ast
import re
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "sim", "models", "scenarios", "shared", "tests"}

LONGEST_FILE_LINES = 320
LONGEST_FUNCTION_LINES = 60
#: path from the root -> why it is longer; an entry that is no longer needed fails too
LONG_FILES: dict[str, str] = {
    "sim/armcarry/clearance/timetree.py": "kernels of one tree of time, inlined into one another when compiled",
    "sim/armcarry/clearance/tubes.py": "kernels of many arcs at once, inlined into one another when compiled",
}
#: "path:function" -> why it is longer
LONG_FUNCTIONS: dict[str, str] = {
    "sim/armcarry/clearance/tubes.py:_make": "the entry kernel stands inside the function that compiles it",
}


def _tracked() -> list[str]:
    listed = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True)
    if listed.returncode != 0:
        pytest.skip("not a git checkout")
    return [name for name in listed.stdout.splitlines() if (ROOT / name).is_file()]


def _texts() -> list[tuple[str, str]]:
    texts = []
    for name in _tracked():
        raw = (ROOT / name).read_bytes()
        if b"\0" not in raw:
            texts.append((name, raw.decode()))
    return texts


def _code() -> list[Path]:
    return sorted([*(ROOT / "sim").rglob("*.py"), *(ROOT / "models").rglob("*.py")])


def test_the_top_level_is_that_of_the_design():
    entries = {name.split("/", 1)[0] for name in _tracked()}
    assert {name for name in entries if not name.startswith(".")} <= TOP_LEVEL


def test_no_file_names_a_path_of_a_machine_or_a_registry_host():
    roots = "|".join(["work", "farm", "root", "home", "Users"])
    hosts = "|".join([r"pypi\.org", r"files\.pythonhosted\.org", r"registry\.npmjs\.org", r"deb\.debian\.org"])
    bad = re.compile(rf"(?:^|[^A-Za-z0-9_.])/(?:{roots})/|\b(?:{hosts})\b", re.MULTILINE)
    found = [f"{name}: {hit.group(0).strip()}" for name, text in _texts() for hit in bad.finditer(text)]
    assert found == []


def test_files_are_short():
    long = {
        path.relative_to(ROOT).as_posix(): lines
        for path in _code()
        if (lines := len(path.read_text().splitlines())) > LONGEST_FILE_LINES
    }
    assert {name: lines for name, lines in long.items() if name not in LONG_FILES} == {}
    assert set(LONG_FILES) <= set(long), "exceptions that are no longer needed"


def _function_lines(path: Path) -> dict[str, int]:
    """Lines of every function without its docstring."""
    lines = {}
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            first = node.body[0]
            docstring = (first.end_lineno or 0) - first.lineno + 1 if ast.get_docstring(node) is not None else 0
            lines[node.name] = (node.end_lineno or 0) - node.lineno + 1 - docstring
    return lines


def test_functions_are_short():
    long = {
        f"{path.relative_to(ROOT).as_posix()}:{name}": lines
        for path in _code()
        for name, lines in _function_lines(path).items()
        if lines > LONGEST_FUNCTION_LINES
    }
    assert {name: lines for name, lines in long.items() if name not in LONG_FUNCTIONS} == {}
    assert set(LONG_FUNCTIONS) <= set(long), "exceptions that are no longer needed"


def test_ci_runs_the_command_the_readme_gives():
    script = (ROOT / ".ci" / "run").read_text()
    command = re.search(r'^readme_command="(.+)"$', script, re.MULTILINE)
    assert command is not None
    assert command.group(1) in [line.strip() for line in (ROOT / "README.md").read_text().splitlines()]


def test_links_lead_somewhere():
    pages = [name for name in _tracked() if name.endswith(".md")]
    assert {"README.md", "DEVELOPERS.md"} < set(pages)
    lost = [
        f"{page}: {target}"
        for page in pages
        for target in re.findall(r"\]\(([^)#\s]+)\)", (ROOT / page).read_text())
        if "://" not in target and not ((ROOT / page).parent / target).exists()
    ]
    assert lost == []


def test_the_wheel_carries_models_scenarios_and_shared(tmp_path):
    pytest.importorskip("hatchling")
    build = [sys.executable, "-m", "pip", "wheel", "--no-deps", "--no-build-isolation", "--quiet", "-w", str(tmp_path)]
    done = subprocess.run([*build, str(ROOT)], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    (wheel,) = tmp_path.glob("armcarry-*-py3-none-any.whl")
    with zipfile.ZipFile(wheel) as archive:
        inside = set(archive.namelist())
    assert {"armcarry/__init__.py", "armcarry/py.typed"} <= inside
    tracked = [name for name in _tracked() if name.split("/", 1)[0] in ("models", "scenarios", "shared")]
    assert tracked
    assert [name for name in tracked if f"armcarry/data/{name}" not in inside] == []
    assert [name for name in inside if name.startswith("tests/")] == []
    _finds_its_data(wheel, tmp_path / "installed")


def _finds_its_data(wheel: Path, folder: Path) -> None:
    """Show that an install, here the unpacked wheel, uses the data it carries and not a checkout's."""
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(folder)
    first = f"import sys; sys.path.insert(0, {str(folder)!r})"
    show = f"{first}; from armcarry.files import places; print(places.data_folder())"
    done = subprocess.run([sys.executable, "-c", show], capture_output=True, text=True, cwd=folder)
    assert done.stdout.strip() == str(folder / "armcarry" / "data"), done.stderr


def test_every_table_has_its_source():
    tables = ROOT / "shared" / "tables"
    named = set(re.findall(r"^\| `([^`]+)` \|", (tables / "SOURCES.md").read_text(), re.MULTILINE))
    assert named == {path.name for path in tables.iterdir() if path.name != "SOURCES.md"}
