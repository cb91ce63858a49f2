"""Where everything is at a piece of the day, and the arm's space there: base and settings wherever they may be."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

import numpy as np

from armcarry.asked.relaxed import Relaxed
from armcarry.asked.requirement import Asked, arm_asked
from armcarry.asked.zones import Here
from armcarry.geometry.poses import Array
from armcarry.planning.space import ArmSpace
from armcarry.planning.stops import Piece
from armcarry.planning.trial import Base
from armcarry.scene.build import ARM, PLATFORM, RESTRAINT, Scene, hang
from armcarry.scene.tree import Tree
from armcarry.whatif.at_rest import AtRest

#: what is left after a fault while the arm still moves is less than where it stands, by so much at most, m
MOVING_M = 0.02

Part = Literal["all", "branch", "alike"]


class There:
    """Trees, joint vectors and spaces of pieces of the day, with one set of settings of the restraint.

    Args:
        scene: of the long form.
        settings: of the restraint, rad.
        like: with other settings of the same scene; what is asked of whom is not worked out again.
    """

    def __init__(self, scene: Scene, settings: Mapping[str, float], like: There | None = None) -> None:
        self.scene, self.settings = scene, settings
        self._trees: dict[tuple[int, str], tuple[Tree, Tree]] = {}
        self._asked: dict[int, tuple[Tree, list[tuple[bytes, Asked]]]] = {}
        self._grants: dict[tuple[int, int], tuple[Piece, tuple[Relaxed, ...]]] = {}
        self._spaces: dict[tuple[object, ...], ArmSpace] = {}
        self._first: dict[tuple[object, ...], ArmSpace] = {}
        self._kinds: dict[int, tuple[Tree, np.ndarray, np.ndarray]] = {}
        self._faults: dict[tuple[int, str], AtRest] = {}
        if like is not None:  # boots, hands and load stand at a place alike with all settings
            self._trees, self._asked, self._grants, self._kinds = like._trees, like._asked, like._grants, like._kinds
            self._first, self._faults = like._first, like._faults

    def at(self, piece: Piece, base: Base, q: Array | None = None) -> tuple[Tree, Array]:
        """Return tree and joint vector of a piece with the base at a place, and the arm in a posture."""
        scene, mount = self.scene, self.scene.loaded.platform.document.mounts[base.mount]
        position = piece.position.copy()
        if mount.joint is not None:
            position[scene.tree.column(f"{PLATFORM}/{mount.joint}")] = base.station_m
        for name, angle in self.settings.items():
            joint = scene.loaded.restraints[RESTRAINT].document.settings[name].joint
            position[scene.tree.column(f"{RESTRAINT}/{joint}")] = angle
        if q is not None:
            position[scene.arm_columns] = q
        tree = piece.tree
        if base.mount != scene.loaded.scenario.base.mount:
            key = (id(tree), base.mount)
            if key not in self._trees:
                self._trees[key] = (tree, hang(scene, tree, ARM, f"{PLATFORM}/{mount.frame}", position))
            tree = self._trees[key][1]
        return tree, position

    def space(self, piece: Piece, base: Base, granted: tuple[Relaxed, ...] = (), *, part: Part = "all") -> ArmSpace:
        """Return the arm's space of a piece.

        Args:
            piece, base: where everything is.
            granted: by places.
            part: all pairs, those that a branch or the place of the base changes, or those that they do not: what is
                rigid with the tool comes to what stands alike on every branch.
        """
        tree, position = self.at(piece, base)
        still = position.copy()
        still[self.scene.arm_columns] = 0.0
        key = (id(tree), base, still.tobytes(), granted, part)
        if key not in self._spaces:
            self._spaces[key] = self._like(tree, granted, part, position).moved(position)
        return self._spaces[key]

    def _like(self, tree: Tree, granted: tuple[Relaxed, ...], part: Part, position: Array) -> ArmSpace:
        """Return the space of what is asked in a tree, with other joints wherever they were when it was made."""
        key = (id(tree), repr(granted), part)
        if key not in self._first:
            asked = self._what_is_asked(tree, granted)
            if part != "all":
                alike = self._alike(tree, asked.pairs)
                asked = asked.take(np.flatnonzero(alike if part == "alike" else ~alike))
            self._first[key] = ArmSpace(self.scene, tree, position, budget=True, asked=asked)
        return self._first[key]

    def faults(self, tree: Tree, granted: tuple[Relaxed, ...]) -> AtRest:
        """Return what faults leave where the arm stands in a tree."""
        key = (id(tree), repr(granted))
        if key not in self._faults:
            self._faults[key] = AtRest(self.scene, tree, granted, MOVING_M)
        return self._faults[key]

    def _alike(self, tree: Tree, pairs: np.ndarray) -> np.ndarray:
        """Tell which pairs (P,) are of a body rigid with the tool and one that neither arm nor base moves."""
        if id(tree) not in self._kinds:
            count, joint = self.scene.arm_joints_behind(tree), self._slide()
            stands = count == 0
            if joint is not None:
                column = self.scene.tree.column(joint)
                stands &= [column not in tree.columns[list(tree.ancestry(body.link))] for body in tree.bodies]
            self._kinds[id(tree)] = (tree, stands, count == len(self.scene.arm_joints))
        _, stands, rigid = self._kinds[id(tree)]
        a, b = pairs.T
        return np.asarray((stands[a] & rigid[b]) | (stands[b] & rigid[a]))

    def _slide(self) -> str | None:
        mount = self.scene.loaded.platform.document.mounts[self.scene.loaded.scenario.base.mount]
        return None if mount.joint is None else f"{PLATFORM}/{mount.joint}"

    def granted(self, piece: Piece, base: Base, q: Array, place: int = -1) -> tuple[Relaxed, ...]:
        """Return what places grant at a place of a piece, its end by default: alike on every branch, looked up once."""
        if (id(piece), place) not in self._grants:
            tree, position = self.at(piece, base, q)
            self._grants[id(piece), place] = (piece, Here(self.scene, tree).at(position, still=False))
        return self._grants[id(piece), place][1]

    def _what_is_asked(self, tree: Tree, granted: tuple[Relaxed, ...]) -> Asked:
        _, known = self._asked.setdefault(id(tree), (tree, []))
        key = repr(granted).encode()
        for said, asked in known:
            if said == key:
                return asked
        known.append((key, arm_asked(self.scene, tree, granted)))
        return known[-1][1]
