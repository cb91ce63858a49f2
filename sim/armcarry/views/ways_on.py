"""Ways on when a day goes wrong, side by side in the terminal: a table, then what was proven of each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from armcarry.quantities import clock
from armcarry.record.finding import Verdict
from armcarry.scheduling.way_on import WayOn
from armcarry.views.terminal import Console

_SAID = {Verdict.PASS: "proven", Verdict.FAIL: "fail", Verdict.NOT_ASSESSED: "not assessed"}
HEADINGS = ("", "way on", "ends", "keeps", "drops", "least left", "holds")


def show_ways(console: Console, ways: Sequence[WayOn], at_s: float) -> None:
    """Print ways on: a table of all, then what is otherwise and what was found of each."""
    rows = [row(number, way) for number, way in enumerate(ways)]
    console.table(f"ways on from {clock(at_s)}", HEADINGS, rows)
    for number, way in enumerate(ways):
        lines = [*changes(way), *told(way)]
        for words in [f"{number} {way.title}", *(f"  {words}" for words in lines)] if lines else []:
            console.out.print(words, markup=False, highlight=False)
    judged = next((way.proof.judged for way in ways if way.proof is not None), ())
    if judged:
        words = f"Judged from {clock(at_s)} on: {', '.join(judged)}; all else is for the rehearsal of what is taken"
        console.out.print(words, markup=False, highlight=False)


def row(number: int, way: WayOn) -> tuple[str, ...]:
    """Return a way on under HEADINGS."""
    if way.why_not:
        return (str(number), way.title, "", "", "", "", way.why_not)
    holds = "yes" if way.holds else f"no: {'; '.join(way.against())}"
    least = min(way.margins_s, key=lambda name: way.margins_s[name], default="")
    left = f"{least.replace('_', ' ')} {clock(way.margins_s[least], 0)}" if least else ""
    return (str(number), way.title, clock(way.end_s, 0), str(len(way.keeps)), str(len(way.drops)), left, holds)


def changes(way: WayOn) -> Iterator[str]:
    """Yield what is otherwise than planned, in words."""
    named = (("not done", way.drops), ("done too", way.adds), ("earlier", way.reordered), ("goes", way.goings),
             ("left as it is", way.left_as_is), ("asked of who is unable", way.still))  # fmt: skip
    for name, (one, other) in way.handed.items():
        yield f"{name}: {other} instead of {one} ({way.why[name]})"
    for name, (planned, now) in way.bolts.items():
        yield f"{name}: {now} bolts instead of {planned}, so that it is safe to leave"
    for words, some in named:
        for why, names in _by_reason(way, some).items():
            yield f"{words}{f' ({why})' if why else ''}: {', '.join(names)}"


def _by_reason(way: WayOn, steps: Sequence[str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name in steps:
        found.setdefault(way.why.get(name, ""), []).append(name)
    return {why: list(_as_written(way, names)) for why, names in found.items()}


def _as_written(way: WayOn, names: Sequence[str]) -> Iterator[str]:
    """Yield steps by name, those that were written as one by what was written where all of them are named."""
    own: dict[str, list[str]] = {}
    for name in (*way.keeps, *way.drops, *way.adds):
        if name in way.written:
            own.setdefault(way.written[name], []).append(name)
    told = set[str]()
    for name in names:
        words = way.written.get(name, "")
        if words and set(own.get(words, ())) <= set(names) and len(own[words]) > 1:
            if words not in told:
                yield f"{words}, {len(own[words])} steps"
            told.add(words)
        else:
            yield name


def told(way: WayOn) -> Iterator[str]:
    """Yield what was found when a way was flown, a line each."""
    if way.why_not:
        return
    if way.proof is None:
        yield f"not flown: {way.not_flown}"
        return
    proof = way.proof
    yield f"clearances {_SAID[proof.clearance]}, way home {_SAID[proof.way_home]}; tightest: {proof.tightest}"
    left = [f"{name.replace('_', ' ')} {clock(left_s, 0)}" for name, left_s in way.margins_s.items()]
    if left:
        yield f"left at the end: {', '.join(left)}"
    for one in proof.margins:
        yield (f"least left of {one.of.replace('_', ' ')}, the way home counted: {clock(one.left_s)}, {one.who} at "
               f"{clock(one.time_s)}")  # fmt: skip
    for words in proof.unsafe:
        yield f"left unsafe, to be made safe before all leave: {words}"
    for words in proof.failed:
        yield f"fails: {words}"
    yield from (f"flown otherwise before: {words}" for words in way.not_so)
    if proof.known:
        yield f"{proof.known} more fail as they did in the run"
    yield from (f"arm: {words}" for words in proof.ways)
    yield from (f"waits: {words}" for words in proof.waits)
    yield f"not assessed: {', '.join(proof.not_assessed)}"
