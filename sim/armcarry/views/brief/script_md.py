"""The script to speak from, as Markdown: words with times, what is highlighted and from where it is seen."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from armcarry.files.atomic import write_text_atomic
from armcarry.procedure.model import Procedure
from armcarry.procedure.spoken import Cue
from armcarry.quantities import clock
from armcarry.scene.words import plain
from armcarry.views.brief.procedure_md import OWN_WORDS, plain_text


def write_script(procedure: Procedure, cues: Sequence[Cue], path: Path) -> Path:
    """Write the script and return its path. Raises RecordError."""
    parts = [f"# {plain_text(procedure.title)}: words to say\n", f"{plain_text(procedure.purpose.strip())}\n",
             f"<!-- {OWN_WORDS} -->\n"]
    for cue in cues:
        at = clock(cue.start_s, 0)
        if procedure.day_start_s:
            at += f" ({clock(cue.start_s + procedure.day_start_s, 0)})"
        parts.append(f"**{at}, {cue.number}** {plain_text(cue.text)}")
        shown = f"Highlighted: {plain_text(', '.join(map(plain, cue.highlight)))}"
        seen = f"; seen from {plain_text(cue.seen_from)}" if cue.seen_from else ""
        parts.append(f"*{shown}{seen}*\n")
    write_text_atomic(path, "\n".join(parts))
    return path
