"""Who is beside what, and how far apart two things ever get, from the frames of a run: never from names of places.

A body that holds on with its hands can put its boots anywhere within its length, and one that stands can put its
hands anywhere within it. So something is beside a person where boots or gloves are nearer to it than the shoulder
stands over the boots and an arm reaches. What hands can work at is judged more closely by the check of work reach.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np

from armcarry.clearance.distance import distances
from armcarry.geometry.poses import Array, apply
from armcarry.geometry.shapes import Sphere, half_extents_m
from armcarry.ledger.state import ARM, INSIDE
from armcarry.motion.curve import Motion
from armcarry.motion.drift import Drift
from armcarry.motion.forward import forward
from armcarry.scene.build import PLATFORM, Scene
from armcarry.scene.tree import Tree

#: how much above the largest distance that was seen a proven bound may be, m
TOLERANCE_M = 0.01
#: cells shorter than this are not halved, s
_CLOSE_S = 0.02
_POINT = Sphere(1e-6)


class Stretch(Protocol):
    """A stretch of the run in which nothing is attached or detached, both ends included."""

    @property
    def start_s(self) -> float:
        """When it begins."""

    @property
    def end_s(self) -> float:
        """When it ends."""

    @property
    def tree(self) -> Tree:
        """The tree of frames meanwhile."""


def reach_of(scene: Scene, who: str) -> float:
    """Return the height of a person's shoulders over the boots in the scenario's posture, and an arm's reach, m."""
    member = scene.loaded.crew[who]
    boots = f"{who}/{member.document.boots}"
    shoulders = [
        scene.tree.pose_of(f"{who}/{link}", scene.position, relative_to=boots)[:3, 3]
        for link in member.document.shoulders
    ]
    return float(np.mean(np.linalg.norm(shoulders, axis=1))) + member.size.reach.one_hand


@dataclass(frozen=True, eq=False)
class OnTheClock:
    """Where everything is at every instant of a run; what ``ledger.change.Around`` asks for."""

    scene: Scene
    phases: Sequence[Stretch]
    motion: Motion
    _reaches: dict[str, float] = field(default_factory=dict)

    @property
    def end_s(self) -> float:
        """The end of the run."""
        return self.motion.end_s

    def reach_m(self, who: str) -> float:
        """Return the height of a person's shoulders over the boots in the scenario's posture, and an arm's reach."""
        if who not in self._reaches:
            self._reaches[who] = reach_of(self.scene, who)
        return self._reaches[who]

    def apart_m(self, who: str, thing: str, time_s: float) -> float | None:
        """Return how far boots and gloves are from the nearest point of a thing; None where either is not known."""
        if who not in self.scene.loaded.crew or time_s > self.motion.end_s + 1e-6:  # the run may stop before its day
            return None
        document = self.scene.loaded.crew[who].document
        tree, links = self._at(time_s)
        own = links[[tree.index(f"{who}/{link}") for link in (document.boots, *document.gloves)]]
        names = self.frames(thing)
        if not names:
            return None
        points = links[[tree.index(name) for name in names], :3, 3]
        nearest = float(np.linalg.norm(own[:, None, :3, 3] - points[None], axis=-1).min())
        if thing in self.scene.loaded.platform.document.handrails:  # anywhere along it
            ends = np.broadcast_to(points[:, None], (2, len(own), 3))
            nearest = float(_to_line(own[:, :3, 3], ends[0], ends[1]).min())
        cart = self.scene.loaded.platform.document.carts.get(thing)
        frame = "" if cart is None else f"{PLATFORM}/{cart.body_frame}"
        on_it = [one.instance for one in tree.mountings if frame and one.parent == frame]
        bodies = [body for body in tree.bodies if body.link.split("/", 1)[0] in (thing, *on_it)]
        if bodies:
            at = np.stack([links[tree.index(body.link)] @ body.pose for body in bodies])
            pairs = np.stack(np.meshgrid(np.arange(len(own)), len(own) + np.arange(len(bodies))), axis=-1)
            shapes = [*[_POINT] * len(own), *(body.shape for body in bodies)]
            found = distances(shapes, np.concatenate([own, at])[None], pairs.reshape(-1, 2))
            nearest = min(nearest, float(found.upper_m.min()))
        return nearest

    def carried_by(self, appendage: str, time_s: float) -> tuple[str, ...]:
        """Return the people who stand on what an appendage's joints turn."""
        known = self.scene.loaded.platform.document.appendages
        if appendage not in known:
            return ()
        tree, _ = self._at(time_s)
        columns = {tree.column(f"{PLATFORM}/{joint}") for joint in known[appendage].joints}
        crew = self.scene.loaded.crew
        lines = {who: tree.ancestry(f"{who}/{crew[who].document.boots}") for who in crew}
        return tuple(who for who, line in lines.items() if columns & set(tree.columns[list(line)].tolist()))

    def size_m(self, item: str) -> tuple[float, float, float] | None:
        """Return the extents of an item along its base's axes as it starts, smallest first; None without a body."""
        tree, base = self.scene.tree, f"{item}/{self.scene.loaded.hardware[item].document.base}"
        low, high = np.full(3, np.inf), np.full(3, -np.inf)
        for body in tree.bodies:
            if body.link.split("/", 1)[0] == item:
                pose = tree.pose_of(body.link, self.scene.position, relative_to=base) @ body.pose
                lower, upper = half_extents_m(body.shape)
                centre, out = apply(pose, (lower + upper) / 2), np.abs(pose[:3, :3]) @ (upper - lower) / 2
                low, high = np.minimum(low, centre - out), np.maximum(high, centre + out)
        least, middle, most = np.sort(high - low).tolist()
        return None if low[0] > high[0] else (least, middle, most)

    def frames(self, thing: str) -> tuple[str, ...]:
        """Return the frames by which a thing is found; none for a name that is not of the scene."""
        loaded = self.scene.loaded
        platform = loaded.platform.document
        if thing in loaded.hardware:
            document = loaded.hardware[thing].document
            return f"{thing}/{document.base}", f"{thing}/{document.handhold}"
        if thing in loaded.crew:
            person = loaded.crew[thing].document
            return tuple(f"{thing}/{link}" for link in (person.hands, person.boots))
        if thing in loaded.restraints:
            restraint = loaded.restraints[thing].document
            return f"{thing}/{restraint.mount}", f"{thing}/{restraint.plate}"
        if thing in platform.worksites:
            site = platform.worksites[thing]
            return tuple(f"{PLATFORM}/{link}" for link in (site.stand, *site.work_points.values()))
        if thing == INSIDE:
            return () if platform.airlock is None else (f"{PLATFORM}/{platform.airlock}",)
        if thing in (ARM, f"{ARM}/tip"):
            return (self.scene.arm_tip,)
        carts = {name: cart.body_frame for name, cart in platform.carts.items()}
        # an empty place for a cart is nowhere in particular until something is set down on it
        named = {name: seat.frame for name, seat in platform.seats.items() if seat.frame not in carts.values()} | carts
        if thing in named:
            return (f"{PLATFORM}/{named[thing]}",)
        if thing in platform.handrails:
            rail = platform.handrails[thing]
            return f"{PLATFORM}/{rail.start}", f"{PLATFORM}/{rail.end}"
        if thing in platform.seats:
            return ()
        links = self.scene.tree.links
        return tuple(name for name in (thing, f"{PLATFORM}/{thing}") if name in links)[:1]

    def farthest_m(self, one: str, other: str, start_s: float, end_s: float) -> tuple[float, float] | None:
        """Return what the distance of two things never passes in a stretch, and when it is largest.

        Proven: between instants that are looked at, how far either can have moved against the other is added. A
        handrail is met at its nearest point, for a hook slides along it.
        """
        first, ends = self.hook(one), self.hook(other)
        if not first or not ends:
            return None
        link = first[0]
        most, when = 0.0, start_s
        for phase in self.phases:
            begins, stops = max(start_s, phase.start_s), min(end_s, phase.end_s)
            if stops > begins:
                bound, at_s = self._farthest_in(phase.tree, link, ends, begins, stops)
                if bound > most:
                    most, when = bound, at_s
        return most, when

    def hook(self, thing: str) -> tuple[str, ...]:
        """Return the frame by which a thing is tethered; of a handrail both ends, for a hook slides along it.

        A person is hooked at the chest, an item at its handhold, a restraint at its mount.
        """
        loaded = self.scene.loaded
        if thing in loaded.crew:
            return (f"{thing}/{loaded.crew[thing].document.chest}",)
        frames = self.frames(thing)
        if thing in loaded.platform.document.handrails:
            return frames
        return frames[:1] if thing in loaded.restraints else frames[-1:]

    def _farthest_in(
        self, tree: Tree, link: str, ends: tuple[str, ...], start_s: float, end_s: float
    ) -> tuple[float, float]:
        drift = Drift(tree, self.motion, start_s, end_s)
        way, _ = drift.way(link, seen_from=ends[0])
        edges = drift.edges_s
        starts, stops = edges[:-1], edges[1:]
        seen, when, most = -1.0, start_s, 0.0
        while len(starts):
            middles = (starts + stops) / 2
            at = forward(tree, self.motion.at(middles), (link, *ends))[:, :, :3, 3]
            apart = _to_line(at[:, 0], at[:, 1], at[:, -1])
            if float(apart.max()) > seen:
                seen, when = float(apart.max()), float(middles[int(np.argmax(apart))])
            bound = apart + drift.reach(way, middles, starts, stops)
            done = (bound <= seen + TOLERANCE_M) | (stops - starts <= _CLOSE_S)
            most = max(most, float(bound[done].max(initial=0.0)))
            starts, middles, stops = starts[~done], middles[~done], stops[~done]
            starts, stops = np.concatenate([starts, middles]), np.concatenate([middles, stops])
        return most, when

    def _at(self, time_s: float) -> tuple[Tree, Array]:
        """Return the tree at time_s, at a switch the later one, and T_world_link (L, 4, 4) of all its links."""
        starts = [phase.start_s for phase in self.phases]
        tree = self.phases[max(int(np.searchsorted(starts, time_s, side="right")) - 1, 0)].tree
        return tree, forward(tree, self.motion.at(time_s))


def _to_line(points: Array, one: Array, other: Array) -> Array:
    """Return the distance of points (N, 3) to the segments between (N, 3) and (N, 3)."""
    along = other - one
    length = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", points - one, along) / length, 0.0, 1.0)
    return np.asarray(np.linalg.norm(one + share[:, None] * along - points, axis=-1))
