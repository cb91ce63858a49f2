"""Writing the ledger: acts in order, the page after each, and every truth that does not hold."""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import partial
from typing import TypeVar

from armcarry.ledger.change import JUST_S, Around, Change, Consequence, Violation
from armcarry.ledger.effects import apply
from armcarry.ledger.state import Act, Page
from armcarry.ledger.telling import Telling
from armcarry.ledger.truths import COUNTED, END, TRUTHS

T = TypeVar("T")
#: how often it is looked at whether two who hold one item stay beside it, s
_LOOK_S = 5.0
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

    def told_elsewhere(self, topic: str) -> tuple[Consequence, ...]:
        """Return the broken truths of a check that are told with those of another, from which they follow."""
        return tuple(
            also for item in self.violations for also in item.led_to if also.topic == topic and item.topic != topic
        )

    def displaced(self, name: str, time_s: float) -> bool:
        """Tell whether an item, restraint or person is by then where it cannot be, which is told of the act."""
        return any(name in item.displaced and item.time_s <= time_s for item in self.violations)

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
                          by.start_s, by.end_s, one.unknown, one.cause, _about(by, one.subject, truth.name))
            )  # fmt: skip
    return after, tuple(found)


def keep(start: Page, acts: Iterable[Act], around: Around | None = None) -> Ledger:
    """Write the ledger of acts in order, and judge what is left at the end."""
    page, after, done = start, list[Page](), list[Act]()
    telling = Telling()
    away = set[str]()  # steps in which somebody is not beside what they handle
    last: dict[str, Act] = {}
    for act in acts:
        before = page
        page, broken = entered(before, act, around, last)
        for one in broken:
            telling.tell(one, act, before)
        away |= {one.step for one in broken if one.missing == "beside"}
        after.append(page)
        done.append(act)
        if act.kind in _SEATING and act.item:
            last[act.item] = act
        if act.kind in _CLIMBING:
            last.update(dict.fromkeys(act.actors, act))
    end_s = done[-1].time_s if done else 0.0
    end = Act("the end", END, (), time_s=end_s, start_s=end_s, end_s=end_s)
    _, broken = entered(page, end, around, last)
    book = Ledger(start, tuple(done), tuple(after), (), around is not None)
    lasting = () if around is None else (*stretched(book, around, away), *let_slip(book, around, away))
    for one in broken:
        telling.tell(one, end, page)
    for one in lasting:
        telling.tell(one, replace(end, time_s=one.time_s), page)
    return replace(book, violations=telling.told)


def _about(act: Act, subject: str, truth: str) -> tuple[str, ...]:
    """Return the items and restraints that a broken truth is about."""
    tool = act.tool if truth == "tool_there" else ""
    return tuple(dict.fromkeys(name for name in (subject, act.item, act.whose, tool) if name))


def stretched(book: Ledger, around: Around, away: Collection[str] = ()) -> Iterator[Violation]:
    """Yield every tether that is asked to be longer than it is, at any instant between hooking and unhooking it.

    The bound is proven over the motion. A tether is told once, with the step that takes its ends too far apart;
    where somebody in that step is not beside what they handle (``away``), that is told already, and the cause of this.
    """
    end_s = max(around.end_s, max((act.end_s for act in book.acts), default=0.0))
    for what, to in sorted({(what, to) for page in (book.start, *book.after) for what, to, _ in page.tethers()}):
        for start_s, stop_s, length_m in book.spans(partial(_length, what=what, to=to), end_s):
            found = None if length_m is None else around.farthest_m(what, to, start_s, min(stop_s, around.end_s))
            if found is None or length_m is None or found[0] <= length_m:
                continue
            act = _parted(book, what, to, found[1]) or next(act for act in book.acts if act.end_s >= start_s)
            if act.step in away:
                break
            message = f"{what} and {to} come {found[0]:.2f} m apart, on a tether of {length_m:g} m between them"
            remedy = f"unhook it before {act.step}, or take a longer tether"
            yield Violation(
                act.step, what, "tether_length", message, found[1], "tethers", remedy, act.start_s, act.end_s,
                about=(what, to),
            )  # fmt: skip
            break


def let_slip(book: Ledger, around: Around, away: Collection[str] = ()) -> Iterator[Violation]:
    """Yield whoever holds an item together with somebody else and does not stay beside it, looked at every few seconds.

    Told once each, where it comes about; not where somebody is away from what they handle, which is told already.
    """
    end_s = min(around.end_s, max((act.end_s for act in book.acts), default=0.0))
    for item in book.start.states:
        for start_s, stop_s, hands in book.spans(partial(_together, item=item), end_s):
            if not hands or stop_s <= start_s:
                continue
            times = [start_s + k * _LOOK_S for k in range(int((stop_s - start_s) / _LOOK_S))] + [stop_s - JUST_S]
            for who in sorted(hands):
                seen = ((time_s, around.apart_m(who, item, time_s) or 0.0) for time_s in times if time_s > start_s)
                first = next(((time_s, far) for time_s, far in seen if far > around.reach_m(who)), None)
                if first is None:
                    continue
                act = _parted(book, item, who, first[0]) or next(act for act in book.acts if act.end_s >= start_s)
                if act.step in away:
                    continue
                message = f"{who} holds {item} with {' and '.join(sorted(hands - {who}))} and comes {first[1]:.2f} m "
                message += f"from it; boots and gloves reach {around.reach_m(who):.2f} m"
                remedy = f"let them go side by side, together_with one another, or let {who} let go before {act.step}"
                yield Violation(
                    act.step, who, "holds_on", message, first[0], "custody", remedy, act.start_s, act.end_s,
                    about=(item,),
                )  # fmt: skip


def _together(page: Page, item: str) -> frozenset[str]:
    """Return who holds an item off its seat, where these are several people."""
    state = page.states[item]
    people = state.hands & set(page.people)
    return people if state.where == "held" and len(people) > 1 else frozenset()


def _parted(book: Ledger, what: str, to: str, time_s: float) -> Act | None:
    """Return the act that takes the ends of a tether apart: a motion of either or its holders, else the last change."""
    page = book.at(time_s)
    ends = {what, to}.union(*(page.states[name].hands for name in (what, to) if name in page.states))

    def concerned(act: Act) -> bool:
        return bool(ends & {*act.actors, act.item, act.whose})

    moves = [a for a in book.acts if a.kind in _MOVING and a.start_s <= time_s <= a.end_s and concerned(a)]
    done = [a for a in book.acts if a.kind not in _MOVING and a.time_s <= time_s and concerned(a)]
    return max(moves, key=lambda act: act.start_s, default=None) or next(reversed(done), None)


def _length(page: Page, what: str, to: str) -> float | None:
    """Return the length of a tether, None where it is not hooked."""
    return next((length for one, other, length in page.tethers() if (one, other) == (what, to)), None)
