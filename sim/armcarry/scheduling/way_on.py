"""One way on when a day goes wrong: what it keeps, drops, hands over, when it ends, and what was proven of it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from armcarry.quantities import clock
from armcarry.record.finding import Verdict
from armcarry.scheduling.flown import Proof
from armcarry.timeline.slots import Slot

#: what is said of a way on that was not flown
_UNKNOWN = {"clearance": str(Verdict.NOT_ASSESSED), "way_home": str(Verdict.NOT_ASSESSED)}


@dataclass(frozen=True)
class WayOn:
    """One way on.

    Attributes:
        title: in words.
        keeps, drops: steps to come that it does and does not do; adds: what was not to be done before.
        handed: step -> (who was to do it, who does it now).
        reordered: steps that come after one that was to come after them, of the same actor.
        goings: ways along handrails that are put in, in words.
        end_s: when everybody has done all of it.
        margins_s: limit -> what is left of it.
        new_ways: whether somebody or the arm goes another way than in the run, and not only later.
        left_as_is: things that a step failed at, which nobody does anything to any more.
        bolts: step -> (how many it was to tighten, how many it tightens, so that nothing is left with too few).
        put_back: step that the day does not have, which puts back what was half done -> its kind.
        still: steps that somebody who is unable to must still do, as what is in hand would be left half done.
        why: step -> why it is left out, handed over or done in another order.
        written: step -> where and as what it is written, where it is one of several that one written step became.
        not_so: what failed where it was flown before, in another order or by other ways, a sentence each flight.
        why_not: why there is no such way, or why it is none of those to choose from.
        slots: when everything of it is done, as it was flown; empty where it was not.
        proof: what was found when it was flown; None where it was not, and ``not_flown`` says why.
        files: what is to be kept of it, by path.
    """

    title: str
    keeps: tuple[str, ...] = ()
    drops: tuple[str, ...] = ()
    adds: tuple[str, ...] = ()
    handed: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    reordered: tuple[str, ...] = ()
    goings: tuple[str, ...] = ()
    end_s: float = 0.0
    margins_s: Mapping[str, float] = field(default_factory=dict)
    new_ways: bool = False
    left_as_is: tuple[str, ...] = ()
    why: Mapping[str, str] = field(default_factory=dict)
    written: Mapping[str, str] = field(default_factory=dict)
    bolts: Mapping[str, tuple[int, int]] = field(default_factory=dict)
    put_back: Mapping[str, str] = field(default_factory=dict)
    still: tuple[str, ...] = ()
    not_so: tuple[str, ...] = ()
    why_not: str = ""
    slots: tuple[Slot, ...] = field(default=(), repr=False)
    proof: Proof | None = None
    not_flown: str = ""
    files: Mapping[str, bytes] = field(default_factory=dict, repr=False)

    @property
    def holds(self) -> bool:
        """Whether it keeps every limit, asks nothing of who is unable, and nothing fails that did not in the run."""
        return not any(self.against())

    def against(self) -> Iterator[str]:
        """Yield what speaks against it, a few words each; nothing where it holds."""
        if self.why_not:
            yield self.why_not
            return
        for name, left_s in self.margins_s.items():
            if left_s < 0.0:
                yield f"{name.replace('_', ' ')} is exceeded by {clock(-left_s, 0)}"
        if self.still:
            yield "it asks work of somebody who is unable"
        if self.proof is None:
            yield f"it was not flown: {self.not_flown}"
        elif not self.proof.holds:
            yield self.proof.against

    @property
    def least_margin_s(self) -> float:
        """What is left of the limit that is nearest; infinity without one."""
        return min(self.margins_s.values(), default=float("inf"))

    def as_dict(self) -> dict[str, Any]:
        """Return what ``--json`` prints."""
        if self.why_not:
            return {"title": self.title, "why_not": self.why_not}
        return {
            "title": self.title, "end_s": round(self.end_s, 3), "keeps": list(self.keeps), "drops": list(self.drops),
            "adds": list(self.adds), "handed_over": {name: list(pair) for name, pair in self.handed.items()},
            "reordered": list(self.reordered), "ways_put_in": list(self.goings),
            "left_as_is": list(self.left_as_is), "why": dict(self.why),
            "more_bolts": {name: list(pair) for name, pair in self.bolts.items()},
            "not_so": list(self.not_so), "unable_still_do": list(self.still),
            "margins_s": {name: round(left, 3) for name, left in self.margins_s.items()},
            "new_ways": self.new_ways, "holds": self.holds,
            **(_UNKNOWN | {"not_flown": self.not_flown} if self.proof is None else self.proof.as_dict()),
        }  # fmt: skip
