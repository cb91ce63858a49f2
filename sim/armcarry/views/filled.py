"""Pages of HTML without script: one frame, one style and one way to write tables and figures."""

from __future__ import annotations

import base64
from pathlib import Path
from typing import Any

_HERE = Path(__file__).parent


def filled(template: str, **facts: Any) -> str:
    """Return the HTML of a page.

    Args:
        template: its file under ``views/``, with ``/``; it extends ``frame.html``.
        facts: what the template speaks of, ``title`` among them; text is escaped.
    """
    from jinja2 import Environment, FileSystemLoader, StrictUndefined
    from markupsafe import Markup

    pages = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, loader=FileSystemLoader(_HERE))
    style = (_HERE / "brief" / "report.css").read_text(encoding="utf-8")
    return pages.get_template(template).render(facts, style=Markup(style))  # noqa: S704 - our own file


def figure(picture: Path, words: str) -> dict[str, str]:
    """Return what ``figure`` of ``parts.html`` takes: the whole of a PNG, and words that say what it shows."""
    return {"src": f"data:image/png;base64,{base64.b64encode(picture.read_bytes()).decode()}", "words": words}
