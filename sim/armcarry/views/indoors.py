"""Who and what is behind the hatch: bodies stand beside it meanwhile, judged by nothing, and are not drawn."""

from __future__ import annotations

from functools import partial

from armcarry.ledger.state import Page
from armcarry.record.record import Record

Spans = dict[str, tuple[tuple[float, float], ...]]


def indoors(record: Record) -> Spans:
    """Return from when to when each person and item is inside, seconds of the run; none who never is."""
    return record.once(_indoors)


def _indoors(record: Record) -> Spans:
    book, end_s = record.ledger, record.duration_s
    found: Spans = {}
    for name in (*book.start.people, *book.start.states):
        spans = book.spans(partial(_inside, name=name), end_s)
        within = tuple((start, stop) for start, stop, inside in spans if inside)
        if within:
            found[name] = within
    return found


def _inside(page: Page, name: str) -> bool:
    return page.is_inside(name)


def indoors_at(record: Record, time_s: float) -> frozenset[str]:
    """Return who and what is inside at an instant."""
    return frozenset(
        name for name, spans in indoors(record).items() if any(start <= time_s < end for start, end in spans)
    )
