"""What everybody needs for the rest of a day: the script, procedures and cards from an instant on, as files."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

from armcarry.errors import MissingExtraError
from armcarry.files.load import load_scenario
from armcarry.procedure.model import role
from armcarry.procedure.tasks import procedure
from armcarry.scheduling.flown import Flown
from armcarry.views.brief.cards import write_cards
from armcarry.views.brief.moves import cards
from armcarry.views.brief.procedure_md import write_markdown
from armcarry.views.brief.procedure_pdf import write_procedure_pdf


def rest_files(flown: Flown, since_s: float) -> dict[str, bytes]:
    """Return the files of a way on by their path: its script with all models, procedures and cards without pictures.

    What is printed is left out where ReportLab is not installed.
    """
    loaded = load_scenario(flown.record.scene.loaded.path, text=flown.text.encode())
    found = {f"scenario/{item.role_path}": item.data for item in loaded.inputs}
    told = procedure(flown.record, flown.findings, since_s)
    to_come = tuple(move for move in flown.record.moves if move.end_s > since_s)
    said = cards(replace(flown.record, moves=to_come))
    with TemporaryDirectory() as name:
        for actor in told.actors:
            who = role(actor).replace(" ", "_")
            write_markdown(told, actor, Path(name, f"procedure_{who}.md"))
            with suppress(MissingExtraError):
                write_procedure_pdf(told, actor, Path(name, f"procedure_{who}.pdf"))
                write_cards(flown.record, told, actor, Path(name, f"cards_{who}.pdf"), told=said)
        found |= {path.name: path.read_bytes() for path in sorted(Path(name).iterdir())}
    return found
