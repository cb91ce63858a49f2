"""Names of the scene as people read them."""

from __future__ import annotations

from armcarry.scene.build import PLATFORM
from armcarry.texts import as_words


def plain(name: str) -> str:
    """Write a full name for people: ``ev1/helmet`` as ``ev1 helmet``, the platform's own without its instance."""
    instance, _, short = name.partition("/")
    if not short:
        return as_words(instance)
    return as_words(short) if instance == PLATFORM else as_words(f"{instance} {short}")


def plain_joint(name: str) -> str:
    """Write a joint for people who know whose it is: ``arm/wrist_turn`` as ``wrist turn``."""
    return as_words(name.rpartition("/")[2])
