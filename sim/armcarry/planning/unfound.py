"""The words for what cannot be found: what, where it was sought, the best there is, and what to write instead."""

from __future__ import annotations

#: what stands in what is told of something that could not be found
_UNFOUND = ("no way to ", "no way was found", "is not reached with margin", "no start of")


def cannot(what: str, *, lacks: str, sought: str = "", instead: str = "") -> str:
    """Return them in one line.

    Args:
        what: that cannot be done, ``people change places at bay_7``.
        lacks: what the best that was found lacks.
        sought: where it was sought, ``with 8 places and shifts``.
        instead: what to write in the script.
    """
    where = f", {sought}" if sought else ""
    return f"no way to {what}{where}: {lacks}{f'; write {instead}' if instead else ''}"


def tells_of_it(words: str) -> bool:
    """Tell whether what was told of a search is something that could not be found."""
    return any(sign in words for sign in _UNFOUND)


def too_near(whom: str, lacking_m: float) -> str:
    """Return what two bodies, people or the arm lack, ``arm/hand_cup and ev1/boot_left``."""
    return f"{whom} come {lacking_m:.2f} m too near one another"
