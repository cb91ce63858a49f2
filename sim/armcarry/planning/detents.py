"""The discrete settings of a foot restraint: every combination, and how many steps each is from neutral."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from armcarry.files.documents.models import RestraintDocument, Setting
from armcarry.geometry.poses import Array

#: an end of travel this near to a whole step still counts as one, steps
_ROUNDING = 1e-6


@dataclass(frozen=True, eq=False)
class Detents:
    """All combinations of settings, S rows.

    Attributes:
        names: the settings, in the order of the document.
        joints: the restraint's joint that each one turns.
        counts: (S, k) steps from zero.
        angles_rad: (S, k) counts times step.
        neutral: row with the fewest steps from zero.
    """

    names: tuple[str, ...]
    joints: tuple[str, ...]
    counts: np.ndarray
    angles_rad: Array
    neutral: int

    @property
    def steps(self) -> np.ndarray:
        """Steps of all settings together, (S,)."""
        return np.asarray(np.abs(self.counts).sum(axis=1))


def detents_of(document: RestraintDocument) -> Detents:
    """List every combination of a restraint's settings; steps are counted from zero.

    A setting that cannot stand at zero has its fewest steps at the end of travel nearer to it.
    """
    items = document.settings.items()
    choices = [_counts(setting) for _, setting in items]
    counts = np.array(list(product(*choices)), dtype=np.int64).reshape(-1, len(choices))
    steps = np.array([setting.step for _, setting in items])
    return Detents(
        tuple(name for name, _ in items),
        tuple(setting.joint for _, setting in items),
        counts,
        counts * steps,
        int(np.argmin(np.abs(counts).sum(axis=1))) if len(counts) else 0,
    )


def _counts(setting: Setting) -> range:
    low = int(np.ceil(setting.lowest / setting.step - _ROUNDING))
    high = int(np.floor(setting.highest / setting.step + _ROUNDING))
    return range(low, high + 1)
