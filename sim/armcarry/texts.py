"""Text that a file brings, made safe to show: whatever reads a file passes its words through here, once.

What is left of them steers no terminal, turns no line round and hides nothing; what shows them takes them as
text and not as markup of its own (HTML, Qt, Rich, mathematics of matplotlib).
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from typing import Any

#: characters of one text at most; documents ask for less, with file and line
LONGEST = 4000


def printable(text: str) -> str:
    """Return text on one line in which every character that does not print is written as its escape."""
    if text.isprintable():
        return text
    return "".join(_printed(sign) for sign in text)


def shown(text: str, longest: int = LONGEST) -> str:
    """Return text that may be shown anywhere: as ``printable``, but line ends stay and blanks are plain, and cut."""
    if len(text) > longest:
        text = f"{text[: longest - 3]}..."
    if text.isprintable():
        return text
    text = text.replace("\r\n", "\n").replace("\t", " ")
    return "".join(sign if sign == "\n" else _printed(sign) for sign in text)


def all_shown(value: Any) -> Any:
    """Return plain values, which are not nested deep, with every text in them, keys too, as ``shown`` gives it, uncut.

    That one of them is too long is told by whoever knows what it is for.
    """
    if isinstance(value, str):
        return shown(value, longest=len(value))
    if isinstance(value, list):
        return [all_shown(item) for item in value]
    if isinstance(value, dict):
        return {shown(key, longest=len(key)): all_shown(item) for key, item in value.items()}
    return value


@lru_cache(maxsize=4096)
def _printed(sign: str) -> str:
    if sign.isprintable():
        return sign
    if unicodedata.category(sign) == "Zs":  # blanks of other widths
        return " "
    return sign.encode("unicode_escape").decode("ascii")


def as_words(name: str) -> str:
    """Return a name as words: ``rack_a_locker`` as ``rack A locker``, since a letter alone is which one it is."""
    words = name.replace("_", " ").split(" ")
    return " ".join(word.upper() if k and len(word) == 1 else word for k, word in enumerate(words))
