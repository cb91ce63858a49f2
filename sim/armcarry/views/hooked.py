"""Who holds what and is hooked to what at an instant, in words and as lines between frames."""

from __future__ import annotations

import numpy as np

from armcarry.geometry.poses import Array
from armcarry.ledger.presence import OnTheClock
from armcarry.ledger.state import PersonState
from armcarry.record.record import Record
from armcarry.scene.words import plain


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
