"""Two runs step by step: what came in or is left out, what moved, lasts otherwise, goes another way or is granted less.

A step is the same in both by its name; of carries without a day, a move by its carry and what it is called. Of those
that are left, one that does the same in the same order is the same under another name. The clock decides nothing: a
step that only begins later because one before it takes longer has not changed.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from typing import Any, Literal

import numpy as np

from armcarry.comparing.laid import Laid
from armcarry.files.documents.steps import ARM
from armcarry.geometry.poses import Array
from armcarry.quantities import clock
from armcarry.record.finding import Finding, Verdict
from armcarry.record.record import MoveSpan, Record
from armcarry.scene.build import PLATFORM
from armcarry.scene.words import plain

Change = Literal[
    "added", "removed", "renamed", "moved", "longer", "shorter", "other way", "other allowance", "verdict worse",
    "verdict better",
]
#: a step lasts otherwise from this difference on, s
LASTS_S = 0.5
#: a way is another one where a joint is ever so far from it, rad or m; and instants at which that is looked for
WAY, _INSTANTS = 0.005, 240
_SAME_S = 1e-6
_ORDER = {Verdict.PASS: 0, Verdict.NOT_ASSESSED: 1, Verdict.FAIL: 2}


@dataclass(frozen=True)
class Part:
    """A step, or a move, of one run; ``does`` says what it does, whatever it is called."""

    name: str
    title: str
    actors: tuple[str, ...]
    start_s: float
    end_s: float
    does: str = ""


@dataclass(frozen=True)
class StepDifference:
    """One step that differs: what changed, in words, and when it is in each run (None where it is not)."""

    name: str
    title: str
    changes: tuple[Change, ...]
    words: tuple[str, ...]
    first_s: tuple[float, float] | None
    second_s: tuple[float, float] | None
    apart_m: float = 0.0


def parts_of(record: Record, by_moves: bool = False) -> tuple[Part, ...]:
    """Return the steps of a run's day in order of time; the moves of its carries where there is no day."""
    if record.plan is not None and not by_moves:
        plan = record.plan
        slots = sorted(plan.schedule.slots, key=lambda slot: (slot.start_s, slot.end_s))
        return tuple(
            Part(slot.name, plan.step(slot.name).title or plain(slot.name), slot.actors, slot.start_s, slot.end_s,
                 _step_does(plan.step(slot.name), slot.actors))
            for slot in slots
        )
    found, count = [], dict[str, int]()
    for move in record.moves:
        called = move.name or move.say or move.words or move.kind
        key = f"{move.carry}/{called}"
        count[key] = count.get(key, 0) + 1
        name = key if count[key] == 1 else f"{key} {count[key]}"
        title = f"{plain(move.carry)}: {plain(called)}"
        found.append(Part(name, title, (ARM,), move.start_s, move.end_s, _move_does(record, move)))
    return tuple(found)


def _step_does(step: Any, actors: Sequence[str]) -> str:
    detail = getattr(step, step.kind, None) if hasattr(step, "kind") else None
    return "" if detail is None else f"{step.kind} {','.join(actors)} {detail!r}"


def _move_does(record: Record, move: MoveSpan) -> str:
    """Return where a move brings the tip, to a centimetre; of a move in which the arm stands, its kind as well."""
    still = move.kind in ("hold", "attach", "detach", "appendage", "posture")
    tip = record.link_path(record.scene.arm_tip, [np.nextafter(move.end_s, -np.inf)])[0, :3, 3]
    return f"{move.kind if still else 'flown'} {' '.join(f'{value + 0.0:.2f}' for value in np.round(tip, 2))}"


def matched(
    first: Record, second: Record, by_moves: bool = False
) -> tuple[tuple[Part, ...], tuple[Part, ...], dict[str, str]]:
    """Return the steps of both, the second's by the first's names, and the second's own name of each renamed one."""
    ours, theirs = parts_of(first, by_moves), parts_of(second, by_moves)
    known = {part.name for part in theirs}
    left = [part for part in ours if part.name not in known]
    known = {part.name for part in ours}
    new = [part for part in theirs if part.name not in known]
    renamed: dict[str, str] = {}
    blocks = SequenceMatcher(None, [part.does for part in left], [part.does for part in new], autojunk=False)
    for block in blocks.get_matching_blocks():
        for a, b in zip(left[block.a : block.a + block.size], new[block.b : block.b + block.size], strict=True):
            if a.does:
                renamed[b.name] = a.name
    laid = tuple(replace(part, name=renamed.get(part.name, part.name)) for part in theirs)
    return ours, laid, {ours_name: theirs_name for theirs_name, ours_name in renamed.items()}


def lay_steps(first: Record, second: Record) -> Laid | None:
    """Return the second run's clock laid on the first's by the moves of the arm both have; None without any."""
    ours, laid, _ = matched(first, second, by_moves=True)
    theirs = {part.name: part for part in laid}
    common = [(part, theirs[part.name]) for part in ours if part.name in theirs]
    if not common:
        return None
    kept = _in_order([theirs_part.start_s for _, theirs_part in common])
    pairs = [
        pair
        for k, (a, b) in enumerate(common) if k in kept
        for pair in ((a.start_s, b.start_s), (a.end_s, b.end_s))
    ]
    return Laid.at(pairs)


def common_steps(first: Record, second: Record) -> int:
    """Return how many steps both runs have."""
    ours, theirs, _ = matched(first, second, (first.plan is None) != (second.plan is None))
    return len({part.name for part in ours} & {part.name for part in theirs})


def step_differences(
    first: Record, second: Record, findings: tuple[Iterable[Finding], Iterable[Finding]] = ((), ())
) -> tuple[StepDifference, ...]:
    """Return the steps that differ, in the order of the first run, those that came in where they stand in the second.

    None where the two have no step in common: they are not two versions of one plan.
    """
    by_moves = (first.plan is None) != (second.plan is None)
    ours, theirs, renamed = matched(first, second, by_moves)
    mine, other = {part.name: part for part in ours}, {part.name: part for part in theirs}
    if not mine.keys() & other.keys():
        return ()
    moved = _moved(ours, theirs)
    verdicts = [_verdicts(found) for found in findings]
    found = []
    for part in _merged(ours, theirs):
        a, b = mine.get(part.name), other.get(part.name)
        if a is None or b is None:
            found.append(_one_sided(part, b is not None))
            continue
        told: list[tuple[Change, str]] = []
        if part.name in renamed and a.title != b.title:
            told.append(("renamed", f"now called '{b.title}'"))
        told += [*_moved_words(part, moved, theirs), *_lasting(a, b), *_allowance(first, second, a, b)]
        told += _verdict_words(part, verdicts)
        off, apart_m = _way(first, second, a, b)
        if off > WAY:
            told.append(("other way", f"up to {apart_m:.2f} m from the first way" if apart_m > 0.005
                         else f"other joint positions on the same way of the tip, up to {np.degrees(off):.1f} deg"))
        if told:
            found.append(StepDifference(
                part.name, a.title, tuple(dict.fromkeys(change for change, _ in told)), tuple(w for _, w in told),
                (a.start_s, a.end_s), (b.start_s, b.end_s), apart_m,
            ))
    return tuple(found)


def _merged(ours: Sequence[Part], theirs: Sequence[Part]) -> Iterator[Part]:
    """Yield all steps: the first run's in their order, each new one of the second behind the one it follows there."""
    known = {part.name for part in ours}
    after: dict[str, list[Part]] = {}
    last = ""
    for part in theirs:
        if part.name in known:
            last = part.name
        else:
            after.setdefault(last, []).append(part)
    yield from after.get("", [])
    for part in ours:
        yield part
        yield from after.get(part.name, [])


def _one_sided(part: Part, added: bool) -> StepDifference:
    span, lasts = (part.start_s, part.end_s), clock(part.end_s - part.start_s)
    words = f"{', '.join(map(plain, part.actors))}, takes {lasts}"
    return StepDifference(part.name, part.title, ("added" if added else "removed",), (words,),
                          None if added else span, span if added else None)  # fmt: skip


def _in_order(places: Sequence[float]) -> set[int]:
    """Return the numbers of a longest run of places that rises: what kept its order."""
    tails, rows, before = list[float](), list[int](), dict[int, int]()
    for k, place in enumerate(places):
        at = bisect_left(tails, place)
        before[k] = rows[at - 1] if at else -1
        tails[at : at + 1] = [place]
        rows[at : at + 1] = [k]
    kept, k = set[int](), rows[-1] if rows else -1
    while k >= 0:
        kept.add(k)
        k = before[k]
    return kept


def _moved(ours: Sequence[Part], theirs: Sequence[Part]) -> set[str]:
    """Return the steps that an actor does in another order than before."""
    found = set[str]()
    for actor in {actor for part in ours for actor in part.actors}:
        place = {part.name: k for k, part in enumerate(part for part in theirs if actor in part.actors)}
        mine = [part.name for part in ours if actor in part.actors and part.name in place]
        kept = _in_order([place[name] for name in mine])
        found |= {name for k, name in enumerate(mine) if k not in kept}
    return found


def _moved_words(part: Part, moved: set[str], theirs: Sequence[Part]) -> Iterator[tuple[Change, str]]:
    if part.name in moved:
        mine = next(each for each in theirs if each.name == part.name)
        before = [each for each in theirs if set(each.actors) & set(mine.actors) and each.start_s < mine.start_s]
        yield "moved", f"now after '{before[-1].title}'" if before else "now first"


def _lasting(a: Part, b: Part) -> Iterator[tuple[Change, str]]:
    was, now = a.end_s - a.start_s, b.end_s - b.start_s
    if abs(now - was) >= LASTS_S:
        yield "longer" if now > was else "shorter", f"takes {clock(now)}, was {clock(was)}"


def _allowance(first: Record, second: Record, a: Part, b: Part) -> Iterator[tuple[Change, str]]:
    was, now = _granted(first, a), _granted(second, b)
    for pair in sorted({*was, *now}):
        if abs(was.get(pair, -1.0) - now.get(pair, -1.0)) > 1e-9:
            told = [f"{value:.3f} m" if value is not None else "none" for value in (now.get(pair), was.get(pair))]
            yield "other allowance", f"{pair[0]} to {pair[1]}: {told[0]}, was {told[1]}"


def _granted(record: Record, part: Part) -> dict[tuple[str, str], float]:
    """Return the smaller clearances that the script itself grants in a step; what places grant follows from the way."""
    found: dict[tuple[str, str], float] = {}
    for item in record.relaxed:
        if not item.place and item.start_s < part.end_s - _SAME_S and item.end_s > part.start_s + _SAME_S:
            pair = (min(item.pattern_a, item.pattern_b), max(item.pattern_a, item.pattern_b))
            found[pair] = min(found.get(pair, np.inf), item.required_m)
    return found


def _verdicts(findings: Iterable[Finding]) -> dict[tuple[str, str], Verdict]:
    """Return step or move and check -> the worst verdict that comes from it."""
    found: dict[tuple[str, str], Verdict] = {}
    for item in findings:
        if item.cause is not None:
            key = (item.cause.name, item.check)
            found[key] = max(found.get(key, Verdict.PASS), item.verdict, key=_ORDER.__getitem__)
    return found


def _verdict_words(part: Part, verdicts: Sequence[dict[tuple[str, str], Verdict]]) -> Iterator[tuple[Change, str]]:
    names = {part.name, part.name.partition("/")[2]}
    for key in sorted({key for found in verdicts for key in found if key[0] in names}):
        was, now = (found.get(key, Verdict.PASS) for found in verdicts)
        if was is not now:
            worse = _ORDER[now] > _ORDER[was]
            yield "verdict worse" if worse else "verdict better", f"{plain(key[1])}: {now}, was {was}"


def _way(first: Record, second: Record, a: Part, b: Part) -> tuple[float, float]:
    """Return how far two ways of a step are apart, whatever time they take: in joint positions, and at the tip, m."""
    ours, theirs = (_positions(record, part) for record, part in ((first, a), (second, b)))
    if ours is None or theirs is None or ours.shape[1] != theirs.shape[1]:
        return 0.0, 0.0
    off = max(_farthest(ours, theirs), _farthest(theirs, ours))
    if off <= WAY or ARM not in a.actors:
        return off, 0.0
    tips = [record.link_path(record.scene.arm_tip, _times(part))[:, :3, 3]
            for record, part in ((first, a), (second, b))]
    return off, max(_farthest(tips[0], tips[1]), _farthest(tips[1], tips[0]))


def _times(part: Part) -> Array:
    return np.linspace(part.start_s, np.nextafter(part.end_s, -np.inf), _INSTANTS)


def _positions(record: Record, part: Part) -> Array | None:
    """Return the positions (T, n) of what the step's actors move: the arm with its base, or people along the rails."""
    if part.end_s <= part.start_s:
        return None
    mine = set(part.actors)
    base = record.scene.loaded.platform.document.mounts[record.scene.loaded.scenario.base.mount].joint
    columns = [
        k for k, joint in enumerate(record.motion.joints)
        if joint.split("/", 1)[0] in mine or (ARM in mine and joint == f"{PLATFORM}/{base}")
    ]
    return record.motion.at(_times(part))[:, columns] if columns else None


def _farthest(points: Array, way: Array) -> float:
    """Return the largest distance of points (T, n) from a way of straight pieces between points (S, n)."""
    start, along = way[:-1], np.diff(way, axis=0)
    length = np.maximum(np.einsum("sn,sn->s", along, along), 1e-18)
    off = points[:, None] - start
    share = np.clip(np.einsum("tsn,sn->ts", off, along) / length, 0.0, 1.0)
    return float(np.linalg.norm(off - share[..., None] * along, axis=-1).min(axis=1).max())
