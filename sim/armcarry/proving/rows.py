"""The table of pairs: what is proven of every pair, and for how long it holds."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from armcarry.asked.requirement import Asked
from armcarry.proving.windows import Bounds, Window
from armcarry.record.pairs import PairTable
from armcarry.scene.build import Scene
from armcarry.scene.tree import Tree

#: the columns of a row in the making; ``why`` and classes are words by number
_COLUMNS: dict[str, Any] = {
    "a": np.int32, "b": np.int32, "class_a": np.int16, "class_b": np.int16, "start_s": float, "end_s": float,
    "required_m": float, "why": np.int16, "status": np.int8, "lower_m": float, "upper_m": float, "time_s": float,
    "points": (float, 6),
}  # fmt: skip
_NAMES = {"a": "body_a", "b": "body_b"}
#: distances that differ by no more are the same, m: of two that never move against each other the first instant is told
SAME_M = 1e-9
_ROW = np.dtype([("there", bool), *_COLUMNS.items()])


@dataclass(eq=False)
class Table:
    """Rows of the pairs of a run, filled window by window in the order of time.

    Windows of a pair that adjoin and ask the same of it, for the same reason and in the same two classes, become one
    row: the least bound, at the nearest instant. Windows apart in time stay rows apart, since nothing is said of the
    pair between them. A pair is known by its bodies' rows, which are the same in every tree of a run.
    """

    scene: Scene
    tree: Tree
    _words: dict[str, int] = field(default_factory=dict)
    _keys: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=np.int64))
    _open: np.ndarray = field(default_factory=lambda: np.zeros(0, dtype=_ROW))
    _closed: list[np.ndarray] = field(default_factory=list)

    def expect(self, pairs: np.ndarray) -> None:
        """Make room for pairs (P, 2), so that their windows need not each make room."""
        wanted = self._key(pairs)
        at = np.minimum(np.searchsorted(self._keys, wanted), max(len(self._keys) - 1, 0))
        new = wanted[self._keys[at] != wanted] if len(self._keys) else wanted
        if len(new):
            keys = np.sort(np.concatenate([self._keys, new]))
            keys = keys[np.append(True, np.diff(keys) > 0)]  # np.unique by hashes takes a hundred times as long
            grown = np.zeros(len(keys), dtype=_ROW)
            grown[np.searchsorted(keys, self._keys)] = self._open
            self._keys, self._open = keys, grown

    def _key(self, pairs: np.ndarray) -> np.ndarray:
        return np.asarray(pairs[:, 0] * len(self.tree.bodies) + pairs[:, 1])

    def add(self, tree: Tree, window: Window) -> None:
        """Take up what is proven in a window."""
        self.expect(window.asked.pairs)
        at = np.searchsorted(self._keys, self._key(window.asked.pairs))
        new, old = self._columns(tree, window.asked, window.bounds), self._open[at]
        same = old["there"] & (new["start_s"] <= old["end_s"])
        for name in ("class_a", "class_b", "why"):
            same &= new[name] == old[name]
        same &= (new["required_m"] == old["required_m"]) | (np.isnan(new["required_m"]) & np.isnan(old["required_m"]))
        self._closed.append(old[old["there"] & ~same])
        worse, alike = old["status"] < new["status"], old["status"] == new["status"]
        keeps = same & (worse | (alike & (old["upper_m"] <= new["upper_m"] + SAME_M)))
        for name in ("status", "upper_m", "time_s", "points"):
            new[name][keeps] = old[name][keeps]
        new["start_s"][same] = old["start_s"][same]
        new["lower_m"][same] = np.minimum(new["lower_m"], old["lower_m"])[same]
        self._open[at] = new

    def _columns(self, tree: Tree, asked: Asked, bounds: Bounds) -> np.ndarray:
        classes = np.array([self._word(name) for name in self.scene.body_classes(tree)])
        new = np.zeros(len(asked.pairs), dtype=_ROW)
        new["there"] = True
        new["a"], new["b"] = asked.pairs.T
        new["class_a"], new["class_b"] = classes[asked.pairs].T
        new["start_s"], new["end_s"] = asked.start_s, asked.end_s
        new["required_m"] = asked.required_m
        why = asked.why.tolist()
        number = {word: self._word(word) for word in dict.fromkeys(why)}  # a few words, each of many pairs
        new["why"] = np.fromiter(map(number.__getitem__, why), np.int16, len(why))
        for name in Bounds.__dataclass_fields__:
            new[name] = getattr(bounds, name)
        return new

    def _word(self, text: str) -> int:
        return self._words.setdefault(text, len(self._words))

    def rows(self) -> PairTable:
        """Return the rows by pair, those of one pair in the order of time."""
        every = np.concatenate([*self._closed, self._open[self._open["there"]]])
        order = np.lexsort((every["start_s"], every["b"], every["a"]))
        columns = {_NAMES.get(name, name): every[name][order] for name in _COLUMNS}
        return PairTable(self.tree.body_names, tuple(self._words), columns)
