"""Write the page: template, style, script, the run's facts and its scene, all in one file."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from armcarry.files.atomic import write_text_atomic
from armcarry.record.finding import Finding
from armcarry.record.record import Record
from armcarry.views.bookmarks import Bookmark
from armcarry.views.gltf import glb
from armcarry.views.page.facts import colours, page_facts
from armcarry.views.way import NEAR_SHARE
from armcarry.views.ways_kept import WaysKept

_HERE = Path(__file__).parent
Tell = Callable[[str, float], None]


def write_page(
    record: Record, findings: Sequence[Finding], path: Path, tell: Tell | None = None, marks: Sequence[Bookmark] = (),
    ways: WaysKept | None = None,
) -> Path:
    """Write one self-contained HTML file that plays the run, and return its path.

    Nothing in it is fetched: its content security policy allows only the one script it holds, by digest, so
    that text from the run can never act.

    Args:
        record, findings: what to play.
        path: the file to write.
        tell: told what is being done.
        marks: bookmarks kept of the run.
        ways: ways on that were found for it.
    """
    say = tell or (lambda words, share: None)
    say("measuring the closest pairs", 0.0)
    facts = page_facts(record, findings, marks)
    say("building the scene", 0.6)
    write_text_atomic(path, page(facts, glb(record, proven=True), ways))
    say("the page is written", 1.0)
    return path


def page(facts: dict[str, Any], scene: bytes, ways: WaysKept | None = None) -> str:
    """Return the HTML of a page from its facts and its scene (binary glTF)."""
    from jinja2 import Environment, StrictUndefined
    from markupsafe import Markup

    script = (_HERE / "player.js").read_text(encoding="utf-8")
    if "</script" in script.lower():
        raise ValueError("the page's script must not hold an end tag")
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    style = ":root{" + "".join(f"--{name}:{value};" for name, value in colours().items()) + "}"
    style += (_HERE / "page.css").read_text(encoding="utf-8")
    parts = {
        "policy": f"default-src 'none'; script-src 'sha256-{digest}'; style-src 'unsafe-inline'; img-src data: blob:; "
        "base-uri 'none'; form-action 'none'",
        "title": facts["title"],
        "hands": facts["hands"],
        "ways": ways,
        "near": f"{NEAR_SHARE:g}",
        "style": Markup(style),  # noqa: S704 - our own file
        "data": Markup(in_script(facts)),  # noqa: S704 - escaped for where it stands
        "scene": Markup(base64.b64encode(gzip.compress(scene, 9, mtime=0)).decode()),  # noqa: S704
        "script": Markup(script),  # noqa: S704 - our own file
    }
    template = (_HERE / "page.html").read_text(encoding="utf-8")
    return Environment(autoescape=True, undefined=StrictUndefined).from_string(template).render(parts)


def in_script(value: Any) -> str:
    """Return JSON that cannot end the script element it stands in, nor open a comment there."""
    text = json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026").replace("\u2028", "\\u2028")
