"""Pages of methods: text written by hand, and below it what comes from the code and the tests.

``python -m armcarry.evidence.methods`` writes the lower part of every page of ``shared/methods/`` and the table of
requirements anew, in a checkout; a test compares, so that neither can drift.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterable
from functools import lru_cache
from importlib import import_module
from pathlib import Path

from armcarry.evidence.basis import BASES, Basis
from armcarry.files.examples import Example, examples
from armcarry.files.places import shared_folder
from armcarry.files.reference import Key, all_keys
from armcarry.version import VERSION

#: what stands above is written by hand, what stands below is not
MADE = "<!-- below: made by python -m armcarry.evidence.methods -->"
#: what every page says, in this order
HEADINGS = (
    "Method", "Proven, sampled, assumed", "Limits of validity", "How it was verified", "How to see it fail",
)  # fmt: skip
INDEX = "README.md"
#: pages that every check rests on
_UNDERLYING = ("proof", "motion", "requirement")
#: engines and libraries that did not come from us, as tests import them
_ENGINES = (
    "coal", "pinocchio", "pybullet", "roboticstoolbox", "modern_robotics", "scipy", "networkx", "toppra", "trimesh",
)  # fmt: skip


def made_part(name: str, tests: Path) -> str:
    """Return the lower part of a page: inputs, numbers of the code, tests, scenarios.

    Args:
        name: of the page.
        tests: the folder of tests of a checkout.
    """
    basis = BASES[name]
    parts = [MADE, "", f"## Inputs, numbers and tests of armcarry {VERSION}"]
    inputs = [key for spelled in basis.keys for key in keys_of(spelled)]
    if inputs:
        parts += ["", "| input | meaning, unit and range | default |", "|---|---|---|"]
        parts += [_input(key) for key in dict.fromkeys(inputs)]
    if basis.numbers:
        parts += ["", "| number in the code | value |", "|---|---|"]
        parts += [f"| `{number}` | {_value(number)} |" for number in basis.numbers]
    parts += ["", "| tests | what they show | beside |", "|---|---|---|"]
    parts += [f"| `tests/{test}` | {_said(tests / test)} | {_beside(tests / test)} |" for test in basis.tests]
    if basis.shows:
        parts += ["", f"Scenarios that come along: {', '.join(shown(name, basis))}."]
    return "\n".join(parts) + "\n"


def index(tests: Path) -> str:
    """Return the table of requirements: what must hold, the page that says how it is judged, tests, evidence."""
    parts = [
        "# Methods and evidence", "",
        "What must hold, the check that judges it, and what that rests on. Each page says what is proven, what is",
        "sampled or assumed, where the method ends, and how to see it fail. `armcarry verify` runs the shipped",
        "evidence on your machine. Made by `python -m armcarry.evidence.methods`.", "",
        "## Requirements that checks judge", "", *_rows(True, tests), "",
        "## Computations that they rest on, and commands", "", *_rows(False, tests),
    ]  # fmt: skip
    return "\n".join(parts) + "\n"


def _rows(checks: bool, tests: Path) -> list[str]:
    rows = ["| what must hold | page | tests | evidence |", "|---|---|---|---|"]
    for name, basis in BASES.items():
        if basis.check == checks:
            files = "<br>".join(f"`{test}`" for test in basis.tests)
            rows.append(f"| {basis.asks} | [{name}]({name}.md) | {files} | {_evidence(name, basis, tests)} |")
    return rows


def _evidence(name: str, basis: Basis, tests: Path) -> str:
    """Return what kinds of evidence a page has, in a few words."""
    found = dict.fromkeys(words for test in basis.tests for words in _beside(tests / test).split(", ") if words)
    return ", ".join([*found, *shown(name, basis)]) or "tests by hand"


def shown(name: str, basis: Basis) -> list[str]:
    """Say in which scenarios that come along a check is expected to fail, and which others show it at work."""
    fails = {example.name: name in example.fails for example in _examples()}
    return [f"{'fails in' if fails[scenario] else 'at work in'} `{scenario}`" for scenario in basis.shows]


@lru_cache(maxsize=1)
def _examples() -> tuple[Example, ...]:
    return examples()


def keys_of(spelled: str) -> tuple[Key, ...]:
    """Return the key of the reference that is spelled so, and those it holds; their leaves alone where it holds any.

    Raises:
        KeyError: there is no such key.
    """
    document, _, path = spelled.partition(".")
    every = keys()[document]
    here = [key for key in every if key.spelled == path]
    if not here:
        raise KeyError(spelled)
    inner = tuple(key for key in every if re.match(rf"{re.escape(path)}[.\[]", key.spelled) and not key.holds)
    return inner or tuple(here)


@lru_cache(maxsize=1)
def keys() -> dict[str, tuple[Key, ...]]:
    """Return every key of the reference by kind of document, worked out once."""
    return all_keys()


def _input(key: Key) -> str:
    default = "must be there" if key.required else "none" if key.default is None else f"`{key.default}`"
    meaning = f"{key.meaning}; {key.takes}" if key.takes else key.meaning
    cells = (f"`{key.document}: {key.spelled}`", meaning, default)
    return "| " + " | ".join(cell.replace("|", "\\|").replace("``", "`") for cell in cells) + " |"


def _value(number: str) -> str:
    module, _, name = number.partition(":")
    value = getattr(import_module(f"armcarry.{module}"), name)
    items = value.items() if isinstance(value, dict) else None
    if items is not None:
        return ", ".join(f"{key} {amount:g}" for key, amount in items)
    if isinstance(value, tuple):
        return ", ".join(f"{amount:g}" if isinstance(amount, float) else str(amount) for amount in value)
    return f"{value:g}" if isinstance(value, float) else str(value)


def _said(test: Path) -> str:
    """Return the first line of a test file: what it shows."""
    return (ast.get_docstring(ast.parse(test.read_text(encoding="utf-8"))) or "").splitlines()[0].replace("|", "\\|")


def _beside(test: Path) -> str:
    """Return what a test file compares with: published values, laws, engines of others."""
    text = test.read_text(encoding="utf-8")
    kinds = {"published": "published values", "laws": "laws"}
    engines = [name for name in _ENGINES if re.search(rf"import(?:orskip)?\W+{name}\b|from {name}\b", text)]
    return ", ".join([*(words for part, words in kinds.items() if part in test.parts), *engines])


def with_made_part(written: str, made: str) -> str:
    """Return a page with its lower part replaced."""
    return written.split(MADE)[0].rstrip() + "\n\n" + made


def as_html(checks: Iterable[str]) -> tuple[tuple[str, str], ...]:
    """Return name and HTML of the pages of some checks, as they came along, and of what all checks rest on.

    Checks of other packages have no page here and are left out. Links among the pages become their words.
    """
    from markdown_it import MarkdownIt

    wanted, told = set(checks), MarkdownIt("commonmark", {"html": False}).enable("table")
    names = [name for name, basis in BASES.items() if name in wanted or (wanted and name in _UNDERLYING)]
    pages = {name: (shared_folder() / "methods" / f"{name}.md").read_text(encoding="utf-8") for name in names}
    plain = {name: re.sub(r"\[([^\]]+)\]\([\w./]+\)", r"\1", page.replace(MADE, "")) for name, page in pages.items()}
    made = {name: str(told.render(page.partition("\n")[2])) for name, page in plain.items()}
    # below the headings of the report
    return tuple((name, page.replace("h2>", "h4>")) for name, page in made.items())


def write_pages(folder: Path, tests: Path) -> list[Path]:
    """Write the lower part of every page, and the index, and return the paths.

    Raises:
        RecordError: one cannot be written.
    """
    from armcarry.files.atomic import write_text_atomic

    written = []
    for name in BASES:
        path = folder / f"{name}.md"
        write_text_atomic(path, with_made_part(path.read_text(encoding="utf-8"), made_part(name, tests)))
        written.append(path)
    write_text_atomic(folder / INDEX, index(tests))
    return [*written, folder / INDEX]


if __name__ == "__main__":
    for written_path in write_pages(shared_folder() / "methods", shared_folder().parent / "tests"):
        print(written_path)
