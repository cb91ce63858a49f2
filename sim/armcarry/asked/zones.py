"""When a smaller clearance is granted because somebody is where a place says it may be.

A place grants by geometry: to whoever has the boots, the hands or, for a seat, the item's base within its reach,
and only while they certainly are there: between two instants that are looked at, nobody can have been farther away
than a bound of the way they went allows. Instants that could not be told apart are not granted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

import numpy as np

from armcarry.asked.places import Place, patterns_of, places_of
from armcarry.asked.relaxed import Relaxed
from armcarry.files.documents.zones import Near
from armcarry.geometry.poses import Array
from armcarry.motion.curve import Motion
from armcarry.motion.drift import Drift
from armcarry.motion.forward import forward
from armcarry.motion.refine import settle
from armcarry.remembered import remember
from armcarry.scene.build import ARM, PLATFORM, Scene
from armcarry.scene.tree import Tree

#: first cells of time are no longer than this, and none is halved below the second, s
_COARSE_S, _SHORTEST_S = 4.0, 0.02

Span = tuple[float, float]
#: what places granted in stretches that were looked at before: by tree and motion, their length, from their start on
Grants = dict[tuple[object, ...], tuple[Tree, float, list[Relaxed]]]
#: stretches that are remembered, the oldest forgotten first
MOST_KNOWN = 500


@dataclass(frozen=True)
class _Subject:
    """Somebody or something that may be at a place."""

    name: str
    groups: Mapping[str, Sequence[str]] | None
    held: tuple[str, ...]
    boots: str
    hands: str

    def point(self, place: Place) -> str:
        return self.hands if place.asks == "hands" else self.boots


def granted(
    scene: Scene, phases: Iterable[tuple[Tree, float, float]], motion: Motion, known: Grants | None = None
) -> tuple[Relaxed, ...]:
    """Return what places grant over a run, in the order of time.

    Args:
        scene: what stands where, and what places say.
        phases: tree, start and end of each stretch in which nothing is attached or let go, in the order of time.
        motion: of every joint.
        known: what they granted in stretches of this scene before; those of now are added.
    """
    places = places_of(scene)
    if not places:
        return ()
    open_: dict[tuple[str, str, float, str, str], Relaxed] = {}
    done: list[Relaxed] = []
    for tree, start_s, end_s in phases:
        if end_s <= start_s:
            continue
        work = partial(_of_phase, scene, places, tree)
        for item in work(motion, start_s, end_s) if known is None else _once(known, tree, motion, start_s, end_s, work):
            key = (item.pattern_a, item.pattern_b, item.required_m, item.why, item.place)
            before = open_.get(key)
            if before is not None and before.end_s >= item.start_s:
                item = _joined(before, item)
            elif before is not None:
                done.append(before)
            open_[key] = item
    return tuple(sorted((*done, *open_.values()), key=lambda item: (item.start_s, item.end_s, item.place)))


def _once(
    known: Grants, tree: Tree, motion: Motion, start_s: float, end_s: float,
    work: Callable[[Motion, float, float], list[Relaxed]],
) -> Iterator[Relaxed]:  # fmt: skip
    """Give what is granted in a stretch, worked out as if it began at 0 s unless that was done before."""
    part = motion.between(start_s, end_s).from_zero()
    key = (id(tree), part.known_by)
    if key not in known:
        # the tree is kept, so that no other gets its number
        remember(known, key, (tree, part.end_s, work(part, 0.0, part.end_s)), MOST_KNOWN)
    _, length_s, found = known[key]
    for item in found:
        last_s = end_s if item.end_s == length_s else start_s + item.end_s
        yield replace(item, start_s=start_s + item.start_s, end_s=last_s)


def _joined(before: Relaxed, item: Relaxed) -> Relaxed:
    return Relaxed(
        item.pattern_a, item.pattern_b, item.required_m, before.start_s, max(before.end_s, item.end_s), item.why,
        item.place,
    )


@dataclass(frozen=True)
class _Grant:
    """What one place may grant to one subject."""

    place: Place
    subject: _Subject
    who: str
    near: Near

    def relaxed(self, start_s: float, end_s: float) -> Relaxed:
        near, place = self.near, self.place
        return Relaxed(self.who, place.bodies(near), near.at_least, start_s, end_s, near.why, place.name)

    @property
    def only_still(self) -> bool:
        return self.near.arm_still or self.place.name == ARM


def _grants(scene: Scene, tree: Tree, places: Sequence[Place]) -> list[_Grant]:
    """Return what places may grant while things hang as they do in a tree."""
    return [
        _Grant(place, subject, who, near)
        for place in places
        for subject in _subjects(scene, tree, place)
        for near in place.near
        if (who := patterns_of(subject.name, subject.groups, subject.held, near.who))
    ]


def along_rails(scene: Scene, tree: Tree) -> tuple[Relaxed, ...]:
    """Return what handrails grant to those who go along them, for all time."""
    rails = [place for place in places_of(scene) if place.owner == PLATFORM and place.asks == "hands"]
    return tuple(grant.relaxed(-np.inf, np.inf) for grant in _grants(scene, tree, rails))


def _of_phase(
    scene: Scene, places: Sequence[Place], tree: Tree, motion: Motion, start_s: float, end_s: float
) -> list[Relaxed]:
    drift = Drift(tree, motion, start_s, end_s)
    still = _still(scene, drift)
    grants = _grants(scene, tree, places)
    known = _there(drift, {(grant.place.name, grant.subject.name): grant for grant in grants})
    found = []
    for grant in grants:
        spans = known[grant.place.name, grant.subject.name]
        spans = _common(spans, still) if grant.only_still else spans
        found += [grant.relaxed(first, last) for first, last in spans]
    return sorted(found, key=lambda item: item.start_s)


class Here:
    """What places grant where things are now, asked again and again while they hang as in one tree."""

    def __init__(self, scene: Scene, tree: Tree) -> None:
        self._tree, self._grants = tree, _grants(scene, tree, places_of(scene))

    def at(self, position: Array, *, still: bool = True, nearer_m: float = np.inf) -> tuple[Relaxed, ...]:
        """Return what is granted at a joint vector (n,), for all time.

        Args:
            still: whether arm and base stand.
            nearer_m: places hold no farther than this, and those that hold everywhere not at all.
        """
        near = dict[tuple[str, str], bool]()
        for grant in self._grants:
            key = (grant.place.name, grant.subject.name)
            if key not in near:
                near[key] = self._near(grant, position, nearer_m)
        return tuple(
            grant.relaxed(-np.inf, np.inf)
            for grant in self._grants
            if near[grant.place.name, grant.subject.name] and (still or not grant.only_still)
        )

    def _near(self, grant: _Grant, position: Array, nearer_m: float) -> bool:
        place = grant.place
        if place.within_m is None:
            return nearer_m == np.inf
        at = forward(self._tree, position[None], _links(place, grant.subject.point(place)))[:, :, :3, 3]
        return bool(_apart(at)[0] <= min(place.within_m, nearer_m))


def _subjects(scene: Scene, tree: Tree, place: Place) -> list[_Subject]:
    """Return who or what a place may be about in one tree."""
    loaded = scene.loaded
    if place.asks == "item":
        seats = {f"{PLATFORM}/{seat.frame}" for seat in loaded.platform.document.seats.values()}
        loose = [name for name in place.accepts if tree.mounting(name).parent not in seats]
        things = [(name, loaded.hardware[name].document) for name in loose]
        return [_Subject(name, thing.groups, (), f"{name}/{thing.base}", "") for name, thing in things]
    if place.owner in loaded.hardware and tree.hangs_from(place.owner, ARM):
        return []
    hatch, found = loaded.platform.document.airlock, []
    for name, member in loaded.crew.items():
        parent = tree.mounting(name).parent
        rides = tree.hangs_from(name, ARM)
        if hatch is not None and parent == f"{PLATFORM}/{hatch}":
            continue
        if place.owner in (ARM, *loaded.restraints) and (rides or parent.split("/", 1)[0] in loaded.restraints):
            continue
        if place.owner in loaded.hardware and tree.hangs_from(place.owner, name):
            continue
        document, held = member.document, tuple(item for item in loaded.hardware if tree.hangs_from(item, name))
        found.append(_Subject(name, document.groups, held, f"{name}/{document.boots}", f"{name}/{document.hands}"))
    if place.owner == PLATFORM and place.asks == "boots":
        found += [_Subject(name, None, (), scene.plate(name), "") for name in loaded.restraints]
    return found


def _there(drift: Drift, grants: Mapping[tuple[str, str], _Grant]) -> dict[tuple[str, str], list[Span]]:
    """Return when each subject is certainly within the reach of its place; all are looked at together."""
    start_s, end_s = float(drift.edges_s[0]), float(drift.edges_s[-1])
    spans: dict[tuple[str, str], list[Span]] = {key: [(start_s, end_s)] for key in grants}
    asked = [(key, grant.place, grant.subject.point(grant.place)) for key, grant in grants.items()
             if grant.place.within_m is not None]  # fmt: skip
    if not asked:
        return spans
    ways, edges = [], []
    for _, place, point in asked:
        way, _ = drift.way(point, seen_from=place.frame)
        if place.other_end is not None:
            way = way + drift.way(place.other_end, seen_from=place.frame)[0]
        count = 1 if way[-1] == 0.0 else int(np.ceil((end_s - start_s) / _COARSE_S))
        ways.append(way)
        edges.append(np.linspace(start_s, end_s, count + 1))
    within_m = np.array([place.within_m for _, place, _ in asked], dtype=float)
    links = list(dict.fromkeys(link for _, place, point in asked for link in _links(place, point)))

    def look(starts: Array, ends: Array, rows: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        middles, apart, moved = (starts + ends) / 2, np.empty(len(rows)), np.empty(len(rows))
        times, back = np.unique(middles, return_inverse=True)
        at = forward(drift.tree, drift.part.at(times), links)[:, :, :3, 3]
        for row in np.unique(rows).tolist():
            _, place, point = asked[row]
            here = rows == row
            apart[here] = _apart(at[back[here]][:, [links.index(link) for link in _links(place, point)]])
            moved[here] = drift.reach(ways[row], middles[here], starts[here], ends[here])
        inside = apart + moved <= within_m[rows]
        return inside | (apart - moved > within_m[rows]), inside

    rows = np.repeat(np.arange(len(asked)), [len(one) - 1 for one in edges])
    first, last = (np.concatenate([one[cut] for one in edges]) for cut in (slice(None, -1), slice(1, None)))
    starts, ends, rows, inside = settle(first, last, look, rows, shortest_s=_SHORTEST_S)
    for row, (key, _, _) in enumerate(asked):
        mine = inside & (rows == row)
        spans[key] = _chained(starts[mine], ends[mine])
    return spans


def _links(place: Place, point: str) -> list[str]:
    return [point, place.frame] + ([] if place.other_end is None else [place.other_end])


def _apart(at: Array) -> Array:
    """Return how far points are from places, from the points (N, 2 or 3, 3) of ``_links``."""
    here, first = at[:, 0], at[:, 1]
    if at.shape[1] == 2:
        return np.asarray(np.linalg.norm(here - first, axis=1))
    along = at[:, 2] - first
    share = np.einsum("nk,nk->n", here - first, along) / np.maximum(np.einsum("nk,nk->n", along, along), 1e-12)
    return np.asarray(np.linalg.norm(here - first - np.clip(share, 0.0, 1.0)[:, None] * along, axis=1))


def _chained(starts: Array, ends: Array) -> list[Span]:
    """Return spans, given in the order of time, joined where one ends as the next begins."""
    spans: list[Span] = []
    for first, last in zip(starts.tolist(), ends.tolist(), strict=True):
        if spans and first <= spans[-1][1]:
            spans[-1] = (spans[-1][0], max(last, spans[-1][1]))
        else:
            spans.append((first, last))
    return spans


def _still(scene: Scene, drift: Drift) -> list[Span]:
    """Return when neither the arm nor what it stands on moves."""
    tree, part = drift.tree, drift.part
    columns = sorted({int(tree.columns[row]) for row in tree.ancestry(scene.arm_tip)} - {-1})
    rests = ~np.any(part.coefficients[:, 1:][:, :, columns] != 0.0, axis=(1, 2))
    return _chained(part.breaks_s[:-1][rests], part.breaks_s[1:][rests])


def _common(spans: Sequence[Span], others: Sequence[Span]) -> list[Span]:
    """Return the time that two lists of spans share."""
    found = [(max(a, c), min(b, d)) for a, b in spans for c, d in others]
    return [(first, last) for first, last in found if last > first]
