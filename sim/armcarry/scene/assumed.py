"""Which numbers a result rests on nobody has given a source for."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from armcarry.files.loaded import LoadedScenario


def is_assumed(loaded: LoadedScenario, path: Path, key: str) -> bool:
    """Tell whether a number in a file, or any number under a key of it, is an assumption.

    Args:
        loaded: everything that was read.
        path: the file, as the loaded document names it.
        key: ``corridor`` or ``sizes.medium.reach``.
    """
    roles = {item.role_path for item in loaded.inputs if item.path == path}
    return any(
        item.file in roles and (item.key == key or item.key.startswith((f"{key}.", f"{key}[")))
        for item in loaded.assumptions
    )
