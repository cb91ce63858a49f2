"""One word for one thing: help, keys, texts in the code and pages use the terms of the glossary."""

import ast
import re
from pathlib import Path

import pytest
from typer.main import get_command

from armcarry.cli import app
from armcarry.files.reference import all_keys

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "shared" / "reference" / "terms.md").read_text()
ROWS = re.findall(r"^\| ([^|]+) \| ([^|]+) \| ([^|]*)\|$", PAGE, re.MULTILINE)
#: word that is not written -> the term that is
BANNED = {
    word.strip().lower(): term
    for term, _, words in ROWS if term not in ("term", "---")
    for word in words.split(",") if word.strip()
}
WORDS = re.compile(rf"\b({'|'.join(map(re.escape, BANNED))})s?\b", re.IGNORECASE)


def banned(text: str) -> list[str]:
    """Return the words of a text that the glossary has another term for."""
    return [found.lower() for found in WORDS.findall(text)]


def _help():
    for name, command in get_command(app).commands.items():
        yield f"armcarry {name}", command.help or ""
        for parameter in command.params:
            yield f"armcarry {name} {parameter.name}", getattr(parameter, "help", "") or ""


def _keys():
    for document, keys in all_keys().items():
        for key in keys:
            yield f"{document}.{key.spelled}", f"{key.path[-1].replace('_', ' ')} {key.meaning}"


#: URDF calls a body so, and a library is named so
_THEIRS = re.compile(r"</?collision\b|\bcollision name|^collision$|mesh a <collision>|Flexible Collision Library")


def _said():
    """Yield the texts in the code of every room, docstrings left out, and the words of others that it must write."""
    for path in sorted((ROOT / "sim" / "armcarry").rglob("*.py")):
        tree = ast.parse(path.read_text())
        bodies = [body for node in ast.walk(tree) if isinstance(body := getattr(node, "body", None), list) and body]
        docs = {id(body[0].value) for body in bodies if isinstance(body[0], ast.Expr)}
        for node in ast.walk(tree):
            if isinstance(node, ast.Constant) and isinstance(node.value, str) and id(node) not in docs:
                yield f"{path.relative_to(ROOT)}:{node.lineno}", _THEIRS.sub("", node.value)


def _shown():
    """Yield what pages say: text and titles in HTML, texts in the scripts that are ours."""
    views = ROOT / "sim" / "armcarry" / "views"
    for path in sorted(views.rglob("*.html")):
        yield str(path.relative_to(ROOT)), re.sub(r"<(?:[^>]*?((?:title|aria-label|alt)=\"[^\"]*\"))?[^>]*>", r" \1 ",
                                                  path.read_text())  # fmt: skip
    for path in sorted((views / "page" / "source").glob("*.js")):
        code = re.sub(r"^\s*(?://|/?\*).*$", "", path.read_text(), flags=re.MULTILINE)
        for k, line in enumerate(code.splitlines(), start=1):
            for text in re.findall(r"""\"[^\"]*\"|'[^']*'|`[^`]*`""", line):
                yield f"{path.relative_to(ROOT)}:{k}", text


def test_the_glossary_has_terms_and_words_beside_them():
    assert len(ROWS) > 35 and len(BANNED) > 35
    assert {"astronaut", "payload", "collision"} <= set(BANNED)
    assert not {term for terms, _, _ in ROWS for term in terms.split(", ")} & set(BANNED)


@pytest.mark.parametrize(("text", "found"), [
    ("Move the payload past the Astronauts.", {"astronaut", "payload"}), ("the item and its rider", set()),
])  # fmt: skip
def test_another_word_is_noticed(text, found):
    assert set(banned(text)) == found


@pytest.mark.parametrize("texts", [_help, _keys, _said, _shown])
def test_texts_use_the_terms(texts):
    wrong = {where: banned(text) for where, text in texts() if banned(text)}
    assert wrong == {}, {word: BANNED[word] for words in wrong.values() for word in words}
