"""What an item sweeps as it goes from hand to hand, on to a tether or back, proven over a way on which it keeps clear.

In a run such an item is in the other hands at once. People bring it there by a way of their own, so a way is looked
for: straight, else over a point off the middle of that, in 26 directions and some distances; turning evenly about one
axis, or only there, the short way round or the long one. On the first way that keeps what is asked the item is proven
against everything but those who pass it on, what they hold and what it hangs on; where none does, the one that keeps
most is told.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product
from typing import NamedTuple

import numpy as np

from armcarry.asked.pairs import UNJUDGED
from armcarry.asked.requirement import Requirement
from armcarry.clearance import prove_clearance
from armcarry.clearance.distance import distances
from armcarry.clearance.prover import CONTACT
from armcarry.geometry import poses
from armcarry.geometry.model import Body, Joint, Model
from armcarry.geometry.poses import Array
from armcarry.ledger.state import ARM, ItemState
from armcarry.motion.forward import forward
from armcarry.motion.rows import interpolated
from armcarry.record.kept import Kept
from armcarry.record.record import Event, Record
from armcarry.scene.tree import Tree

#: an item that is nearer than this to where it goes sweeps nothing to speak of, m
NEAR_M = 0.05
#: and one that is turned less than this, rad
NEAR_RAD = 0.1
#: how sharp a proof is, m
PROVEN_TO_M = 1e-3
#: an item is where it was this long before it changes hands, s
JUST_S = 1e-6
#: how far off the middle of the straight way others go, m
OFF_M = (0.5, 1.0, 1.5)
#: all directions along the edges, faces and corners of a cube
_SIDES = np.array([side for side in product((-1.0, 0.0, 1.0), repeat=3) if any(side)])
#: the rest of a full turn is the long way round
_TURN = 2.0 * np.pi
#: an item that is turned less goes no long way round
_NO_TURN_RAD = 0.5
#: ways that are looked at
WAYS = 2 * (1 + 2 * len(OFF_M) * len(_SIDES))


class Way(NamedTuple):
    """A way of an item: in words, points of its middle (K, 3), and how far it is turned there (K,)."""

    said: str
    points: Array
    turned: Array


@dataclass(frozen=True)
class Passing:
    """One item on its way from hand to hand.

    Attributes:
        what, time_s: the item, and when it changes hands.
        apart_m: from where it was to where it is then.
        way: in words.
        body, other: the pair that keeps the least of what is asked of it; empty where nothing is near.
        touch: the two touch.
        lower_m, upper_m: bounds of their distance over the way.
        required_m: what is asked of them.
    """

    what: str
    time_s: float
    apart_m: float
    way: str
    body: str = ""
    other: str = ""
    touch: bool = False
    lower_m: float = float("inf")
    upper_m: float = float("inf")
    required_m: float = 0.0

    @property
    def margin_m(self) -> float:
        """What is left beyond what is asked."""
        return -np.inf if self.touch else self.lower_m - self.required_m


def passings(record: Record) -> tuple[Passing, ...]:
    """Return the ways on which things went from hand to hand, in the order of time, as they were judged.

    Left out is what has no shape or is inside, and what could not go there at all, which the ledger tells.
    """
    return record.result(PASSINGS)


def _passings(record: Record) -> tuple[Passing, ...]:
    shaped = {body.name.split("/", 1)[0] for body in record.bodies}
    passed = [
        _Between(record, event) for event in record.events
        if event.what in shaped and by_hand(record, event)
        and not record.scene.is_inside(record.phase_at(event.time_s).tree, event.what)
        and not record.ledger.displaced(event.what, event.time_s)
    ]  # fmt: skip
    return tuple(_on_the_best_way(item) for item in passed if item.moves)


PASSINGS = Kept("passing", 1, _passings, (Passing,))


def by_hand(record: Record, event: Event) -> bool:
    """Tell whether hands move a restraint, or pass an item on: from hand to hand, or to trail on a tether and back."""
    loaded, states = record.scene.loaded, _before_and_after(record, event)
    if None in states:
        return False
    held = [
        (state.where in ("held", "inside") and ARM not in state.hands) or state.seat in loaded.hardware
        for state in states if state is not None
    ]  # fmt: skip
    if event.what in loaded.restraints:
        return any(yes and state.hands for yes, state in zip(held, states, strict=True) if state is not None)
    return all(held)


def _before_and_after(record: Record, event: Event) -> list[ItemState | None]:
    """Return the states of what is moved; what is taken off its seat and moved on at once was in the hands before."""
    earlier = any(
        other is not event and other.what == event.what and other.time_s == event.time_s
        for other in record.events[: record.events.index(event)]
    )  # fmt: skip
    before, after = (record.ledger.at(t).states.get(event.what) for t in (event.time_s - JUST_S, event.time_s))
    if earlier and before is not None and before.where == "seat":  # taken off its seat first, in the own hands
        before = after
    return [before, after]


def _on_the_best_way(item: _Between) -> Passing:
    """Prove an item on one way after another, until one keeps all that is asked."""
    ways = item.ways()
    best = item.proven(next(ways))
    for way in ways:
        if best.margin_m >= 0.0:
            break
        best = max(best, item.proven(way), key=lambda one: one.margin_m)
    return best


class _Between:
    """An item between two places, with everything else standing as it does when the item changes hands."""

    def __init__(self, record: Record, event: Event) -> None:
        self.event = event
        before = next(phase for phase in reversed(record.phases) if phase.start_s < event.time_s)
        self._trees = (before.tree, record.phase_at(event.time_s).tree)
        self._row = [{body.name: k for k, body in enumerate(tree.bodies)} for tree in self._trees]
        times = (event.time_s - JUST_S, event.time_s)  # joints may take other values at that instant
        links = [forward(tree, record.motion.at(time_s)) for tree, time_s in zip(self._trees, times, strict=True)]
        old = self._trees[0]
        placed = links[0][[old.index(body.link) for body in old.bodies]] @ np.stack([body.pose for body in old.bodies])
        own = np.array([body.name.startswith(f"{event.what}/") for body in old.bodies])
        root = f"{event.what}/{old.mounting(event.what).model.root}"
        here, there = (at[tree.index(root)] for at, tree in zip(links, self._trees, strict=True))
        middle = poses.translation(poses.apply(poses.inverse(here), placed[own, :3, 3].mean(axis=0)))
        #: where the middle of the item is before and after, and how it is turned: T_world_middle (4, 4) each
        self.ends = (here @ middle, there @ middle)
        inner = poses.inverse(self.ends[0]) @ placed[own]
        passed_by = _passed_by(record, event)
        others = [not mine and body.name.split("/", 1)[0] not in passed_by
                  for mine, body in zip(own, old.bodies, strict=True)]  # fmt: skip
        self._apart_m = float(np.linalg.norm(self.ends[1][:3, 3] - self.ends[0][:3, 3]))
        self._own = [body for body, mine in zip(old.bodies, own, strict=True) if mine]
        self._others = [body for body, other in zip(old.bodies, others, strict=True) if other]
        turn = poses.rotation_vector(poses.inverse(self.ends[0]) @ self.ends[1])
        self._angle = float(np.linalg.norm(turn))
        axis = turn / self._angle if self._angle > 0.0 else np.array([0.0, 0.0, 1.0])
        self._tree = _tree(
            self.ends[0], axis, _standing(self._own, inner), _standing(self._others, placed[np.array(others)])
        )
        self._pairs, self._required = self._asked(record)
        self._report_m = record.scene.loaded.rules.report_distance

    @property
    def moves(self) -> bool:
        """Whether the item gets anywhere else, or is turned."""
        return self._apart_m > NEAR_M or self._angle > NEAR_RAD

    def _asked(self, record: Record) -> tuple[np.ndarray, Array]:
        """Return rows of the item's and other bodies (P, 2) in the tree of the ways, and what is asked of them (P,).

        Never more than they keep at both ends, where the run is judged.
        """
        count = len(self._others)
        a, b = (grid.ravel() for grid in np.meshgrid(np.arange(len(self._own)), np.arange(count), indexing="ij"))
        kept = np.full(len(a), np.inf)
        for tree, row in zip(self._trees, self._row, strict=True):
            mine = np.array([row[body.name] for body in self._own], dtype=np.int64)
            rest = np.array([row[body.name] for body in self._others], dtype=np.int64)
            need = Requirement(record.scene, tree, np.stack([mine[a], rest[b]], axis=1), record.relaxed)
            kept = np.minimum(kept, need.at(self.event.time_s).kept_m)  # nan where they are meant to touch stays
        inside = np.isin(record.scene.body_classes(self._trees[0]), UNJUDGED)
        apart = np.array([not inside[self._row[0][body.name]] for body in self._others], dtype=bool)
        pairs = np.stack([b, count + a], axis=1)
        at_ends = self._at_ends(pairs)
        judged = ~np.isnan(kept) & apart[b] & (at_ends > 0.0)
        return pairs[judged], np.minimum(kept, np.maximum(at_ends - PROVEN_TO_M, 0.0))[judged]

    def _at_ends(self, pairs: np.ndarray) -> Array:
        """Return the less of the distances (P,) before and after, -inf in contact; both are judged of the run."""
        rows = np.column_stack([[end[:3, 3] for end in self.ends], [0.0, self._angle]])
        bodies = self._tree.bodies
        placed = forward(self._tree, rows, [body.link for body in bodies]) @ np.stack([body.pose for body in bodies])
        found = distances([body.shape for body in bodies], placed, pairs).lower_m
        return np.asarray(found.min(axis=0))

    def ways(self) -> Iterator[Way]:
        """Give each way, the plain ones first."""
        here, there = (end[:3, 3] for end in self.ends)
        turns = [self._angle] if self._angle < _NO_TURN_RAD else [self._angle, self._angle - _TURN]
        for turn in turns:
            yield Way("straight", np.stack([here, there]), np.array([0.0, turn]))
        for far_m in OFF_M:
            for side in _SIDES / np.linalg.norm(_SIDES, axis=1, keepdims=True):
                off = (here + there) / 2 + far_m * side
                said = f"{far_m:g} m off the straight one"
                for turn in turns:
                    yield Way(said, np.stack([here, off, there]), turn * np.array([0.0, 0.5, 1.0]))
                    yield Way(f"{said}, turned there", np.stack([here, off, off, there]), turn * np.array([0, 0, 1, 1]))

    def proven(self, way: Way) -> Passing:
        """Prove the item on a way."""
        event, apart_m = self.event, self._apart_m
        if not len(self._pairs):
            return Passing(event.what, event.time_s, apart_m, way.said)
        share, table = np.arange(len(way.points), dtype=float), np.column_stack([way.points, way.turned])
        motion = interpolated(self._tree.joints, share, table, "linear")
        found = prove_clearance(self._tree, motion, self._pairs, report_distance_m=self._report_m)
        touch = found.status == CONTACT
        margin = np.where(touch, -np.inf, found.lower_m) - self._required
        k = int(np.argmin(margin))
        other, body = (self._tree.bodies[row].name.split("/", 1)[1].replace(":", "/") for row in self._pairs[k])
        return Passing(
            event.what, event.time_s, apart_m, way.said, body, other, bool(touch[k]), float(found.lower_m[k]),
            float(found.upper_m[k]), float(self._required[k]),
        )  # fmt: skip


def _passed_by(record: Record, event: Event) -> set[str]:
    """Return who passes an item on or has it on a tether, the bag it comes out of, and what these hold."""
    tree = record.phase_at(event.time_s).tree
    names = {event.what}
    for state in _before_and_after(record, event):
        if state is not None:
            names |= state.hands | (state.tethers & set(record.scene.loaded.crew))
            names |= {state.seat} & set(record.scene.loaded.hardware)
    known = (*record.scene.loaded.hardware, *record.scene.loaded.restraints)
    return names | {thing for thing in known if any(tree.hangs_from(thing, who) for who in names if who != ARM)}


def _standing(bodies: list[Body], placed: Array) -> list[Body]:
    """Return bodies as they are placed, with names that fit one instance."""
    return [
        Body(body.name.replace("/", ":"), "middle", body.shape, pose) for body, pose in zip(bodies, placed, strict=True)
    ]


def _tree(begin: Array, axis: Array, own: list[Body], others: list[Body]) -> Tree:
    """Return what stands, and the item on three joints along the axes of the world and one that turns it."""
    links = ("ground", "x", "y", "z", "middle")
    joints = [
        Joint(f"along_{links[k + 1]}", "prismatic", links[k], links[k + 1], axis=np.eye(3)[k], lower=-np.inf,
              upper=np.inf) for k in range(3)
    ]  # fmt: skip
    turned = begin.copy()
    turned[:3, 3] = 0.0
    joints.append(Joint("turn", "revolute", "z", "middle", turned, axis, -np.inf, np.inf))
    around = Model("around", "middle", ("middle",), (), tuple(others))
    return Tree().place("around", around).place("item", Model("item", "ground", links, tuple(joints), tuple(own)))
