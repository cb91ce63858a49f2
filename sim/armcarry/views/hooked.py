"""Who holds what and is hooked to what at an instant, in words and as lines between frames."""

from __future__ import annotations

from functools import partial

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.ledger.presence import OnTheClock
from armcarry.ledger.state import Page, PersonState
from armcarry.quantities import clock
from armcarry.record.record import Record
from armcarry.scene.words import plain
from armcarry.views.table import Table


def holding_words(person: PersonState) -> str:
    """Say what a person's hands hold, and what they are hooked to and stand in; empty where it is nothing."""
    words = []
    if person.left and person.left == person.right:
        words.append(f"{plain(person.left)} in both hands")
    else:
        words += [f"{plain(item)} in the {side} hand" for side in ("left", "right") if (item := getattr(person, side))]
    if person.restraint:
        words.append(f"in {plain(person.restraint)}")
    if person.tethers:
        words.append(f"hooked to {', '.join(plain(to) for to in sorted(person.tethers))}")
    return ", ".join(words)


def hands_words(page: Page, who: str) -> str:
    """Say what a person holds, brings behind on a tether, stands in and is hooked to; empty where it is nothing."""
    behind = [f"{plain(item)} trailing" for item in page.trailing(who)]
    return ", ".join([*behind, *filter(None, [holding_words(page.people[who])])])


def hooked_words(page: Page, what: str) -> str:
    """Say what an item is hooked to; empty for nothing."""
    tethers = page.states[what].tethers
    return f"hooked to {', '.join(plain(to) for to in sorted(tethers))}" if tethers else ""


def hands_at(record: Record, time_s: float) -> str:
    """Return who holds what and is hooked to what at an instant, empty where nobody does."""
    page = record.ledger.at(time_s)
    told = ((who, hands_words(page, who)) for who in page.people)
    return " · ".join(f"{plain(who)}: {words}" for who, words in told if words)


def hands_table(record: Record) -> Table | None:
    """Return from when to when who holds what and what is hooked to what, in order of time; None where nothing is."""
    book, end_s = record.ledger, record.duration_s
    told = [(who, partial(hands_words, who=who)) for who in book.start.people]
    told += [(what, partial(hooked_words, what=what)) for what in book.start.states]
    rows = [
        (start, stop, plain(name), words)
        for name, of in told for start, stop, words in book.spans(of, end_s) if words
    ]  # fmt: skip
    rows.sort(key=lambda row: row[:2])
    timed = tuple((clock(start), clock(stop), name, words) for start, stop, name, words in rows)
    return Table(("from", "to", "who or what", "in hands, hooked to"), timed) if timed else None


def all_tethers(record: Record) -> tuple[tuple[str, str], ...]:
    """Return every tether of a run once: what is tethered, and to what."""
    book = record.ledger
    return tuple(sorted({(what, to) for page in (book.start, *book.after) for what, to, _ in page.tethers()}))


def tether_ends_m(record: Record, time_s: float) -> Array:
    """Return the ends (T, 2, 3) of all tethers of a run at an instant, world; nan for one that is not hooked then."""
    known, around = all_tethers(record), record.once(_around)
    hooked = {(what, to) for what, to, _ in record.ledger.at(time_s).tethers()}
    ends = np.full((len(known), 2, 3), np.nan)
    tree, links = record.link_poses(time_s) if hooked else (None, None)
    for k, pair in enumerate(known):
        frames = [around.frames(name) for name in pair]
        if pair in hooked and tree is not None and links is not None and all(frames):
            ends[k] = [links[tree.index(own[-1]), :3, 3] for own in frames]
    return ends


def _around(record: Record) -> OnTheClock:
    return OnTheClock(record.scene, record.phases, record.motion)
