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
    known = all_tethers(record)
    hooked = {(what, to) for what, to, _ in record.ledger.at(time_s).tethers()}
    ends = np.full((len(known), 2, 3), np.nan)
    for k, pair in enumerate(known):
        if pair in hooked:
            ends[k] = tether_path_m(record, pair, np.array([time_s]))[0]
    return ends


def tether_path_m(record: Record, pair: tuple[str, str], times_s: Array) -> Array:
    """Return both ends (T, 2, 3) of a tether at instants at which it is hooked, world; nan for what is no frame.

    A hook on a handrail is where the rail is nearest to the other end.
    """
    around = record.once(_around)
    frames = [around.hook(name) for name in pair]
    if not all(frames):
        return np.full((len(times_s), 2, 3), np.nan)
    what, start, end = (
        np.asarray(record.link_path(name, times_s))[:, :3, 3] for name in (frames[0][0], frames[1][0], frames[1][-1])
    )
    along = end - start
    length = np.maximum(np.einsum("ij,ij->i", along, along), 1e-300)
    share = np.clip(np.einsum("ij,ij->i", what - start, along) / length, 0.0, 1.0)
    return np.stack([what, start + share[:, None] * along], axis=1)


def _around(record: Record) -> OnTheClock:
    return OnTheClock(record.scene, record.phases, record.motion)
