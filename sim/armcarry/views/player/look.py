"""How the window looks: few colours from the palette, plain shapes, text that a room can read; no Qt here."""

from __future__ import annotations

import html

from armcarry.record.finding import Verdict
from armcarry.views import palette

#: lines between things, and edges of buttons: 3 or more against the panel
EDGE = "#77828F"
#: behind a button that is on, and behind the selected row; text on it is dark
CHOSEN = palette.SKY_BLUE
CHOSEN_TEXT = palette.ROOM
#: vermillion and green of verdicts lightened so that text in them keeps 4.5 on the panel
FAIL_TEXT, PASS_TEXT, OPEN_TEXT = "#FF8A3D", "#3FCFA5", palette.ORANGE
TEXT_OF = {Verdict.PASS: PASS_TEXT, Verdict.FAIL: FAIL_TEXT, Verdict.NOT_ASSESSED: OPEN_TEXT}
CAPTION = palette.LIGHT

#: what is written in what on what, and the contrast it needs; a test measures them
WRITTEN = (
    ("text", palette.LIGHT, palette.PANEL, 7.0),
    ("text on the room", palette.LIGHT, palette.ROOM, 7.0),
    ("faint text", palette.FAINT_LIGHT, palette.PANEL, 4.5),
    ("faint text on the room", palette.FAINT_LIGHT, palette.ROOM, 4.5),
    ("chosen", CHOSEN_TEXT, CHOSEN, 7.0),
    ("fail", FAIL_TEXT, palette.PANEL, 4.5),
    ("pass", PASS_TEXT, palette.PANEL, 4.5),
    ("not assessed", OPEN_TEXT, palette.PANEL, 4.5),
    ("edge", EDGE, palette.PANEL, 3.0),
    ("caption", CAPTION, palette.ROOM, 7.0),
)

#: lines of a plot on the dark panel, each told apart by its dash as well
LINES = (palette.SKY_BLUE, palette.ORANGE, "#3FCFA5", palette.REDDISH_PURPLE, palette.YELLOW)

#: margin below which a part takes a colour, in words; parts with more to spare keep REST
BANDS_M = (
    (0.0, palette.VERMILLION, "less than required"),
    (0.1, palette.ORANGE, "up to 0.1 m to spare"),
    (0.25, palette.YELLOW, "up to 0.25 m"),
    (0.5, palette.SKY_BLUE, "up to 0.5 m"),
)
REST = "#7D8691"
#: the second run
GHOST = palette.REDDISH_PURPLE


def band(margin_m: float) -> int:
    """Return which of BANDS_M a margin falls in, their number when it has more to spare."""
    return next((k for k, (limit, _, _) in enumerate(BANDS_M) if margin_m < limit), len(BANDS_M))


def band_colour(number: int) -> str:
    """Return the colour of a band."""
    return BANDS_M[number][1] if number < len(BANDS_M) else REST


def tip_text(text: str) -> str:
    """Return text for a tip: Qt takes a tip for HTML when it looks like it, and text from files must stay text."""
    return f"<qt>{html.escape(text)}</qt>".replace("\n", "<br>")


def style_sheet() -> str:
    """Return the style of every widget of the window."""
    p = palette
    return f"""
    QWidget {{ background: {p.PANEL}; color: {p.LIGHT}; font-size: 14px; }}
    QMainWindow, #room, #header, #strip {{ background: {p.ROOM}; }}
    QLabel#title {{ background: {p.ROOM}; font-size: 18px; font-weight: 600; }}
    QLabel#counts, QLabel#view {{ background: {p.ROOM}; font-size: 14px; }}
    QLabel#faint {{ color: {p.FAINT_LIGHT}; font-size: 13px; }}
    QLabel#caution {{ background: {p.ROOM}; color: {p.FAINT_LIGHT}; font-size: 12px; padding: 1px 8px 3px 8px; }}
    QLabel#caption {{ background: {p.ROOM}; color: {CAPTION}; font-size: 18px; font-weight: 600; padding: 3px 10px; }}
    QLabel#message {{ background: {p.PANEL}; border: 1px solid {CHOSEN}; border-radius: 3px; padding: 4px 8px; }}
    QLabel#clock {{ font-size: 18px; font-weight: 600; }}
    QLabel#value {{ font-size: 20px; font-weight: 600; }}
    QLabel#heading {{ color: {p.FAINT_LIGHT}; font-size: 13px; font-weight: 600; }}
    QPushButton, QToolButton, QComboBox, QLineEdit, QDoubleSpinBox {{
        background: {p.PANEL}; border: 1px solid {EDGE}; border-radius: 3px; padding: 3px 8px; min-height: 20px; }}
    QPushButton:hover, QToolButton:hover, QComboBox:hover {{ border-color: {p.LIGHT}; }}
    QPushButton:focus, QToolButton:focus, QComboBox:focus, QLineEdit:focus, QTableWidget:focus, QSlider:focus {{
        border: 2px solid {CHOSEN}; padding: 2px 7px; }}
    QPushButton:checked, QToolButton:checked {{ background: {CHOSEN}; color: {CHOSEN_TEXT}; border-color: {CHOSEN}; }}
    QPushButton:disabled {{ color: {p.FAINT_LIGHT}; border-style: dashed; }}
    QComboBox QAbstractItemView {{ border: 1px solid {EDGE}; selection-background-color: {CHOSEN};
        selection-color: {CHOSEN_TEXT}; }}
    QTableWidget {{ font-size: 13px; border: 1px solid {EDGE}; gridline-color: #343D48; }}
    QTableWidget::item {{ padding: 2px 4px; }}
    QTableWidget::item:selected {{ background: {CHOSEN}; color: {CHOSEN_TEXT}; }}
    QHeaderView::section {{ background: {p.PANEL}; color: {p.FAINT_LIGHT}; border: 0;
        border-bottom: 1px solid {EDGE}; padding: 2px 4px; font-size: 13px; }}
    QTableCornerButton::section {{ background: {p.PANEL}; border: 0; }}
    QTabBar::tab {{ background: {p.PANEL}; color: {p.LIGHT}; padding: 4px 12px; border: 0;
        border-bottom: 3px solid {p.PANEL}; }}
    QTabBar::tab:selected {{ border-bottom: 3px solid {CHOSEN}; }}
    QTabBar:focus {{ border: 1px solid {CHOSEN}; }}
    QSplitter::handle {{ background: {p.ROOM}; }}
    QScrollBar:vertical {{ background: {p.PANEL}; width: 12px; }}
    QScrollBar::handle:vertical {{ background: {EDGE}; min-height: 24px; border-radius: 3px; }}
    QScrollBar::add-line:vertical, QScrollBar::sub-line:vertical {{ height: 0; }}
    QSlider::groove:horizontal {{ background: {EDGE}; height: 4px; }}
    QSlider::sub-page:horizontal {{ background: {CHOSEN}; height: 4px; }}
    QSlider::handle:horizontal {{ background: {p.LIGHT}; width: 10px; margin: -7px 0; border-radius: 2px; }}
    QProgressBar {{ border: 1px solid {EDGE}; text-align: center; }}
    QProgressBar::chunk {{ background: {CHOSEN}; }}
    QToolTip {{ background: {p.LIGHT}; color: {p.ROOM}; border: 0; padding: 4px; font-size: 13px; }}
    """


def briefing_sheet(height_px: int) -> str:
    """Return what changes in briefing mode on a screen so high: words at 5 % of it, figures at 3 %."""
    large, small = max(int(height_px * 0.05), 24), max(int(height_px * 0.028), 16)
    return f"""
    QLabel#caption {{ font-size: {large}px; padding: 6px 24px; }}
    QLabel#figures {{ background: {palette.ROOM}; font-size: {small}px; padding: 2px 24px; }}
    QLabel#caution {{ font-size: {max(int(height_px * 0.016), 12)}px; padding: 2px 24px; }}
    """
