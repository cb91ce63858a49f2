"""Names of the scene as people read them."""

from __future__ import annotations

from armcarry.scene.build import PLATFORM


def plain(name: str) -> str:
    """Write a full name for people: ``ev1/helmet`` as ``ev1 helmet``, the platform's own without its instance."""
    instance, _, short = name.partition("/")
    if not short:
        return instance.replace("_", " ")
    return short.replace("_", " ") if instance == PLATFORM else f"{instance} {short}".replace("_", " ")


def plain_joint(name: str) -> str:
    """Write a joint for people who know whose it is: ``arm/wrist_turn`` as ``wrist turn``."""
    return name.rpartition("/")[2].replace("_", " ")
