"""The discrete settings of a foot restraint: every combination, and how many steps each is from neutral."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import product

import numpy as np

from armcarry.files.documents.bodies import RestraintDocument, Setting
from armcarry.geometry.poses import Array

#: an end of travel this near to a whole step still counts as one, steps
_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Detents:
    """All combinations of settings, S rows.

    Attributes:
        names: the settings, in the order of the document.
        joints: the restraint's joint that each one turns.
        counts: (S, k) steps from neutral.
        angles_rad: (S, k).
        neutral: row in which every setting is at its step nearest to zero.
    """

    names: tuple[str, ...]
    joints: tuple[str, ...]
    counts: np.ndarray
    angles_rad: Array
    neutral: int

    @property
    def steps(self) -> np.ndarray:
        """Steps from neutral of all settings together, (S,)."""
        return np.asarray(np.abs(self.counts).sum(axis=1))


def detents_of(document: RestraintDocument) -> Detents:
    """List every combination of a restraint's settings.

    Steps lie from the lowest angle on; they are counted from the one nearest to zero.
    """
    items = document.settings.items()
    counts = np.array(list(product(*(_counts(setting) for _, setting in items))), dtype=np.int64)
    counts = counts.reshape(-1, len(document.settings))
    steps = np.array([setting.step for _, setting in items])
    zeros = np.array([_neutral_rad(setting) for _, setting in items])
    return Detents(
        tuple(name for name, _ in items),
        tuple(setting.joint for _, setting in items),
        counts,
        zeros + counts * steps,
        int(np.argmin(np.abs(counts).sum(axis=1))),
    )


def angles_rad(setting: Setting) -> list[float]:
    """Return where one setting may stand, by itself, counted from 0, the lowest first."""
    first, last = round(setting.lowest / setting.step), round(setting.highest / setting.step)
    return [count * setting.step for count in range(first, last + 1)]


def count_words(counts: Mapping[str, int], turn_count: int = 0) -> str:
    """Write counts for a person: ``roll 0, pitch +2, yaw -1``, and the stand's turn where there is one."""
    words = [f"{name} {count:+d}" if count else f"{name} 0" for name, count in counts.items()]
    return ", ".join([*words, *([f"stand turned {turn_count:+d}"] if turn_count else [])])


def _last(setting: Setting) -> int:
    return int(np.floor((setting.highest - setting.lowest) / setting.step + _ROUNDING))


def _zero(setting: Setting) -> int:
    """Return the number of the step nearest to zero, counted from the lowest angle."""
    return min(max(round(-setting.lowest / setting.step), 0), _last(setting))


def _neutral_rad(setting: Setting) -> float:
    return setting.lowest + _zero(setting) * setting.step


def _counts(setting: Setting) -> range:
    return range(-_zero(setting), _last(setting) - _zero(setting) + 1)
