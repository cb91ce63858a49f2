"""The words for what cannot be found: what, where it was sought, the best there is, and what to write instead."""

from __future__ import annotations


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


def too_near(whom: str, lacking_m: float) -> str:
    """Return what two bodies, people or the arm lack, ``arm/hand_cup and ev1/boot_left``."""
    return f"{whom} come {lacking_m:.2f} m too near one another"
