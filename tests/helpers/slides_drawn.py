"""How much room the words of a slide take, by the letters of a wide sans: overlaps are found without an office."""

from pathlib import Path

import matplotlib
from PIL import ImageFont

_FONTS = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
_DPI, _LINE = 96, 1.2
#: of a text frame to its words, at the sides and above
_SIDE_IN, _ABOVE_IN = 0.1, 0.05


def _lines(text, points, bold, wide_in):
    """How many lines a text takes in a width."""
    face = _FONTS / f"DejaVuSans{'-Bold' if bold else ''}.ttf"
    font = ImageFont.truetype(str(face), max(round(points * _DPI / 72), 4))
    count = 0
    for paragraph in text.split("\n"):
        line, count = "", count + 1
        for word in paragraph.split(" "):
            longer = f"{line} {word}".strip()
            if line and font.getlength(longer) > wide_in * _DPI:
                line, count = word, count + 1
            else:
                line = longer
    return count


def _words_end_in(frame, left_in, top_in, wide_in):
    """Where the words of a text frame end: right and below."""
    below = top_in + _ABOVE_IN
    for paragraph in frame.paragraphs:
        for run in paragraph.runs[:1]:
            count = _lines(paragraph.text, run.font.size.pt, bool(run.font.bold), wide_in - 2 * _SIDE_IN)
            below += count * run.font.size.inches * _LINE
        below += paragraph.space_after.inches if paragraph.space_after else 0.0
    return left_in + wide_in, below


def _table_end_in(table, left_in, top_in, wide_in):
    below = top_in
    for row in table.rows:
        tall = [row.height.inches]
        for cell, column in zip(row.cells, table.columns, strict=True):
            (run, *_) = [run for paragraph in cell.text_frame.paragraphs for run in paragraph.runs]
            inner = column.width.inches - cell.margin_left.inches - cell.margin_right.inches
            count = _lines(cell.text_frame.text, run.font.size.pt, bool(run.font.bold), inner)
            tall.append(count * run.font.size.inches * _LINE + cell.margin_top.inches + cell.margin_bottom.inches)
        below += max(tall)
    return left_in + wide_in, below


def rooms_in(slide):
    """The rooms that are really taken on a slide: (what, left, top, right, below), inches."""
    found = []
    for shape in slide.shapes:
        left, top, wide, tall = (value.inches for value in (shape.left, shape.top, shape.width, shape.height))
        right, below = left + wide, top + tall
        what = shape.name
        if getattr(shape, "has_table", False):
            right, below = _table_end_in(shape.table, left, top, wide)
        elif shape.has_text_frame and shape.text_frame.text:
            right, below = _words_end_in(shape.text_frame, left, top, wide)
            what = shape.text_frame.text[:40]
        found.append((what, left, top, right, below))
    return found


def clashes(deck):
    """What lies over something else, or leaves its slide, with the slide's number."""
    wide, tall = deck.slide_width.inches, deck.slide_height.inches
    found = []
    for number, slide in enumerate(deck.slides, 1):
        rooms = rooms_in(slide)
        bars = [room for room in rooms if room[0].startswith("Rectangle")]
        for k, (what, left, top, right, below) in enumerate(rooms):
            if right > wide + 0.01 or below > tall + 0.01:
                found.append(f"slide {number}: {what} leaves it")
            for other, *room in rooms[:k]:
                aside = min(right, room[2]) - max(left, room[0])
                over = min(below, room[3]) - max(top, room[1])
                both_bars = {what, other} <= {bar[0] for bar in bars}  # one bar marks a stretch of the other
                if aside > 0.01 and over > 0.01 and not both_bars:
                    found.append(f"slide {number}: {what} over {other}")
    return found
