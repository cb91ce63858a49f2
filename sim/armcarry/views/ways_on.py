"""Ways on when a day goes wrong, side by side in the terminal: a table, then what was proven of each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from armcarry.quantities import clock
from armcarry.record.finding import Verdict
from armcarry.scheduling.way_on import WayOn
from armcarry.views.terminal import Console

_SAID = {Verdict.PASS: "proven", Verdict.FAIL: "fail", Verdict.NOT_ASSESSED: "not assessed"}
HEADINGS = ("", "way on", "ends", "keeps", "left", "clearances", "otherwise than planned")


def show_ways(console: Console, ways: Sequence[WayOn], at_s: float) -> None:
    """Print ways on."""
    rows = [row(number, way) for number, way in enumerate(ways)]
    console.table(f"ways on from {clock(at_s)}", HEADINGS, rows)
    for number, way in enumerate(ways):
        for words in told(way):
            console.out.print(f"{number} {words}", markup=False, highlight=False)
    judged = next((way.proof.judged for way in ways if way.proof is not None), ())
    if judged:
        words = f"Judged from {clock(at_s)} on: {', '.join(judged)}; all else is for the rehearsal of what is taken"
        console.out.print(words, markup=False, highlight=False)


def row(number: int, way: WayOn) -> tuple[str, ...]:
    """Return a way on under HEADINGS."""
    if way.why_not:
        return (str(number), way.title, "", "", "", "", way.why_not)
    left = ", ".join(f"{name.replace('_', ' ')} {clock(s)}" for name, s in way.margins_s.items())
    proven = _SAID[Verdict.NOT_ASSESSED if way.proof is None else way.proof.clearance]
    other = "; ".join(changes(way)) or "nothing"
    return (str(number), way.title, clock(way.end_s), str(len(way.keeps)), left, proven, other)


def changes(way: WayOn) -> Iterator[str]:
    """Yield what is otherwise than planned, in words."""
    named = (("not done", way.drops), ("done too", way.adds), ("earlier", way.reordered), ("goes", way.goings),
             ("left as it is", way.left_as_is), ("asked of who is unable", way.still))  # fmt: skip
    for name, (one, other) in way.handed.items():
        yield f"{name}: {other} instead of {one} ({way.why[name]})"
    for words, some in named:
        for why, names in _by_reason(way, some).items():
            yield f"{words}{f' ({why})' if why else ''}: {', '.join(names)}"


def _by_reason(way: WayOn, steps: Sequence[str]) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for name in steps:
        found.setdefault(way.why.get(name, ""), []).append(name)
    return found


def told(way: WayOn) -> Iterator[str]:
    """Yield what was found when a way was flown, a line each."""
    if way.why_not:
        return
    if way.proof is None:
        yield f"not flown: {way.not_flown}"
        return
    proof = way.proof
    yield f"clearances {_SAID[proof.clearance]}, way home {_SAID[proof.way_home]}; tightest: {proof.tightest}"
    for one in proof.margins:
        yield (f"least left of {one.of.replace('_', ' ')}, the way home counted: {clock(one.left_s)}, {one.who} at "
               f"{clock(one.time_s)}")  # fmt: skip
    for words in proof.unsafe:
        yield f"left unsafe, to be made safe before all leave: {words}"
    for words in proof.failed:
        yield f"fails: {words}"
    if proof.known:
        yield f"{proof.known} more fail as they did in the run"
    yield from (f"arm: {words}" for words in proof.ways)
    yield from (f"waits: {words}" for words in proof.waits)
    yield f"not assessed: {', '.join(proof.not_assessed)}"
