"""The colours of every view, by role, and the measure of their contrast.

The eight hues are those of Okabe and Ito, "Color Universal Design" (2008), which people with any common
colour vision tell apart. Meaning never rests on colour alone: verdicts carry a word and a sign too.
"""

from __future__ import annotations

from armcarry.record.finding import Verdict

BLACK, ORANGE, SKY_BLUE, BLUISH_GREEN = "#000000", "#E69F00", "#56B4E9", "#009E73"
YELLOW, BLUE, VERMILLION, REDDISH_PURPLE = "#F0E442", "#0072B2", "#D55E00", "#CC79A7"
OKABE_ITO = {
    "black": BLACK, "orange": ORANGE, "sky blue": SKY_BLUE, "bluish green": BLUISH_GREEN,
    "yellow": YELLOW, "blue": BLUE, "vermillion": VERMILLION, "reddish purple": REDDISH_PURPLE,
}

# on paper: plots, report, slides, cards
PAPER, INK, FAINT_INK, GRID = "#FFFFFF", "#16191D", "#565D66", "#D5D9DE"
# around the 3-D view: page, player, movie, pictures
ROOM, PANEL, LIGHT, FAINT_LIGHT = "#11151A", "#1C222A", "#F4F6F8", "#AEB7C2"
#: the view shows the closest pair in these
BAND, REQUIRED, LEAST = BLUE, VERMILLION, BLACK

#: lines of a plot on paper, in this order; each is told apart by its dash as well
LINES = (BLUE, VERMILLION, BLUISH_GREEN, REDDISH_PURPLE, BLACK)
#: colour and sign of a verdict
VERDICTS = {
    Verdict.PASS: (BLUISH_GREEN, "✓"),
    Verdict.FAIL: (VERMILLION, "✕"),
    Verdict.NOT_ASSESSED: (ORANGE, "?"),
}

#: colour in 3-D of a body whose model gives none, by its class as the rules name it; each has 3 to 1 or more to ROOM
BODIES = {
    "structure": "#8C959F", "appendage": "#4E86A8", "vehicle": REDDISH_PURPLE, "arm": ORANGE,
    "rider": SKY_BLUE, "hardware": YELLOW, "worker": BLUISH_GREEN, "inside": BLUISH_GREEN,
}


def channels(colour: str) -> tuple[float, float, float]:
    """Return red, green and blue from 0 to 1 of ``#RRGGBB``, as written (sRGB).

    Raises:
        ValueError: the text is not of that form.
    """
    text = colour.removeprefix("#")
    if len(text) != 6:
        raise ValueError(f"a colour is #RRGGBB, found {colour!r}")
    red, green, blue = (int(text[k : k + 2], 16) / 255 for k in (0, 2, 4))
    return red, green, blue


def linear(colour: str) -> tuple[float, float, float]:
    """Return red, green and blue from 0 to 1 as light (sRGB decoded), as glTF wants them."""
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels(colour))
    return red, green, blue


def luminance(colour: str) -> float:
    """Return the relative luminance from 0 (black) to 1 (white), WCAG 2.2."""
    red, green, blue = linear(colour)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours, 1 to 21, WCAG 2.2: 4.5 for text, 3 for large text and signs."""
    high, low = sorted((luminance(one), luminance(other)), reverse=True)
    return (high + 0.05) / (low + 0.05)
