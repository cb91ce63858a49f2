"""Writing the ledger: acts in order, the page after each, and every truth that does not hold."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from armcarry.ledger.change import Around, Change, Violation
from armcarry.ledger.effects import apply
from armcarry.ledger.state import Act, Page
from armcarry.ledger.truths import COUNTED, END, TRUTHS

T = TypeVar("T")
#: acts after which an item's place or bonds are judged at the end
_SEATING = ("seat", "bolt")
_CLIMBING = ("climb_in", "climb_out")
_MOVING = ("carry", "set_off", *_CLIMBING)


@dataclass(frozen=True)
class Ledger:
    """Everybody and everything over a run: ``after[k]`` is the page after ``acts[k]``.

    Attributes:
        present: whether presence was judged, by the geometry of the run.
    """

    start: Page
    acts: tuple[Act, ...]
    after: tuple[Page, ...]
    violations: tuple[Violation, ...]
    present: bool = False

    @property
    def end(self) -> Page:
        """The page after the last act."""
        return self.after[-1] if self.after else self.start

    def at(self, time_s: float) -> Page:
        """Return the page at time_s; at the instant of an act, after it."""
        k = bisect_right(self.acts, time_s, key=lambda act: act.time_s)
        return self.after[k - 1] if k else self.start

    def spans(self, of: Callable[[Page], T], end_s: float) -> tuple[tuple[float, float, T], ...]:
        """Return from when to when something of the page is what it is: (start, end, value), stretches without gaps.

        Args:
            of: what to look at, such as ``lambda page: page.states["pump_box"].hands``.
            end_s: end of the run; what lasts no time is left out.
        """
        found: list[tuple[float, float, T]] = []
        since_s, value = 0.0, of(self.start)
        for act, page in zip(self.acts, self.after, strict=True):
            new = of(page)
            if new != value:
                if act.time_s > since_s:
                    found.append((since_s, act.time_s, value))
                since_s, value = max(act.time_s, since_s), new
        if end_s > since_s or not found:
            found.append((since_s, max(end_s, since_s), value))
        return tuple(found)

    def moving(self, time_s: float) -> Act | None:
        """Return the act that began a motion of the arm, or of somebody, which goes on at time_s; the latest one."""
        under_way = (a for a in self.acts if a.kind in _MOVING and a.start_s <= time_s <= a.end_s)
        return max(under_way, key=lambda act: act.start_s, default=None)

    def told_by(self, topic: str) -> tuple[Violation, ...]:
        """Return the broken truths that a check tells."""
        return tuple(item for item in self.violations if item.topic == topic and not item.unknown)

    def unknown(self, topic: str) -> tuple[Violation, ...]:
        """Return the truths of a check that cannot be judged, each once, where it came up first."""
        first: dict[str, Violation] = {}
        for item in self.violations:
            if item.topic == topic and item.unknown:
                first.setdefault(item.missing, item)
        return tuple(first.values())


def entered(
    page: Page, act: Act, around: Around | None = None, last: Mapping[str, Act] | None = None
) -> tuple[Page, tuple[Violation, ...]]:
    """Return the page after an act, and every truth that the act breaks.

    Args:
        around: the geometry presence comes from; without it presence is not judged.
        last: item or person -> last act that seated, bolted or climbed.

    Raises:
        FrameError: the act names an item, seat or fastener that does not exist.
    """
    after = apply(page, act)
    change = Change(page, act, after, around, last or {})
    found = []
    for truth in TRUTHS:
        if act.kind not in truth.kinds:
            continue
        for one in truth.broken(change):
            by, missing = one.act or act, one.missing or truth.name
            remedy = (one.remedy or COUNTED.get(missing, truth.remedy)).replace("{step}", by.step)
            found.append(
                Violation(by.step, one.subject, missing, one.message, by.time_s, truth.topic, remedy,
                          by.start_s, by.end_s, one.unknown)
            )  # fmt: skip
    return after, tuple(found)


def keep(start: Page, acts: Iterable[Act], around: Around | None = None) -> Ledger:
    """Write the ledger of acts in order, and judge what is left at the end."""
    page, after, done = start, list[Page](), list[Act]()
    violations: list[Violation] = []
    last: dict[str, Act] = {}
    for act in acts:
        page, broken = entered(page, act, around, last)
        violations += broken
        after.append(page)
        done.append(act)
        if act.kind in _SEATING and act.item:
            last[act.item] = act
        if act.kind in _CLIMBING:
            last.update(dict.fromkeys(act.actors, act))
    end_s = done[-1].time_s if done else 0.0
    _, broken = entered(page, Act("the end", END, (), time_s=end_s, start_s=end_s, end_s=end_s), around, last)
    book = Ledger(start, tuple(done), tuple(after), (*violations, *broken), around is not None)
    return book if around is None else replace(book, violations=(*book.violations, *stretched(book, around)))


def stretched(book: Ledger, around: Around) -> Iterator[Violation]:
    """Yield every tether that is asked to be longer than it is, at any instant between hooking and unhooking it.

    The bound is proven over the motion. A tether is told once, with the step that moves its ends too far apart.
    """
    end_s = max(around.end_s, max((act.end_s for act in book.acts), default=0.0))
    for what, to in sorted({(what, to) for page in (book.start, *book.after) for what, to, _ in page.tethers()}):
        for start_s, stop_s, length_m in book.spans(partial(_length, what=what, to=to), end_s):
            found = None if length_m is None else around.farthest_m(what, to, start_s, min(stop_s, around.end_s))
            if found is None or length_m is None or found[0] <= length_m:
                continue
            act = book.moving(found[1]) or next(act for act in book.acts if act.end_s >= start_s)
            message = f"{what} and {to} come {found[0]:.2f} m apart, on a tether of {length_m:g} m between them"
            remedy = f"unhook it before {act.step}, or take a longer tether"
            yield Violation(
                act.step, what, "tether_length", message, found[1], "tethers", remedy, act.start_s, act.end_s
            )
            break


def _length(page: Page, what: str, to: str) -> float | None:
    """Return the length of a tether, None where it is not hooked."""
    return next((length for one, other, length in page.tethers() if (one, other) == (what, to)), None)
