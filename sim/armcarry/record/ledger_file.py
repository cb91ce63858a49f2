"""The ledger in the run folder: its acts and broken truths to the bit, and for readers who is where with what."""

from __future__ import annotations

from dataclasses import asdict
from itertools import pairwise
from typing import Any

from armcarry.ledger.book import Ledger
from armcarry.ledger.change import Violation
from armcarry.ledger.effects import apply
from armcarry.ledger.state import Act, Page
from armcarry.record.record import Record
from armcarry.scene.build import Scene
from armcarry.timeline.first_page import page_at_start


def ledger_dict(record: Record) -> dict[str, Any]:
    """Return what ledger.json holds: acts, broken truths, and every state of every thing with its times."""
    book = record.ledger
    return {
        "bonds": book.start.asked.bonds,
        "present": book.present,
        "acts": [asdict(act) for act in book.acts],
        "violations": [asdict(item) for item in book.violations],
        "items": {name: _spans(book, record.duration_s, "states", name) for name in book.start.states},
        "people": {name: _spans(book, record.duration_s, "people", name) for name in book.start.people},
        "arm": [
            {"start_s": start, "end_s": end, "mode": mode}
            for start, end, mode in book.spans(lambda page: page.arm, record.duration_s)
        ],
    }


def _spans(book: Ledger, end_s: float, group: str, name: str) -> list[dict[str, Any]]:
    def state(page: Page) -> Any:
        return getattr(page, group)[name]

    return [
        {"start_s": start, "end_s": stop, **{key: _plain(value) for key, value in asdict(found).items()}}
        for start, stop, found in book.spans(state, end_s)
    ]


def _plain(value: Any) -> Any:
    return sorted(value) if isinstance(value, frozenset) else value


def read_ledger(
    scene: Scene, acts: tuple[Act, ...], violations: tuple[Violation, ...], *, bonds: bool, present: bool
) -> Ledger:
    """Return the ledger that ``ledger_dict`` wrote, to the bit; pages follow from the first one and the acts.

    Raises:
        ValueError: the acts are not in the order of time.
        FrameError: an act names what the scenario does not have.
    """
    if any(not before.time_s <= after.time_s for before, after in pairwise(acts)):
        raise ValueError("the acts of the ledger are not in the order of time")
    start = page = page_at_start(scene.loaded, bonds=bonds)
    after = []
    for act in acts:
        page = apply(page, act)
        after.append(page)
    return Ledger(start, acts, tuple(after), violations, present)
