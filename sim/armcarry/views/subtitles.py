"""Subtitles as WebVTT (W3C): on the clock of the run for the page, on that of the cuts for the movie."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import NamedTuple

from armcarry.files.atomic import write_text_atomic
from armcarry.procedure.spoken import Cue
from armcarry.views.cuts import Cut

#: a subtitle stands at least this long, s, with at most so many lines of so many letters
LEAST_S, LINES, LETTERS = 2.0, 2, 64


class Subtitle(NamedTuple):
    """Words from one instant of what is shown to another."""

    start_s: float
    end_s: float
    words: str


def on_the_clock(cues: Sequence[Cue], start_s: float, end_s: float) -> tuple[Subtitle, ...]:
    """Return what is under way at each stretch of the run, without overlap: everything then, by what it is."""
    return _without_gaps([(cue.start_s, cue.end_s, cue.head) for cue in cues], start_s, end_s, LEAST_S)


def of_movie(cues: Sequence[Cue], cuts: Iterable[Cut]) -> tuple[Subtitle, ...]:
    """Return the subtitles of a movie: what is under way in each cut, on the movie's own clock."""
    found: list[Subtitle] = []
    begun_s = 0.0
    for cut in cuts:
        inside = [
            (max(cue.start_s, cut.start_s), min(cue.end_s, cut.end_s), cue.head)
            for cue in cues
            if cue.start_s < cut.end_s and cue.end_s > cut.start_s
        ]
        moved = [((a - cut.start_s) / cut.speed, (b - cut.start_s) / cut.speed, words) for a, b, words in inside]
        length_s = (cut.end_s - cut.start_s) / cut.speed
        shown = _without_gaps(moved, 0.0, length_s, LEAST_S)
        found += [Subtitle(begun_s + each.start_s, begun_s + each.end_s, each.words) for each in shown]
        begun_s += length_s
    return tuple(found)


def _without_gaps(
    spans: Sequence[tuple[float, float, str]], start_s: float, end_s: float, least_s: float
) -> tuple[Subtitle, ...]:
    """Return subtitles one after another: a new one where something begins, none shorter than it can be read."""
    edges = [start_s]
    for begun in sorted({span[0] for span in spans}):
        if begun - edges[-1] >= least_s and end_s - begun >= least_s:
            edges.append(begun)
    found = []
    for a, b in zip(edges, [*edges[1:], end_s], strict=True):
        # what lasts no time at all is told where it is; of the rest what lasts longest in it comes first
        under_way = [(min(b, span[1]) - max(a, span[0]), span[2]) for span in spans if _within(span, a, b)]
        words = [words for _, words in sorted(under_way, key=lambda each: -each[0])]
        if words and b > a:
            found.append(Subtitle(a, b, _fitted(words)))
    return tuple(found)


def _within(span: tuple[float, float, str], a: float, b: float) -> bool:
    return span[0] < b and span[1] > a if span[1] > span[0] else a <= span[0] < b


def _fitted(words: Sequence[str]) -> str:
    """Return words on at most two lines, and how many more there are."""
    lines: list[str] = []
    for k, text in enumerate(words):
        mine = textwrap.wrap(text, LETTERS)[:LINES]
        if lines and len(lines) + len(mine) > LINES:
            lines[-1] += f" (and {len(words) - k} more)"
            break
        lines += mine
    return "\n".join(lines)


def write_vtt(subtitles: Sequence[Subtitle], path: Path) -> Path:
    """Write subtitles and return the path. Raises RecordError."""
    parts = ["WEBVTT"]
    for number, each in enumerate(subtitles, start=1):
        words = each.words.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
        parts.append(f"{number}\n{_stamp(each.start_s)} --> {_stamp(each.end_s)}\n{words}")
    write_text_atomic(path, "\n\n".join(parts) + "\n")
    return path


def _stamp(seconds: float) -> str:
    whole = max(round(seconds * 1000), 0)
    return f"{whole // 3_600_000:02d}:{whole // 60_000 % 60:02d}:{whole // 1000 % 60:02d}.{whole % 1000:03d}"
